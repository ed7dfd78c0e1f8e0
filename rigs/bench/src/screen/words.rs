//! What the screen's rows say, word by word.

use firmware_core::learn::LearnPhase;
use firmware_core::link::Drive;
use firmware_core::link::state::ReleaseReason;

use crate::procedure::RunStop;
use crate::rig::StreamSample;

pub(super) fn in_words(phase: LearnPhase) -> String {
    match phase {
        LearnPhase::AtRest => "checking supply, sensor and current; drive off".to_owned(),
        LearnPhase::Approaching(stop) => format!("going to the {stop} stop"),
        LearnPhase::Pressing(stop) => format!("pushing against the {stop} stop"),
        LearnPhase::Retreating(stop) => format!("backing off from the {stop} stop"),
        LearnPhase::Probing(stop) => format!("nothing moved; trying toward the {stop} stop"),
        LearnPhase::Finished => "done; drive off".to_owned(),
    }
}

pub(super) fn why_released(reason: ReleaseReason) -> String {
    if matches!(reason, ReleaseReason::MotionEnded | ReleaseReason::LearnEnded) {
        return "done".to_owned();
    }
    RunStop::released(reason).to_string()
}

pub(super) fn command(sample: &StreamSample) -> String {
    let target = sample.point.target(sample.state.drive);
    match (sample.state.drive, target) {
        (Drive::Released, _) | (_, None) => no_command(),
        (Drive::Duty, Some(duty)) => format!("{:+.1} % duty", 100.0 * duty),
        (Drive::Opening, Some(opening)) => format!("{:.1} % open", 100.0 * opening),
        (Drive::Current, Some(current)) => amperes(current),
    }
}

pub(super) fn no_command() -> String {
    "none, drive off".to_owned()
}

pub(super) fn amperes(current: f32) -> String {
    if current.is_finite() { format!("{current:+.2} A") } else { "not measured".to_owned() }
}

pub(super) fn named<'a>(names: impl Iterator<Item = &'a str>) -> String {
    let names: Vec<&str> = names.collect();
    if names.is_empty() { "none".to_owned() } else { names.join(", ") }
}
