//! The board's refusals in words for a technician: seen, allowed, what to try.

use std::fmt;

use firmware_core::calibration::Setup;
use firmware_core::faults::Fault;
use firmware_core::held::Standing;
use firmware_core::link::{Refusal, SelfCheck, SelfTest, Source};

/// A refusal, to be printed.
pub struct RefusalWords<'a>(pub &'a Refusal);

impl fmt::Display for RefusalWords<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_seen(self.0, f)?;
        write!(f, "; {}", advice(self.0))
    }
}

fn write_seen(refusal: &Refusal, f: &mut fmt::Formatter<'_>) -> fmt::Result {
    match refusal {
        Refusal::OtherVersion { board } => write!(f, "it speaks protocol version {board}"),
        Refusal::NoHello => f.write_str("it has restarted and waits for a hello"),
        Refusal::UnknownKind => f.write_str("its software does not know this command"),
        Refusal::BadValue => f.write_str("a value is outside its range"),
        Refusal::Stale { last } => write!(f, "it has already taken command {last}"),
        Refusal::NotArmed => f.write_str("the drive is disarmed, at start or because the link was silent"),
        Refusal::Busy { source } => write!(f, "the drive is in use by {}", user(*source)),
        Refusal::NotCalibrated => f.write_str("no calibration"),
        Refusal::OtherSetup { learned, wanted } => {
            let (learned, wanted) = (setup(*learned), setup(*wanted));
            write!(f, "its calibration was learned {learned}, but {wanted} is requested")
        }
        Refusal::NoSpan { span_counts } => {
            write!(f, "the calibration spans {span_counts} counts, at least 1 is needed")
        }
        Refusal::Clearance { clearance, max } => {
            write!(f, "the calibration keeps {clearance} clear of each stop; allowed: at most {max}")
        }
        Refusal::Setting { field, value, min, max } => {
            write!(f, "setting {field} is {value}, allowed {min} to {max}")
        }
        Refusal::MotionFull { max } => write!(f, "the profile has more than {max} segments"),
        Refusal::MotionNotFinite => f.write_str("a segment's current is not a number"),
        Refusal::MotionEmpty => f.write_str("the motion profile has no segments"),
        Refusal::NothingLearned => f.write_str("no learn has ended since this talk began"),
        Refusal::StartInPast { next } => write!(f, "the start lies before tick {}", next.0),
        Refusal::NoSettings { missing } => write!(f, "{missing} sections of its settings are missing"),
        Refusal::OtherSettings { board, host } => {
            write!(f, "its settings are {board}, the profile's are {host}")
        }
        Refusal::NotInForce { standing } => write!(f, "its calibration is {}", standing_words(*standing)),
        Refusal::OtherWarmth { learned, wanted } => {
            write!(f, "its calibration was learned {learned}, but {wanted} is requested")
        }
        Refusal::CalibrationOfOtherSettings { learned, board } => {
            write!(f, "its calibration was learned under settings {learned}, in use are {board}")
        }
        Refusal::OpenLoopOnly => f.write_str("without a calibration only open-loop motion is allowed"),
        Refusal::DiagnosticCurrent { max } => write!(f, "a diagnostic motion may use at most {} A", max.0),
        Refusal::OtherCalibration => f.write_str("it does not hold the calibration to relearn from"),
        Refusal::Saving => f.write_str("it is still saving"),
        Refusal::SelfTestFailed { found } => write!(f, "its power-on self-test failed: {}", failed(found)),
        Refusal::TooManyWaiting { max } => write!(f, "{max} messages already wait there; no more fit"),
        Refusal::Overtaken => f.write_str("a stop overtook it"),
        Refusal::MemoryChanged => f.write_str("its memory has changed by itself"),
        Refusal::FaultPresent { faults } => {
            let names: Vec<_> = faults.iter().map(Fault::name).collect();
            write!(f, "it does not drive with this fault: {}", names.join(", "))
        }
    }
}

fn advice(refusal: &Refusal) -> &'static str {
    match refusal {
        Refusal::OtherVersion { .. } => "use the tool that belongs to its software, or update the board",
        Refusal::NoHello => "run again",
        Refusal::UnknownKind => "update the board",
        Refusal::BadValue => "check limits and profile",
        Refusal::Stale { .. } => "another tool may be talking to it",
        Refusal::NotArmed => "confirm hands clear and arm",
        Refusal::Busy { .. } => "stop it first",
        Refusal::NotCalibrated | Refusal::NothingLearned => "learn the end stops first",
        Refusal::OtherSetup { .. } => "learn again in this setup",
        Refusal::NoSpan { .. } | Refusal::Clearance { .. } | Refusal::OtherWarmth { .. } => "learn again",
        Refusal::Setting { .. } => "correct it in the profile",
        Refusal::MotionFull { .. } => "shorten it",
        Refusal::MotionNotFinite => "correct it",
        Refusal::MotionEmpty => "put one in",
        Refusal::StartInPast { .. } => "start later",
        Refusal::NoSettings { .. } => "hand all of them over",
        Refusal::OtherSettings { .. } => "another tool may have changed them: hand them over again",
        Refusal::NotInForce { standing: Standing::NotProven { .. } } => "confirm the checks that are open",
        Refusal::NotInForce { standing: Standing::Suspended { .. } | Standing::Accepted } => "learn again",
        Refusal::CalibrationOfOtherSettings { .. } => "learn again under these",
        Refusal::OpenLoopOnly => "an opening was asked for: learn the end stops first",
        Refusal::DiagnosticCurrent { .. } => "ask for less",
        Refusal::OtherCalibration => "hand it over first, or learn in full",
        Refusal::Saving => "try again in a second",
        Refusal::SelfTestFailed { .. } => "put that right, then switch its supply off and on",
        Refusal::TooManyWaiting { .. } => "wait for each reply before the next message",
        Refusal::Overtaken => "run again if the stop was not meant",
        Refusal::MemoryChanged => "switch its supply off and on; if it comes back, replace the board",
        Refusal::FaultPresent { faults } if faults.contains(Fault::BridgeFault) => {
            "look for a short in motor and leads, heat, and a supply that dips at the bridge; then switch its supply off \
             and on"
        }
        Refusal::FaultPresent { .. } => "switch its supply off and on; if it comes back, replace the board",
    }
}

fn user(source: Source) -> &'static str {
    match source {
        Source::Released => "nobody",
        Source::Engine => "the engine controller",
        Source::Motion => "a motion profile",
        Source::Learn => "end-stop learning",
        Source::Probe => "a probe",
    }
}

/// The checks that failed, each with where to look.
fn failed(found: &SelfTest) -> String {
    let checks = [
        (found.converter_references, "the converters misread their own references (replace the board)"),
        (found.bridge_off_current, "current flows with the bridge off (unplug the motor, check the bridge)"),
        (found.sensor_rails, "a sensor supply is not up (look for a short in sensors and wiring)"),
        (found.image_crc, "the software in flash is damaged (flash it again)"),
        (found.emergency_stop_line, "the emergency-stop line is open (release the stop, check its line)"),
    ];
    let failed = checks.into_iter().filter(|(check, _)| *check == SelfCheck::Failed);
    failed.map(|(_, words)| words).collect::<Vec<_>>().join(", ")
}

fn standing_words(standing: Standing) -> String {
    match standing {
        Standing::Accepted => "accepted".into(),
        Standing::NotProven { open } => format!("not proven, still open: {open}"),
        Standing::Suspended { refusals } => {
            format!("suspended: {refusals} later learns were refused or cut short")
        }
    }
}

fn setup(setup: Setup) -> &'static str {
    match setup {
        Setup::Free => "on the free actuator",
        Setup::Attached => "attached to the ring",
        Setup::OnEngine => "on the engine",
    }
}
