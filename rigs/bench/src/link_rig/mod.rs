//! The rig behind our own link: a serial line and the board at its end, real, virtual or emulated.
//!
//! In: a [`Target`]. Out: a [`Bench`] whose settings are handed over, whose drive is armed and whose samples come.
//! Says which port, what was seen, what to try.

#[cfg(unix)]
mod log;
mod plug;

use std::hash::{BuildHasher, RandomState};
use std::process;

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::held::{Held, OriginTag};
use firmware_core::learn::{CheckSet, LearnOrder};
use firmware_core::link::state::{Release, Streaming};
use firmware_core::link::{Pacing, Refusal, Talk};
use firmware_core::motion::{Footing, Segment};
use firmware_core::probe::ProbeSegment;
use firmware_core::settings::{Settings, SettingsHash};
use firmware_core::units::Tick;
use study::catalogue::Case;

use crate::actuator::VirtualUnit;
use crate::caution::Acknowledged;
use crate::client::{self, Client, ClientError, Line};
use crate::exit::Failure;
use crate::port::PortSpec;
use crate::procedure::{Bench, RunStop, Target};
use crate::rig::{Asked, Measurand, Rig, RigError, RigIdentity, Sampling, StreamItem};
use crate::{console, interrupt};
use plug::Behind;

/// A talk with a board, and what stands behind it when it is a virtual one.
struct LinkRig {
    client: Client,
    port: String,
    _behind: Option<Behind>,
}

/// Opens the target's port, hands the profile's settings to the board and arms the drive: only once the cautions were
/// acknowledged.
///
/// # Errors
/// Says which port, what was seen, what to try.
pub fn open(target: &Target, cautions: Acknowledged) -> Result<Bench, Failure> {
    let _watch = interrupt::watch();
    let Greeted { rig, port, checked } = greet(&target.port, target.setup, target.seed)?;
    Bench::with_rig(rig, port, checked, cautions, &target.profile.settings)
        .map_err(|error| Failure::from(RunStop::from(error)))
}

/// A rig that has answered the hello, with nothing handed over and nothing armed.
pub(crate) struct Greeted {
    pub(crate) rig: Box<dyn Rig>,
    /// The port as messages and records name it.
    pub(crate) port: String,
    /// What looking at the unit would confirm.
    pub(crate) checked: CheckSet,
}

/// Opens a port and greets what is there.
///
/// # Errors
/// Says which port, what was seen, what to try.
pub(crate) fn greet(spec: &PortSpec, setup: Setup, seed: u64) -> Result<Greeted, Failure> {
    let (line, behind, checked) = match spec {
        PortSpec::Virtual { unit, pacing, processor } => {
            let case = unit_in(setup, unit)?;
            let (line, behind) = plug::start(&case, seed, *pacing, *processor)?;
            (line, Some(behind), case.checks_passed())
        }
        PortSpec::Device(path) => (client::open(path).map_err(unopened)?, None, CheckSet::NONE),
    };
    let port = shown(spec);
    let client = Client::connect(line, &port, talk_on(spec)).map_err(unopened)?;
    Ok(Greeted { rig: Box::new(LinkRig { client, port: port.clone(), _behind: behind }), port, checked })
}

/// A board on a line that is open already, greeted, with nothing handed over and nothing armed.
///
/// # Errors
/// Says which port, what was seen, what to try.
pub fn on_line(line: Box<dyn Line>, port: &str, talk: Talk) -> Result<Box<dyn Rig>, Failure> {
    let client = Client::connect(line, port, talk).map_err(unopened)?;
    Ok(Box::new(LinkRig { client, port: port.to_owned(), _behind: None }))
}

impl LinkRig {
    /// The board's word that it let go of an earlier talk's motion comes after its welcome: looked for once the settings
    /// have gone over, before anything is armed.
    fn wait_out_an_earlier_talk(&mut self) -> Result<(), ClientError> {
        if self.client.took_over() {
            console::say(&format!(
                "port {}: an earlier run was still driving; the tool waits until its lease has expired",
                self.port
            ));
            self.client.wait_out_lease()?;
        }
        Ok(())
    }
}

/// A free setup is the actuator alone: off the ring it comes, as a person would take it off.
fn unit_in(setup: Setup, unit: &VirtualUnit) -> Result<Case, Failure> {
    let attached = unit.unit()?;
    Ok(match setup {
        Setup::Free => attached.off_the_ring(),
        Setup::Attached | Setup::OnEngine => attached,
    })
}

/// A stepped rig is this tool's own and its runs repeat to the byte; on any other line an earlier talk's frames may
/// still be about.
fn talk_on(port: &PortSpec) -> Talk {
    match port {
        PortSpec::Virtual { pacing: Pacing::Stepped, .. } => Talk::FIRST,
        PortSpec::Virtual { pacing: Pacing::Paced, .. } | PortSpec::Device(_) => {
            // The standard library's hash keys are drawn from the system's randomness.
            let drawn = RandomState::new().hash_one(process::id());
            u16::try_from(drawn % u64::from(Talk::LAST.number()))
                .ok()
                .and_then(|below| Talk::try_new(below + 1))
                .unwrap_or(Talk::FIRST)
        }
    }
}

fn shown(port: &PortSpec) -> String {
    match port {
        PortSpec::Virtual { unit, .. } => format!("virtual:{unit}"),
        PortSpec::Device(path) => path.display().to_string(),
    }
}

/// A link that cannot be opened says nothing about the unit; a port that is not there is a wrong option.
fn unopened(error: ClientError) -> Failure {
    if matches!(error, ClientError::PortMissing { .. } | ClientError::NotASerialPort { .. }) {
        Failure::usage(error)
    } else if error == ClientError::Interrupted {
        Failure::interrupted(error)
    } else {
        Failure::undetermined(error)
    }
}

impl From<ClientError> for RigError {
    fn from(error: ClientError) -> Self {
        if error == ClientError::Interrupted {
            Self::Interrupted
        } else if matches!(error, ClientError::Refused { .. }) {
            Self::Refused(error.to_string())
        } else {
            Self::Lost(error.to_string())
        }
    }
}

impl Rig for LinkRig {
    fn identity(&self) -> RigIdentity {
        let identity = &self.client.welcome().identity;
        RigIdentity {
            model: identity.model.to_string(),
            software: identity.software.to_string(),
            board: identity.board.to_string(),
            serial: identity.serial.to_string(),
            self_test: self.client.welcome().self_test,
        }
    }

    /// Every sample of the link's batches holds both.
    fn measures(&self, measurand: Measurand) -> Sampling {
        match measurand {
            Measurand::Position | Measurand::MotorCurrent => Sampling::EachSample,
        }
    }

    fn hand_over(&mut self, settings: &Settings) -> Result<(), RigError> {
        self.client.upload(settings)?;
        Ok(self.wait_out_an_earlier_talk()?)
    }

    fn arm(&mut self, settings: SettingsHash) -> Result<(), RigError> {
        Ok(self.client.arm(settings)?)
    }

    fn begin_samples(&mut self) -> Result<(), RigError> {
        Ok(self.client.stream(Streaming::On)?)
    }

    fn set_calibration(&mut self, held: Held) -> Result<(), RigError> {
        Ok(self.client.set_calibration(held)?)
    }

    fn load_motion(&mut self, segments: &[Segment]) -> Result<(), RigError> {
        Ok(self.client.load_motion(segments)?)
    }

    fn start_motion(&mut self, setup: Setup, warmth: Warmth, footing: Footing) -> Result<Tick, RigError> {
        Ok(self.client.start_motion(setup, warmth, footing)?)
    }

    fn start_learn(&mut self, order: LearnOrder, tag: OriginTag) -> Result<Tick, RigError> {
        Ok(self.client.start_learn(order, tag)?)
    }

    fn start_probe(&mut self, segment: ProbeSegment) -> Result<Tick, RigError> {
        match self.client.start_probe(segment) {
            Err(ClientError::Refused { refusal: Refusal::UnknownKind, .. }) => {
                Err(RigError::Refused(format!(
                    "port {}: this board's software cannot probe. Nothing moved. Flash the current \
                     software, then start again.",
                    self.port
                )))
            }
            started => Ok(started?),
        }
    }

    fn ask_learn_outcome(&mut self) -> Result<Asked, RigError> {
        match self.client.ask_learn_outcome() {
            Err(ClientError::Refused { refusal: Refusal::NothingLearned, .. }) => Ok(Asked::NothingLearned),
            asked => Ok(asked.map(|()| Asked::Comes)?),
        }
    }

    fn last_release(&mut self) -> Result<Release, RigError> {
        Ok(self.client.status()?.released)
    }

    fn next_item(&mut self) -> Result<StreamItem, RigError> {
        Ok(self.client.next_item()?)
    }

    fn stop(&mut self) -> Result<(), RigError> {
        Ok(self.client.stop()?)
    }

    fn line_notes(&self) -> Vec<(&'static str, String)> {
        let counters = self.client.counters();
        let counted = [
            ("line_frames", counters.frames),
            ("line_frames_lost", counters.lost),
            ("line_frames_damaged", counters.damaged),
            ("line_frames_cut", counters.cut),
            ("line_frames_overlong", counters.overlong),
            ("line_frames_repeated", counters.repeated),
            ("line_frames_not_understood", counters.not_understood),
            ("line_frames_foreign", counters.foreign),
            ("line_frames_echoed", counters.echoed),
        ];
        let counted = counted.map(|(name, count)| (name, count.to_string()));
        let percent = 100.0 * self.client.line_use().fraction();
        counted.into_iter().chain([("line_use_percent", format!("{percent:.1}"))]).collect()
    }
}
