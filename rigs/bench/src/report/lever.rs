//! Degrees of the lever beside per cent of travel.

use firmware_core::calibration::Calibration;

use super::chart::Axis;
use crate::figures::TRAVEL;
use crate::number::fixed;
use crate::profile::Profile;

/// Degrees from which a tenth is as fine as anybody reads.
const TENTHS_FROM: f64 = 10.0;

/// How far a unit's lever goes between its stops.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeverTravel {
    degrees: f64,
}

impl LeverTravel {
    /// Of a unit as learned, by the profile's scale; of a sound unit where nothing is learned.
    #[must_use]
    pub(crate) fn of(profile: &Profile, learned: Option<&Calibration>) -> Self {
        let nominal = f64::from(profile.settings.actuator.nominal_span_counts);
        let span = learned.map_or(nominal, |found| f64::from(found.span_counts()).abs());
        Self { degrees: profile.travel_deg * span / nominal }
    }

    /// The whole of it.
    #[must_use]
    pub(super) fn degrees(self) -> f64 {
        self.degrees
    }

    /// A value beside which degrees belong; nothing where its unit is none of travel.
    #[must_use]
    pub(super) fn beside(self, value: f64, unit: &str) -> Option<String> {
        (unit == TRAVEL).then(|| self.text(value))
    }

    /// So many per cent of travel, in degrees.
    #[must_use]
    pub(super) fn text(self, percent: f64) -> String {
        let degrees = percent / 100.0 * self.degrees;
        let digits = if degrees.abs() < TENTHS_FROM { 2 } else { 1 };
        format!("{}°", fixed(degrees, digits).replace('-', "−"))
    }

    /// A place along the travel, `at 40 % of travel`, with its degrees behind it; any other as it is.
    #[must_use]
    pub(super) fn placed(self, place: &str) -> String {
        let Some(numbers) = place.strip_suffix(" % of travel") else { return place.to_owned() };
        let degrees = |word: &str| word.parse().ok().map(|value| self.text(value));
        let degrees: Vec<String> = numbers.split(' ').filter_map(degrees).collect();
        format!("{place} ({})", degrees.join(" to "))
    }

    /// An axis in per cent of travel, with the lever's degrees at its other side.
    #[must_use]
    pub(super) fn on(self, axis: Axis) -> Axis {
        Axis { degrees_per_unit: Some(self.degrees / 100.0), ..axis }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::actuator::DEMO;

    /// 70° of travel, as the profile has it: 1 % is 0.7°.
    #[test]
    fn per_cent_of_travel_stands_in_degrees_beside() {
        let lever = LeverTravel::of(&DEMO.profile().unwrap(), None);
        assert_eq!(
            (lever.text(1.0), lever.text(-0.5), lever.text(50.0)),
            ("0.70°".into(), "−0.35°".into(), "35.0°".into())
        );
        assert_eq!(lever.beside(1.0, TRAVEL), Some("0.70°".into()));
        assert_eq!(lever.beside(1.0, "% of step"), None);
        assert_eq!(lever.placed("at 40 % of travel"), "at 40 % of travel (28.0°)");
        assert_eq!(lever.placed("2 to 98 % of travel"), "2 to 98 % of travel (1.40° to 68.6°)");
        assert_eq!(
            lever.placed("opening, 40 to 50 % of travel"),
            "opening, 40 to 50 % of travel (28.0° to 35.0°)"
        );
        assert_eq!(lever.placed("cycle 2"), "cycle 2");
    }
}
