//! How far a unit's stops have wandered since it was first learned in this setup.
//!
//! In: the unit's folder and a new calibration. Out: the wander of each stop since the first accepted full
//! learn, flagged when it passes twice what one relearn may move. Each relearn only sees the one before it;
//! this sees the sum. Runs that cannot be read are passed over: they have no calibration to compare.

use std::path::Path;

use firmware_core::calibration::Calibration;
use firmware_core::settings::Settings;
use schemars::JsonSchema;
use serde::Serialize;

use crate::record::{Run, RunKind, runs_in};

/// Wander that is flagged, in relearn windows.
const FLAG_FACTOR: f32 = 2.0;

/// Wander of a unit's stops since its first full learn in this setup.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct Wander {
    /// Run of the first full learn.
    pub since: String,
    /// Closed stop, counts.
    pub closed_counts: f32,
    /// Open stop, counts.
    pub open_counts: f32,
    /// Wander from which a stop is flagged, counts.
    pub limit_counts: f32,
}

impl Wander {
    /// True when a stop has wandered too far.
    #[must_use]
    pub(crate) fn is_flagged(&self) -> bool {
        self.closed_counts.abs() > self.limit_counts || self.open_counts.abs() > self.limit_counts
    }

    /// In words.
    #[must_use]
    pub(crate) fn text(&self) -> String {
        let flag =
            if self.is_flagged() { "DRIFT: inspect stops and linkage, then do a full learn; " } else { "" };
        format!(
            "{flag}since {} the closed stop has moved {:+.1} counts, the open stop {:+.1} (flagged from {:.0})",
            self.since, self.closed_counts, self.open_counts, self.limit_counts
        )
    }
}

/// Compares a calibration with the unit's first full learn in the same setup and warmth, if there is one.
#[must_use]
pub(crate) fn wander(unit_dir: &Path, settings: &Settings, now: &Calibration) -> Option<Wander> {
    let learns = runs_in(unit_dir).ok()?.into_iter().filter(|(name, _)| name.kind == RunKind::Learn);
    let first = learns.filter_map(|(_, dir)| Run::open(&dir).ok()).find_map(|run| {
        let then = run.file.outcome.calibration.filter(|_| !run.file.is_relearn())?;
        (then.setup == now.setup && then.warmth == now.warmth).then(|| (run.name.to_string(), then))
    });
    let (since, then) = first?;
    Some(Wander {
        since,
        closed_counts: now.closed.zero_push_counts - then.closed.zero_push_counts,
        open_counts: now.open.zero_push_counts - then.open.zero_push_counts,
        limit_counts: FLAG_FACTOR
            * settings.learn.limits.relearn_window
            * settings.actuator.nominal_span_counts,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wander_past_its_limit_is_flagged_in_either_direction() {
        let sound = Wander {
            since: "0001-learn".into(),
            closed_counts: -90.0,
            open_counts: 20.0,
            limit_counts: 107.0,
        };
        assert!(!sound.is_flagged());
        assert!(Wander { closed_counts: -110.0, ..sound.clone() }.text().starts_with("DRIFT"));
        assert!(Wander { open_counts: 110.0, ..sound }.is_flagged());
    }

    #[test]
    fn a_unit_without_runs_has_no_history() {
        let dir = tempfile::tempdir().unwrap();
        let calibration = Calibration {
            closed: stop(),
            open: stop(),
            setup: firmware_core::calibration::Setup::Attached,
            warmth: firmware_core::calibration::Warmth::Cold,
            supply: firmware_core::units::Volt(12.0),
            temperature: None,
            clearance: firmware_core::units::Opening::CLOSED,
        };
        assert_eq!(wander(dir.path(), &Settings::default(), &calibration), None);
    }

    fn stop() -> firmware_core::calibration::LearnedStop {
        firmware_core::calibration::LearnedStop {
            zero_push_counts: 1.0,
            pressed_counts: 1.0,
            released_counts: 1.0,
            compliance_counts_per_a: 1.0,
            repeat_range_counts: 1.0,
            contact: firmware_core::calibration::Contact::RingContact,
        }
    }
}
