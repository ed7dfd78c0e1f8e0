//! What guard and fault detection did in a run and which parts it had, in plain words.

use firmware_core::guard::{GuardCause, GuardStage};

use super::ShownRun;
use crate::document::PartsOfRun;

/// When the guard changed its stage, and why; the first few.
pub(super) fn guard_line(run: &ShownRun) -> String {
    const NAMED: usize = 4;
    let events = &run.outcome.events;
    if events.is_empty() {
        return "never stepped in".to_owned();
    }
    let named = events
        .iter()
        .take(NAMED)
        .map(|e| format!("{:.2} s {} ({})", e.t_s, stage(e.event.to), cause(e.event.cause)));
    let more = events.len().saturating_sub(NAMED);
    let tail = if more > 0 { format!("; and {more} more") } else { String::new() };
    format!("{}{tail}", named.collect::<Vec<_>>().join("; "))
}

/// Faults that the controller saw, by name.
pub(super) fn faults_line(run: &ShownRun) -> String {
    let names: Vec<&str> = run.outcome.faults.iter().map(|fault| fault.name()).collect();
    if names.is_empty() { "none".to_owned() } else { names.join(", ") }
}

/// A stage in a word, for a chart.
pub(super) fn short_stage(stage: GuardStage) -> &'static str {
    match stage {
        GuardStage::Normal => "back to normal",
        GuardStage::Ease => "eases",
        GuardStage::BoostShort => "holds open",
        GuardStage::Open => "trips",
        GuardStage::CannotOpen => "cannot open",
        GuardStage::Latched => "latches",
    }
}

/// Every turbo with the names of the runs that had it; nothing of runs with the scenario's own.
pub(super) fn turbos(shown: &[ShownRun]) -> Vec<(String, &PartsOfRun)> {
    let mut turbos: Vec<(String, &PartsOfRun)> = Vec::new();
    for run in shown {
        let Some(parts) = &run.parts else { continue };
        match turbos.iter_mut().find(|(_, known)| *known == parts) {
            Some((names, _)) => *names = format!("{names}, {}", run.name),
            None => turbos.push((run.name.clone(), parts)),
        }
    }
    turbos
}

/// What a stage of the guard is.
pub(super) fn stage(stage: GuardStage) -> &'static str {
    match stage {
        GuardStage::Normal => "back to normal",
        GuardStage::Ease => "eases the vanes open",
        GuardStage::BoostShort => "holds the vanes open, boost stayed short",
        GuardStage::Open => "forces the vanes open and cuts fuel",
        GuardStage::CannotOpen => "sees that the vanes do not open, and limits fuel",
        GuardStage::Latched => "latched: vanes open until a person clears it",
    }
}

fn cause(cause: GuardCause) -> &'static str {
    match cause {
        GuardCause::Boost => "boost near or over its limit",
        GuardCause::BoostOverTarget => "boost too far over its target",
        GuardCause::BoostSaturated => "boost sensor at the top of its range",
        GuardCause::TurboSpeed => "turbo speed",
        GuardCause::TurboSpeedEstimated => "turbo speed, estimated from the pressure ratio",
        GuardCause::Exhaust => "exhaust pressure",
        GuardCause::Short => "boost short at the smallest opening",
        GuardCause::NoTravel => "no travel seen",
        GuardCause::Travelled => "travel seen again",
        GuardCause::TooLong => "held open too long",
        GuardCause::TooOften => "tripped too often",
        GuardCause::Calm => "all readings below their levels for long enough",
        GuardCause::Cleared => "cleared by a person",
    }
}
