//! When a fault was in the world, when the controller saw it, and what its guard did.

use firmware_core::faults::Fault;
use firmware_core::guard::GuardStage;
use plant::world::FaultKind;
use study::scenario::Scenario;

use super::{ShownRun, words};
use crate::report::{LaneKind, SpanLane, Spans};

/// Stages of the guard that have a lane, mildest first; without one it does nothing.
const ACTS: [GuardStage; 5] =
    [GuardStage::Ease, GuardStage::BoostShort, GuardStage::Open, GuardStage::CannotOpen, GuardStage::Latched];

/// Every lane in which something happened; nothing where nothing did.
pub(super) fn spans(scenario: &Scenario, shown: &[ShownRun]) -> Option<Spans> {
    let end_s = scenario.duration_s;
    let mut lanes: Vec<SpanLane> = scenario
        .world
        .faults
        .iter()
        .map(|fault| SpanLane {
            name: format!("simulated fault: {}", put_in(&fault.what)),
            kind: LaneKind::PutIn,
            spans: vec![(fault.at_s, fault.until_s.unwrap_or(end_s).min(end_s))],
        })
        .collect();
    for run in shown {
        let of = if shown.len() > 1 { format!("{}: ", run.label) } else { String::new() };
        let lane = |name: String, kind, spans| SpanLane { name: format!("{of}{name}"), kind, spans };
        lanes.extend(Fault::ALL.map(|fault| {
            lane(format!("controller sees {}", fault.name()), LaneKind::Seen, seen(run, fault, end_s))
        }));
        lanes.extend(ACTS.map(|stage| {
            lane(format!("guard {}", words::stage(stage)), LaneKind::Done, stood_at(run, stage, end_s))
        }));
    }
    lanes.retain(|lane| !lane.spans.is_empty());
    let title = "Faults, and what was done about them".to_owned();
    (!lanes.is_empty()).then_some(Spans { title, over: (0.0, end_s), lanes })
}

/// From when to when the guard stood at a stage.
fn stood_at(run: &ShownRun, stage: GuardStage, end_s: f64) -> Vec<(f64, f64)> {
    held(run.outcome.events.iter().map(|timed| (timed.t_s, timed.event.to == stage)), end_s)
}

/// From when to when the controller saw a fault.
fn seen(run: &ShownRun, fault: Fault, end_s: f64) -> Vec<(f64, f64)> {
    held(run.outcome.fault_changes.iter().map(|timed| (timed.t_s, timed.faults.contains(fault))), end_s)
}

/// Where each change of a state makes something hold or not: from when to when it held.
fn held(changes: impl Iterator<Item = (f64, bool)>, end_s: f64) -> Vec<(f64, f64)> {
    let mut spans = Vec::new();
    let mut since = None;
    for (t_s, holds) in changes {
        match (since, holds) {
            (None, true) => since = Some(t_s),
            (Some(from), false) => {
                spans.push((from, t_s));
                since = None;
            }
            (None, false) | (Some(_), true) => {}
        }
    }
    spans.extend(since.map(|from| (from, end_s)));
    spans
}

/// What was put in, as scenario files call it.
fn put_in(what: &FaultKind) -> String {
    let called = match serde_json::to_value(what) {
        Ok(serde_json::Value::String(name)) => Some(name),
        Ok(serde_json::Value::Object(fields)) => fields.keys().next().cloned(),
        Ok(_) | Err(_) => None,
    };
    called.unwrap_or_else(|| "a fault".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_holds_at_the_end_holds_until_the_end_and_repeats_make_one_span() {
        let changes = [(1.0, true), (2.0, true), (3.0, false), (4.0, false), (5.0, true)];
        assert_eq!(held(changes.into_iter(), 9.0), [(1.0, 3.0), (5.0, 9.0)]);
        assert_eq!(held([(0.5, false)].into_iter(), 9.0), []);
    }

    #[test]
    fn a_fault_is_called_as_in_a_scenario_file() {
        assert_eq!(put_in(&FaultKind::WindingOpen), "winding-open");
        assert_eq!(put_in(&FaultKind::Supply(0.0)), "supply");
    }
}
