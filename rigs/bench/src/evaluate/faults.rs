//! Faults that the controller told while a unit was moved: figures taken under a fault are not trusted.
//!
//! In: a run's samples. Out: a finding for each fault in them: the controller tells a fault only once it has
//! stood its debounce, so one sample is enough. A learn is left out: its own refusals name what it found.

use std::collections::BTreeMap;

use firmware_core::faults::Fault;
use firmware_core::units::Tick;

use crate::judge::{FaultOf, Finding};
use crate::record::{Run, RunKind};

pub(super) fn findings(run: &Run) -> Vec<Finding> {
    if run.name.kind == RunKind::Learn {
        return Vec::new();
    }
    let mut seen: BTreeMap<&'static str, (usize, Tick)> = BTreeMap::new();
    for sample in run.samples() {
        for word in sample.state.split("; ").skip(1) {
            if let Some(fault) = Fault::ALL.into_iter().find(|fault| fault.name() == word) {
                seen.entry(fault.name()).or_insert((0, sample.tick)).0 += 1;
            }
        }
    }
    seen.into_iter().map(|(fault, (samples, first))| finding(run, fault, samples, first)).collect()
}

fn finding(run: &Run, fault: &str, samples: usize, first: Tick) -> Finding {
    Finding {
        code: format!("fault-{fault}"),
        seen: format!(
            "{}: the controller saw {fault} for {samples} ms, first at tick {} (allowed: none)",
            run.name, first.0
        ),
        advice: "Figures taken under a fault are not trusted. Check wiring and sensor, and that the \
            profile is this unit's; then repeat."
            .into(),
        fault_of: FaultOf::Rig,
    }
}
