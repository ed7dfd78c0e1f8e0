//! Faults that the controller told while a unit was moved: figures taken under a fault are not trusted.
//!
//! In: a run's samples. Out: a finding for each fault that stood long enough not to be a flicker. A learn is
//! left out: its own refusals name what it found.

use std::collections::BTreeMap;

use firmware_core::faults::Fault;
use firmware_core::units::Tick;

use crate::judge::{FaultOf, Finding};
use crate::record::{Run, RunKind};

/// Samples (1 ms each) under a fault that count. Shorter is what a slow ramp through zero current shows on a
/// sound unit: no current flows where little is asked for.
const STANDING_SAMPLES: usize = 200;

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
    let standing = seen.into_iter().filter(|(_, (samples, _))| *samples >= STANDING_SAMPLES);
    standing.map(|(fault, (samples, first))| finding(run, fault, samples, first)).collect()
}

fn finding(run: &Run, fault: &str, samples: usize, first: Tick) -> Finding {
    Finding {
        code: format!("fault-{fault}"),
        seen: format!(
            "{}: the controller saw {fault} for {samples} ms, first at tick {} (allowed: less than {STANDING_SAMPLES} ms)",
            run.name, first.0
        ),
        advice: "Figures taken under a fault are not trusted. Check wiring, sensor and that the profile is this unit's, then repeat.".into(),
        fault_of: FaultOf::Rig,
    }
}
