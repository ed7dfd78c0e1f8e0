//! From what the board told to a row of the record. Nothing is dropped: what is no sample becomes a mark.

use firmware_core::calibration::Calibration;
use firmware_core::command::Command;
use firmware_core::guard::GuardStage;
use firmware_core::learn::{LearnEvent, LearnOutcome, LearnPhase};
use firmware_core::link::Source;
use firmware_core::link::state::{Drive, MotionEvent, StreamState};
use firmware_core::units::{Ampere, Duty, Opening};

use super::{Mark, RecordedSample, Row};
use crate::rig::{GapCause, StreamItem, StreamSample};

/// The note that stands where a motion ended.
pub(crate) const MOTION_ENDED: &str = "motion ended";

/// The row for one item; `calibration` gives samples their opening. `None` for what belongs to no tick.
pub(super) fn row(item: &StreamItem, calibration: Option<&Calibration>) -> Option<Row> {
    Some(match item {
        StreamItem::Sample(sample) => Row::Sample(recorded(sample, calibration)),
        StreamItem::Gap { first, ticks, cause: GapCause::LostOnLine | GapCause::NoRoom } => {
            Row::Mark(*first, Mark::Gap { lost: *ticks })
        }
        StreamItem::State { tick, state } => Row::Mark(*tick, Mark::Note(words(state))),
        StreamItem::Motion { tick, event: MotionEvent::Segment(number) } => {
            Row::Mark(*tick, Mark::Note(format!("segment {number}")))
        }
        StreamItem::Motion { tick, event: MotionEvent::Ended } => note(*tick, MOTION_ENDED),
        StreamItem::Released { tick, reason, .. } => {
            Row::Mark(*tick, Mark::Note(format!("released: {}", kebab(reason))))
        }
        StreamItem::Learn { tick, event, .. } => Row::Mark(*tick, learn_mark(event)),
        StreamItem::LostEvents { tick, count } => Row::Mark(*tick, Mark::LostEvents { count: *count }),
        StreamItem::Stored { .. } => return None,
    })
}

fn note(tick: firmware_core::units::Tick, text: &str) -> Row {
    Row::Mark(tick, Mark::Note(text.to_owned()))
}

fn learn_mark(event: &LearnEvent) -> Mark {
    match event {
        LearnEvent::Touch(touch) => Mark::Touch {
            stop: touch.stop,
            pressed: touch.pressed_counts,
            released: touch.released_counts,
            zero_push: touch.zero_push_counts,
        },
        LearnEvent::Phase(phase) => Mark::Note(format!("phase: {}", phase_words(*phase))),
        LearnEvent::Outcome(LearnOutcome::Accepted(_)) => Mark::Note("learn accepted".into()),
        LearnEvent::Outcome(LearnOutcome::NotProven { check, .. }) => {
            Mark::Note(format!("learn not proven: {check}"))
        }
        LearnEvent::Outcome(LearnOutcome::Refused(refusal)) => {
            Mark::Note(format!("learn refused: {refusal}"))
        }
    }
}

fn phase_words(phase: LearnPhase) -> String {
    match phase {
        LearnPhase::AtRest => "at rest".into(),
        LearnPhase::Approaching(stop) => format!("approaching {stop} stop"),
        LearnPhase::Pressing(stop) => format!("pressing {stop} stop"),
        LearnPhase::Retreating(stop) => format!("retreating from {stop} stop"),
        LearnPhase::Probing(stop) => format!("probing toward {stop} stop"),
        LearnPhase::Finished => "finished".into(),
    }
}

fn recorded(sample: &StreamSample, calibration: Option<&Calibration>) -> RecordedSample {
    let point = &sample.point;
    let current = point.current();
    let mut state = words(&sample.state);
    for limit in sample.limits.iter() {
        state.push_str(&format!("; {limit}"));
    }
    RecordedSample {
        tick: sample.tick,
        position: point.position(),
        opening: calibration.map(|c| c.unclamped_opening(point.position())).filter(|o| o.is_finite()),
        command: command(point.target(sample.state.drive), sample.state.drive),
        duty: point.duty(),
        motor_current: current.is_finite().then_some(current),
        supply: sample.supply,
        state,
    }
}

fn command(target: Option<f32>, drive: Drive) -> Command {
    match (drive, target) {
        (Drive::Released, _) | (_, None) => Command::Release,
        (Drive::Duty, Some(duty)) => Command::Duty(Duty::saturating(duty, Duty::ZERO)),
        (Drive::Current, Some(current)) => Command::Current(Ampere(current)),
        (Drive::Opening, Some(opening)) => Command::Opening(Opening::saturating(opening, Opening::OPEN)),
    }
}

/// The state in words: who drives, then whatever is out of the ordinary.
fn words(state: &StreamState) -> String {
    let mut words = match state.source {
        Source::Released => "released",
        Source::Engine => "engine",
        Source::Motion => "motion",
        Source::Learn => "learn",
        Source::Probe => "probe",
    }
    .to_owned();
    if state.stage != GuardStage::Normal {
        words.push_str(&format!("; guard {}", state.stage.name()));
    }
    for fault in state.faults.iter() {
        words.push_str(&format!("; {fault}"));
    }
    words
}

/// The word that the link's own vocabulary has for a value without fields.
fn kebab(value: &impl serde::Serialize) -> String {
    serde_json::to_value(value).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
}
