//! How far off a stop may be, and whether the windows of a learn can tell.
//!
//! In: tolerance, spread of sound units and uncertainty of a learned stop, each an entry of its own, and the windows. Out:
//! how far off an accepted stop may be, and how many sound ones are refused; a window that cannot support the tolerance
//! is refused on reading (JCGM 106: the window is the acceptance interval, spread and uncertainty make its guard band).

use firmware_core::settings::StopWindow;
use plant::toml_file::{TomlError, TomlFile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::NEXT;
use crate::figures::conformity::{COVERAGE_FACTOR, Interval, NormalSpread};

/// What is tolerated of a stop, and what blurs the sight of it, % of travel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct StopTolerance {
    /// How far a stop may be off, either way, 0.1 to 20.
    pub(crate) tolerance_percent: f64,
    /// Standard deviation of sound units about the middle of their window, above 0.
    pub(crate) unit_spread_percent: f64,
    /// Expanded uncertainty of a learned stop, coverage factor 2, above 0.
    pub(crate) expanded_uncertainty_percent: f64,
}

/// What a window does under such a tolerance, % of travel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub(crate) struct WindowSupport {
    /// Half the window.
    pub(crate) half_width_percent: f64,
    /// How far off an accepted stop may be, coverage factor 2.
    pub(crate) accepted_percent: f64,
    /// Share of sound stops that the window refuses, per cent.
    pub(crate) sound_refused_percent: f64,
}

impl StopTolerance {
    pub(super) fn check(&self, file: &TomlFile) -> Result<(), TomlError> {
        let check = |field: &str, value: f64, least: f64, most: f64| match (least..=most).contains(&value) {
            true => Ok(()),
            false => Err(file.refuse(&format!("stops.{field}"), format!("allowed {least} to {most}"), NEXT)),
        };
        check("tolerance_percent", self.tolerance_percent, 0.1, 20.0)?;
        check("unit_spread_percent", self.unit_spread_percent, 0.001, self.tolerance_percent)?;
        check(
            "expanded_uncertainty_percent",
            self.expanded_uncertainty_percent,
            0.001,
            self.tolerance_percent,
        )
    }

    /// Standard deviation of a sound stop's reading about the middle of its window.
    fn blur_percent(&self) -> f64 {
        self.unit_spread_percent.hypot(self.expanded_uncertainty_percent / COVERAGE_FACTOR)
    }

    /// What a window does, of a travel of so many counts.
    #[must_use]
    pub(crate) fn support(&self, window: StopWindow, travel_counts: f32) -> WindowSupport {
        let half_width_percent = 100.0 * f64::from(window.half_width()) / f64::from(travel_counts);
        let sound = NormalSpread { mean: 0.0, standard_deviation: self.blur_percent() };
        let accepted = Interval { low: -half_width_percent, high: half_width_percent };
        WindowSupport {
            half_width_percent,
            accepted_percent: half_width_percent + COVERAGE_FACTOR * self.blur_percent(),
            sound_refused_percent: 100.0 * sound.outside(accepted),
        }
    }

    /// Refuses a window that accepts more than the tolerance, or that is narrower than sound stops are seen.
    pub(super) fn supported(
        &self,
        window: StopWindow,
        travel_counts: f32,
        file: &TomlFile,
        field: &str,
    ) -> Result<(), TomlError> {
        let WindowSupport { half_width_percent: half, accepted_percent, .. } =
            self.support(window, travel_counts);
        let blur = COVERAGE_FACTOR * self.blur_percent();
        let seen = format!(
            "this window is ± {half:.2} % of travel, and sound stops scatter by ± {blur:.2} % (k = 2)"
        );
        if accepted_percent > self.tolerance_percent {
            let line = file.lined("stops.tolerance_percent");
            let tolerance = self.tolerance_percent;
            let allowed = format!(
                "{seen}: an accepted stop may be off by {accepted_percent:.2} %, more than the {tolerance} % of \
                 stops.tolerance_percent {line}"
            );
            return Err(file.refuse(field, allowed, "Narrow the window, or measure more sound units."));
        }
        if half < blur {
            let allowed = format!("{seen}: sound units would be refused");
            let next = "Widen the window as far as the tolerance allows, or measure more sound units.";
            return Err(file.refuse(field, allowed, next));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::super::Profile;
    use super::*;
    use crate::actuator::{ALL, DEMO};

    fn edited(from: &str, to: &str) -> TomlError {
        assert!(DEMO.profile_text.contains(from), "{from} is not in the demo profile");
        let text = DEMO.profile_text.replacen(from, to, 1);
        Profile::read(&TomlFile::from_text("unit.toml", &text)).unwrap_err()
    }

    /// ±1.15 % is seen to ±0.48 %: of ±1.6 % of tolerance it leaves none, of ±2 % some.
    #[test]
    fn a_window_that_cannot_support_its_tolerance_is_refused() {
        let error = edited("tolerance_percent = 2.0", "tolerance_percent = 1.6");
        assert!(
            error.field.contains("windows") && error.allowed.contains("stops.tolerance_percent (line"),
            "{error}"
        );
        assert!(error.allowed.contains("may be off by 1.6"), "{error}");
        let error = edited("closed = { min = 13941, max = 14187 }", "closed = { min = 13864, max = 14264 }");
        assert!(error.line.is_some() && error.allowed.contains("± 1.87 %"), "{error}");
        let error = edited("closed = { min = 13941, max = 14187 }", "closed = { min = 14044, max = 14084 }");
        assert!(error.allowed.contains("sound units would be refused"), "{error}");
        let error = edited("unit_spread_percent = 0.24", "unit_spread_percent = 0.0");
        assert_eq!(&*error.field, "stops.unit_spread_percent");
    }

    #[test]
    fn every_built_in_window_supports_a_stop_off_by_two_per_cent() {
        for actuator in ALL {
            let profile = actuator.profile().unwrap();
            let windows = profile.settings.learn.windows.attached.cold;
            let support =
                profile.stops.unwrap().support(windows.open, profile.settings.actuator.nominal_span_counts);
            assert!(support.accepted_percent < 1.75, "{}: {support:?}", actuator.name);
            assert!(support.sound_refused_percent < 0.01, "{}: {support:?}", actuator.name);
        }
    }
}
