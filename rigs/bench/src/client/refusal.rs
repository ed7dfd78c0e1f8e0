//! The board's refusals in words for a technician: seen, allowed, what to try.

use std::fmt;

use firmware_core::calibration::Setup;
use firmware_core::held::Standing;
use firmware_core::link::{Refusal, Source};

/// A refusal, to be printed.
pub struct RefusalWords<'a>(pub &'a Refusal);

impl fmt::Display for RefusalWords<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            Refusal::OtherVersion { board } => write!(f, "it speaks protocol version {board}"),
            Refusal::NoHello => f.write_str("it has restarted and waits for a hello; run again"),
            Refusal::UnknownKind => f.write_str("its software does not know this command; update the board"),
            Refusal::BadValue => f.write_str("a value is outside its range; check limits and profile"),
            Refusal::Stale { last } => {
                write!(f, "it has already taken command {last}; another tool may be talking to it")
            }
            Refusal::NotArmed => f.write_str(
                "the drive is disarmed, at start or because the link was silent; confirm hands clear and arm",
            ),
            Refusal::Busy { source } => write!(f, "the drive is in use by {}; stop it first", user(*source)),
            Refusal::NotCalibrated => f.write_str("no calibration; learn the end stops first"),
            Refusal::OtherSetup { learned, wanted } => write!(
                f,
                "its calibration was learned {}, and {} is asked for; learn again in this setup",
                setup(*learned),
                setup(*wanted)
            ),
            Refusal::NoSpan { span_counts } => {
                write!(f, "the calibration spans {span_counts} counts, at least 1 is needed; learn again")
            }
            Refusal::Clearance { clearance, max } => {
                write!(f, "the calibration keeps {clearance} clear of each stop, at most {max}; learn again")
            }
            Refusal::Setting { field, value, min, max } => {
                write!(f, "setting {field} is {value}, allowed {min} to {max}; correct it in the profile")
            }
            Refusal::MotionFull { max } => write!(f, "the profile has more than {max} segments; shorten it"),
            Refusal::MotionNotFinite => f.write_str("a segment's current is not a number; correct it"),
            Refusal::MotionEmpty => f.write_str("the motion profile has no segments"),
            Refusal::NothingLearned => {
                f.write_str("no learn has ended since this talk began; learn the end stops")
            }
            Refusal::StartInPast { next } => {
                write!(f, "the start lies before tick {}; start later", next.0)
            }
            Refusal::NoSettings { missing } => {
                write!(f, "it has not been given {missing} of its settings' sections; hand all of them over")
            }
            Refusal::OtherSettings { board, host } => write!(
                f,
                "its settings are {board}, the profile's are {host}; another tool may have changed them: hand them over again"
            ),
            Refusal::NotInForce { standing } => write!(f, "its calibration is {}", standing_words(*standing)),
            Refusal::OtherWarmth { learned, wanted } => {
                write!(f, "its calibration was learned {learned}, and {wanted} is asked for; learn again")
            }
            Refusal::CalibrationOfOtherSettings { learned, board } => write!(
                f,
                "its calibration was learned under settings {learned}, in use are {board}; learn again under these"
            ),
            Refusal::OpenLoopOnly => f.write_str(
                "without a calibration only open-loop motion is allowed, and an opening was asked for",
            ),
            Refusal::DiagnosticCurrent { max } => {
                write!(f, "a diagnostic motion may use at most {} A; ask for less", max.0)
            }
            Refusal::OtherCalibration => f.write_str(
                "the calibration to relearn from is not the one that it holds; hand it over first, or learn in full",
            ),
            Refusal::Saving => f.write_str("it is still saving; try again in a second"),
        }
    }
}

fn user(source: Source) -> &'static str {
    match source {
        Source::Released => "nobody",
        Source::Engine => "the engine controller",
        Source::Motion => "a motion profile",
        Source::Learn => "end-stop learning",
    }
}

fn standing_words(standing: Standing) -> String {
    match standing {
        Standing::Accepted => "accepted".into(),
        Standing::NotProven { open } => format!("not proven; still to confirm: {open}"),
        Standing::Suspended { refusals } => {
            format!("suspended: {refusals} later learns were refused or cut short; learn again")
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
