//! A drawn plant under the tool's own characterising: session, link and client as on any port, without the port.

use std::io::{self, Read, Write};
use std::sync::{Arc, Mutex};

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::held::{Held, OriginTag};
use firmware_core::learn::{CheckSet, LearnOrder, LearnOutcome};
use firmware_core::link::state::Release;
use firmware_core::link::{Pacing, Talk};
use firmware_core::motion::{Footing, Segment};
use firmware_core::probe::ProbeSegment;
use firmware_core::settings::{Settings, SettingsHash};
use firmware_core::units::Tick;
use plant::toml_file::TomlFile;
use plant::world::WorldConfig;
use study::campaign::learn::run;
use study::catalogue::Case;
use vanebench::characterise::{self, AnswerArgs, Answers, Eyes, Found, Surprise};
use vanebench::link_rig;
use vanebench::procedure::RunStop;
use vanebench::profile::Profile;
use vanebench::rig::{Asked, Measurand, Rig, RigError, RigIdentity, Sampling, StreamItem};
use virtual_rig::rig::SimulatedRig;
use virtual_rig::runner::TickedRig;

use crate::plants::Drawn;
use crate::truth::{self, Truth};

/// How a learn ended.
#[derive(Debug, Clone, PartialEq)]
pub enum Learned {
    /// Sound signals: windows of this unit alone make it not proven at best.
    Sound,
    /// Refused, with why.
    Refused(String),
    /// The profile was refused, with why.
    NoProfile(String),
}

/// How one plant was met.
#[derive(Debug)]
pub struct Met {
    pub found: Result<Found, String>,
    /// What a learn on the profile that came out says of the same unit, all words said; none where none came out.
    pub learned: Option<Learned>,
    /// Whether the plant has twice its friction of current to spare, by the truth: what a learn asks for.
    pub is_strong: bool,
    pub truth: Truth,
    pub need_a: f64,
    /// Largest current over the cap of its segment, as a share of the cap, as the sensor reads it without noise.
    pub over_cap: f64,
    /// Fastest that the lever came past a stop's place, travel/s, by the truth.
    pub stop_speed: f64,
    /// Rise of the winding, K, by the truth.
    pub rise_k: f64,
    /// Board's time, s.
    pub seconds: f64,
}

/// What the world did, for whoever judges.
#[derive(Debug, Default)]
pub struct Seen {
    /// Cap of the segment that runs, A; none while nothing is capped.
    cap_a: Option<f64>,
    /// Largest current over its cap, as a share of it.
    over_cap: f64,
    start_c: Option<f64>,
    hottest_c: f64,
    /// Every second.
    winding_c: Vec<f64>,
    stop_speed: f64,
    lever_rad: f64,
    /// A segment has been asked for: before, the lever settles as it was placed.
    has_begun: bool,
    ticks: u32,
}

impl Seen {
    fn note(&mut self, rig: &SimulatedRig) {
        let world = rig.world();
        let now = world.truth();
        self.start_c.get_or_insert(now.winding_c);
        self.hottest_c = self.hottest_c.max(now.winding_c);
        if self.ticks.is_multiple_of(1000) {
            self.winding_c.push(now.winding_c);
        }
        if let Some(cap_a) = self.cap_a {
            // What the sensor would read without noise.
            let amps = (now.current_a * world.config().sensors.current.gain).abs();
            self.over_cap = self.over_cap.max(amps / cap_a - 1.0);
        }
        let stops = &world.config().actuator.ring.stops;
        let half_play = 0.5 * world.config().actuator.linkage.play_rad();
        let (low, high) = (stops.low.expect("a stop").angle_rad, stops.high.expect("a stop").angle_rad);
        let inside = |angle: f64| (low - half_play..=high + half_play).contains(&angle);
        if self.has_begun && inside(self.lever_rad) && !inside(now.lever_rad) {
            let speed = (now.lever_rad - self.lever_rad).abs() * 1000.0 / (high - low);
            self.stop_speed = self.stop_speed.max(speed);
        }
        self.lever_rad = now.lever_rad;
        self.ticks += 1;
    }

    /// Mean over the second half, where the strokes are.
    fn working_c(&self) -> f64 {
        let late = &self.winding_c[self.winding_c.len() / 2..];
        late.iter().sum::<f64>() / late.len() as f64
    }
}

/// A line that lets the world go on where nothing else is to be read.
struct InProcess {
    rig: SimulatedRig,
    seen: Arc<Mutex<Seen>>,
}

impl Read for InProcess {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        loop {
            let count = self.rig.transmit(into);
            if count > 0 {
                return Ok(count);
            }
            if !self.rig.may_advance() {
                return Err(io::ErrorKind::TimedOut.into());
            }
            self.rig.advance().map_err(io::Error::other)?;
            self.seen.lock().expect("one thread").note(&self.rig);
        }
    }
}

impl Write for InProcess {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.rig.receive(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// A rig that says which cap was asked for.
struct Watched {
    inner: Box<dyn Rig>,
    seen: Arc<Mutex<Seen>>,
}

impl Rig for Watched {
    fn identity(&self) -> RigIdentity {
        self.inner.identity()
    }
    fn measures(&self, measurand: Measurand) -> Sampling {
        self.inner.measures(measurand)
    }
    fn hand_over(&mut self, settings: &Settings) -> Result<(), RigError> {
        self.inner.hand_over(settings)
    }
    fn arm(&mut self, settings: SettingsHash) -> Result<(), RigError> {
        self.inner.arm(settings)
    }
    fn begin_samples(&mut self) -> Result<(), RigError> {
        self.inner.begin_samples()
    }
    fn set_calibration(&mut self, held: Held) -> Result<(), RigError> {
        self.inner.set_calibration(held)
    }
    fn load_motion(&mut self, segments: &[Segment]) -> Result<(), RigError> {
        self.inner.load_motion(segments)
    }
    fn start_motion(&mut self, setup: Setup, warmth: Warmth, footing: Footing) -> Result<Tick, RigError> {
        self.inner.start_motion(setup, warmth, footing)
    }
    fn start_learn(&mut self, order: LearnOrder, tag: OriginTag) -> Result<Tick, RigError> {
        self.inner.start_learn(order, tag)
    }
    fn start_probe(&mut self, segment: ProbeSegment) -> Result<Tick, RigError> {
        // With the drive off nothing is capped: a shorted winding carries what a moving lever makes.
        let cap_a = f64::from(segment.second_cap.unwrap_or(segment.cap).0);
        let mut seen = self.seen.lock().expect("one thread");
        (seen.cap_a, seen.has_begun) = ((segment.volts.0 != 0.0).then_some(cap_a), true);
        drop(seen);
        self.inner.start_probe(segment)
    }
    fn ask_learn_outcome(&mut self) -> Result<Asked, RigError> {
        self.inner.ask_learn_outcome()
    }
    fn last_release(&mut self) -> Result<Release, RigError> {
        self.inner.last_release()
    }
    fn next_item(&mut self) -> Result<StreamItem, RigError> {
        self.inner.next_item()
    }
    fn stop(&mut self) -> Result<(), RigError> {
        self.inner.stop()
    }
    fn line_notes(&self) -> Vec<(&'static str, String)> {
        self.inner.line_notes()
    }
}

/// Characterises a plant, with its scatter from the seed.
pub fn characterised(drawn: &Drawn, seed: u64) -> Met {
    let seen = Arc::new(Mutex::new(Seen::default()));
    let case = Case::of(drawn.world.clone());
    let found = found(&case, &drawn.answers, seed, &seen);
    let learned = found.as_ref().ok().map(|found| learned(found, drawn, seed));
    let seen = seen.lock().expect("one thread");
    Met {
        found,
        learned,
        truth: truth::truth(&drawn.world, seen.working_c()),
        need_a: drawn.need_a,
        is_strong: is_strong(drawn),
        over_cap: seen.over_cap,
        stop_speed: seen.stop_speed,
        rise_k: seen.hottest_c - seen.start_c.unwrap_or(seen.hottest_c),
        seconds: f64::from(seen.ticks) / 1000.0,
    }
}

/// What characterising a unit finds, or the words that it stops with.
pub fn found(case: &Case, answers: &Answers, seed: u64, seen: &Arc<Mutex<Seen>>) -> Result<Found, String> {
    let rig = SimulatedRig::of_case(case, seed, Pacing::Stepped).expect("a valid unit");
    let line = InProcess { rig, seen: Arc::clone(seen) };
    let inner =
        link_rig::on_line(Box::new(line), "in process", Talk::FIRST).map_err(|error| error.to_string())?;
    let mut rig = Watched { inner, seen: Arc::clone(seen) };
    on(&mut rig, &case.world, *answers).map_err(|surprise| surprise.to_string())
}

fn on(rig: &mut Watched, world: &WorldConfig, answers: Answers) -> Result<Found, Surprise> {
    let settings = characterise::settings(&answers);
    let lost = |error| Surprise::from(RunStop::from(error));
    rig.hand_over(&settings).map_err(lost)?;
    rig.arm(settings.hash()).map_err(lost)?;
    rig.begin_samples().map_err(lost)?;
    let none = AnswerArgs::default();
    let eyes = Eyes::Virtual(&none, truth::direction(world));
    characterise::characterise(rig, answers, eyes, &mut |_| {})
}

fn learned(found: &Found, drawn: &Drawn, seed: u64) -> Learned {
    let text = characterise::profile_text("u", found, &drawn.answers);
    let profile = match Profile::read(&TomlFile::from_text("profile.toml", &text)) {
        Ok(profile) => profile,
        Err(error) => return Learned::NoProfile(error.to_string()),
    };
    let case = Case::of(drawn.world.clone());
    let order = LearnOrder::full(Setup::Attached, Warmth::Cold, CheckSet::ALL);
    match run(&case, &profile.settings, order, case.start_opening(None), seed).map(|run| run.outcome) {
        Ok(LearnOutcome::Accepted(_) | LearnOutcome::NotProven { .. }) => Learned::Sound,
        Ok(LearnOutcome::Refused(refusal)) => Learned::Refused(format!("{refusal:?}")),
        Err(error) => Learned::Refused(error.to_string()),
    }
}

/// Least current to spare, in shares of the friction current.
const LEAST_SPARE: f64 = 2.0;

fn is_strong(drawn: &Drawn) -> bool {
    let motor = &drawn.world.actuator.motor;
    let friction_a = truth::truth(&drawn.world, 20.0).friction_a;
    // A low supply through a warm winding, against a unit at the edge of soundness: the trade-off that the learn makes.
    let available_a = 0.88 * 0.85 * drawn.answers.rated_voltage / (1.12 * motor.resistance_ohm);
    available_a - 1.25 * drawn.need_a > LEAST_SPARE * friction_a
}
