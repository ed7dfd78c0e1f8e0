//! Two learned stops turn raw counts into opening and back.
//!
//! The stops are zero-push positions: the reading at a stop grows with the push that holds the lever
//! there, so the learner extrapolates two current-controlled pushes to none. They are fractions of a
//! count, because they are averages.

use serde::{Deserialize, Serialize};

use crate::settings::ActuatorSettings;
use crate::units::{Celsius, Counts, Opening, Volt, is_within};

/// How the actuator was mounted when it was learned. A calibration holds only for its own setup.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum Setup {
    /// Actuator alone on the bench: its internal stops are met.
    Free,
    /// Attached to the vane ring on the bench: the ring's stops are met.
    Attached,
    /// On the engine, linkage and heat included.
    OnEngine,
}

impl core::fmt::Display for Setup {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Free => "free",
            Self::Attached => "attached",
            Self::OnEngine => "on-engine",
        })
    }
}

/// Cold or hot: each has its own windows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum Warmth {
    /// Near room temperature.
    Cold,
    /// Heat-soaked.
    Hot,
}

impl core::fmt::Display for Warmth {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Cold => "cold",
            Self::Hot => "hot",
        })
    }
}

/// What the lever rests against at a stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum Contact {
    /// The actuator's own stop.
    ActuatorInternal,
    /// The minimum-flow stop of the nozzle ring.
    MinimumFlow,
    /// The ring's contact at full opening.
    RingContact,
}

/// One learned end stop.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LearnedStop {
    /// Position extrapolated to zero push, counts.
    pub zero_push_counts: f32,
    /// Settled reading under the larger push, counts.
    pub pressed_counts: f32,
    /// Settled reading under the smaller push, counts.
    pub released_counts: f32,
    /// Compliance: how far the reading moves for each ampere of push, counts/A (magnitude).
    pub compliance_counts_per_a: f32,
    /// Largest minus smallest zero-push reading over all touches, counts.
    pub repeat_range_counts: f32,
    /// What the lever met.
    pub contact: Contact,
}

/// A complete calibration: both stops and under what conditions they were learned.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Calibration {
    /// Stop at opening 0.
    pub closed: LearnedStop,
    /// Stop at opening 1.
    pub open: LearnedStop,
    /// How the actuator was mounted.
    pub setup: Setup,
    /// Cold or hot.
    pub warmth: Warmth,
    /// Supply during the learn.
    pub supply: Volt,
    /// Housing temperature during the learn, where measured.
    pub temperature: Option<Celsius>,
    /// Command range inside the stops: openings below this are not commanded.
    pub clearance: Opening,
}

/// Why two stops make no calibration.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum CalibrationError {
    /// The stops are nearer than one count, or not finite.
    NoSpan {
        /// Signed span open − closed, counts.
        span_counts: f32,
    },
    /// The clearance leaves too little travel: at 0.5 a forced opening would stand half closed.
    Clearance {
        /// Clearance stated.
        clearance: f32,
        /// Largest allowed.
        max: f32,
    },
    /// The calibration was learned in another setup than it is used in.
    OtherSetup {
        /// Setup it was learned in.
        learned: Setup,
        /// Setup it was asked for.
        wanted: Setup,
    },
}

/// Smallest span that can carry an opening, counts: below one count the sensor cannot tell the ends apart.
const MIN_SPAN_COUNTS: f32 = 1.0;

/// Largest clearance, opening: the same bound as the learn settings' own.
const MAX_CLEARANCE: f32 = 0.2;
/// Share of the nominal span that a calibration of the same actuator may have at least: a ring's own stops
/// take some of a free actuator's travel, never half of it (common practice, no source).
pub const MIN_SPAN_SHARE: f32 = 0.5;
/// Share of the nominal span that it may have at most.
pub const MAX_SPAN_SHARE: f32 = 1.5;

impl Calibration {
    /// Checks that the stops span a range, that the clearance leaves travel and that the setup is the wanted one.
    ///
    /// # Errors
    /// [`CalibrationError`] names what does not fit.
    pub fn check_for(&self, wanted: Setup) -> Result<(), CalibrationError> {
        let span_counts = self.span_counts();
        if !span_counts.is_finite() || libm::fabsf(span_counts) < MIN_SPAN_COUNTS {
            return Err(CalibrationError::NoSpan { span_counts });
        }
        let clearance = self.clearance.get();
        if clearance > MAX_CLEARANCE {
            return Err(CalibrationError::Clearance { clearance, max: MAX_CLEARANCE });
        }
        if self.setup != wanted {
            return Err(CalibrationError::OtherSetup { learned: self.setup, wanted });
        }
        Ok(())
    }

    /// True when the span runs the actuator's way and about as far: the other way, the position loop would
    /// drive the lever away from where it is wanted.
    #[must_use]
    pub fn is_of(&self, actuator: &ActuatorSettings) -> bool {
        let share = actuator.counts_direction.sign() * self.span_counts() / actuator.nominal_span_counts;
        is_within(share, MIN_SPAN_SHARE, MAX_SPAN_SHARE)
    }

    /// Signed span from the closed stop to the open stop, counts; negative when opening lowers counts.
    #[must_use]
    pub fn span_counts(&self) -> f32 {
        self.open.zero_push_counts - self.closed.zero_push_counts
    }

    /// Opening at a reading, held to 0 … 1; readings past a stop give the stop.
    #[must_use]
    pub fn opening(&self, position: Counts) -> Opening {
        Opening::saturating(self.unclamped_opening(position), Opening::OPEN)
    }

    /// Opening at a reading without the hold: below 0 or above 1 the lever presses into a stop.
    #[must_use]
    pub fn unclamped_opening(&self, position: Counts) -> f32 {
        (position.as_f32() - self.closed.zero_push_counts) / self.span_counts()
    }

    /// Reading at an opening, counts.
    #[must_use]
    pub fn counts(&self, opening: Opening) -> f32 {
        self.closed.zero_push_counts + opening.get() * self.span_counts()
    }

    /// The nearest opening that keeps the stated clearance from both stops.
    #[must_use]
    pub fn inside_clearance(&self, opening: Opening) -> Opening {
        let margin = self.clearance.get();
        let low = if opening.get() < margin { margin } else { opening.get() };
        let high = if low > 1.0 - margin { 1.0 - margin } else { low };
        Opening::saturating(high, Opening::OPEN)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn stop(at: f32) -> LearnedStop {
        LearnedStop {
            zero_push_counts: at,
            pressed_counts: at,
            released_counts: at,
            compliance_counts_per_a: 20.0,
            repeat_range_counts: 1.0,
            contact: Contact::ActuatorInternal,
        }
    }

    fn calibration(closed: f32, open: f32) -> Calibration {
        Calibration {
            closed: stop(closed),
            open: stop(open),
            setup: Setup::Free,
            warmth: Warmth::Cold,
            supply: Volt(12.0),
            temperature: None,
            clearance: Opening::CLOSED,
        }
    }

    #[test]
    fn a_free_calibration_is_refused_as_an_attached_one() {
        let refusal = calibration(1000.0, 9000.0).check_for(Setup::Attached);
        assert_eq!(
            refusal,
            Err(CalibrationError::OtherSetup { learned: Setup::Free, wanted: Setup::Attached })
        );
    }

    #[test]
    fn a_clearance_that_would_turn_open_into_closed_is_refused() {
        let all = Calibration { clearance: Opening::OPEN, ..calibration(1000.0, 9000.0) };
        assert_eq!(
            all.check_for(Setup::Free),
            Err(CalibrationError::Clearance { clearance: 1.0, max: MAX_CLEARANCE })
        );
    }

    #[test]
    fn a_calibration_is_of_an_actuator_that_counts_its_way_and_about_as_far() {
        let actuator = ActuatorSettings::default();
        for (closed, open, is_of) in [
            (13_500.0, 2800.0, true),
            (2800.0, 13_500.0, false),
            (13_500.0, 9000.0, false),
            (16_300.0, 100.0, false),
            (f32::NAN, 2800.0, false),
        ] {
            assert_eq!(calibration(closed, open).is_of(&actuator), is_of, "{closed} to {open}");
        }
    }

    proptest! {
        #[test]
        fn opening_to_counts_and_back_is_the_identity(
            closed in 0.0f32..16383.0, span in prop_oneof![-12000.0f32..-100.0, 100.0f32..12000.0], opening in 0.0f32..=1.0,
        ) {
            let calibration = calibration(closed, closed + span);
            let there = calibration.counts(Opening::try_new(opening).unwrap());
            let back = (there - closed) / calibration.span_counts();
            prop_assert!((back - opening).abs() < 3.0e-4, "{opening} became {back}");
        }

        #[test]
        fn any_calibration_bits_give_an_opening_inside_the_range(closed in any::<u32>(), open in any::<u32>(), at in any::<i16>()) {
            let calibration = calibration(f32::from_bits(closed), f32::from_bits(open));
            let opening = calibration.opening(Counts(at)).get();
            prop_assert!((0.0..=1.0).contains(&opening));
        }
    }
}
