//! Units as types: a number enters with its unit and keeps it.
//!
//! Quantities ([`Kilopascal`], [`Volt`], …) carry whatever the sensor said, NaN included; the
//! plausibility stage is where that ends. Bounded values ([`Opening`], [`Duty`], [`Load`]) cannot hold
//! anything outside their range.

use serde::{Deserialize, Serialize};

/// Length of one tick, s.
pub const TICK_SECONDS: f32 = 0.001;
/// Ticks in one second.
pub const TICKS_PER_SECOND: u32 = 1000;

/// True when `value` lies in `low ..= high`; NaN lies nowhere. Asked some dozen times in a tick, hence inline.
#[inline(always)]
#[must_use]
#[allow(clippy::manual_range_contains, reason = "a range is built in memory and asked out of line")]
pub fn is_within(value: f32, low: f32, high: f32) -> bool {
    low <= value && value <= high
}

/// The value, or `bound` where the value is not more or no number: one instruction where the processor has it.
#[inline(always)]
#[must_use]
pub fn larger(value: f32, bound: f32) -> f32 {
    if value > bound { value } else { bound }
}

/// The value, or `bound` where the value is not less or no number.
#[inline(always)]
#[must_use]
pub fn smaller(value: f32, bound: f32) -> f32 {
    if value < bound { value } else { bound }
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
        #[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        #[serde(transparent)]
        pub struct $name(pub f32);

        impl $name {
            /// True when the value is neither NaN nor infinite.
            #[must_use]
            pub fn is_finite(self) -> bool {
                self.0.is_finite()
            }
        }
    };
}

quantity!(
    /// Absolute pressure, kPa.
    Kilopascal
);
quantity!(
    /// Voltage, V.
    Volt
);
quantity!(
    /// Current, A. Motor current is signed: positive drives toward open.
    Ampere
);
quantity!(
    /// Temperature, °C.
    Celsius
);
quantity!(
    /// Rotational speed, revolutions per minute.
    Rpm
);

macro_rules! bounded {
    ($(#[$doc:meta])* $name:ident, $low:expr, $high:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        #[serde(try_from = "f32", into = "f32")]
        pub struct $name(f32);

        impl $name {
            /// Smallest value the type can hold.
            pub const MIN: Self = Self($low);
            /// Largest value the type can hold.
            pub const MAX: Self = Self($high);

            /// Takes a value inside the range.
            ///
            /// # Errors
            /// Gives back the value when it is NaN or outside the range.
            pub fn try_new(value: f32) -> Result<Self, OutOfRange> {
                if is_within(value, $low, $high) {
                    Ok(Self(value))
                } else {
                    Err(OutOfRange { value, min: $low, max: $high })
                }
            }

            /// Takes the nearest value inside the range; NaN becomes `fallback`.
            #[inline(always)]
            #[must_use]
            pub const fn saturating(value: f32, fallback: Self) -> Self {
                if value >= $low {
                    if value <= $high { Self(value) } else { Self::MAX }
                } else if value < $low {
                    Self::MIN
                } else {
                    fallback
                }
            }

            /// The plain number.
            #[inline(always)]
            #[must_use]
            pub const fn get(self) -> f32 {
                self.0
            }
        }

        impl TryFrom<f32> for $name {
            type Error = OutOfRange;
            fn try_from(value: f32) -> Result<Self, OutOfRange> {
                Self::try_new(value)
            }
        }

        impl From<$name> for f32 {
            fn from(value: $name) -> f32 {
                value.0
            }
        }
    };
}

bounded!(
    /// Vane opening: 0 closed (smallest nozzle area) … 1 fully open.
    Opening, 0.0, 1.0
);
bounded!(
    /// Motor duty, −1 … 1; positive opens the vanes.
    Duty, -1.0, 1.0
);
bounded!(
    /// Engine load as a fraction of full fuelling, 0 … 1.
    Load, 0.0, 1.0
);

impl Opening {
    /// Vanes closed.
    pub const CLOSED: Self = Self::MIN;
    /// Vanes fully open.
    pub const OPEN: Self = Self::MAX;
}

impl Duty {
    /// Drive off.
    pub const ZERO: Self = Self(0.0);
}

/// A value that its type cannot hold.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OutOfRange {
    /// What was given.
    pub value: f32,
    /// Smallest allowed.
    pub min: f32,
    /// Largest allowed.
    pub max: f32,
}

impl core::fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{} is outside {} to {}", self.value, self.min, self.max)
    }
}

impl core::error::Error for OutOfRange {}

/// Raw position reading, sensor counts (0 … 16383 for a 14-bit sensor).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(transparent)]
pub struct Counts(pub i16);

impl Counts {
    /// As a float, for averages and extrapolation.
    #[must_use]
    pub fn as_f32(self) -> f32 {
        f32::from(self.0)
    }

    /// Signed distance from `other` to `self`; cannot overflow.
    #[must_use]
    pub fn distance_from(self, other: Self) -> i32 {
        i32::from(self.0).saturating_sub(i32::from(other.0))
    }
}

/// A tick number: milliseconds since the controller started, wrapping after 49 days.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(transparent)]
pub struct Tick(pub u32);

impl Tick {
    /// The tick `span` later.
    #[must_use]
    pub fn after(self, span: u32) -> Self {
        Self(self.0.wrapping_add(span))
    }

    /// Ticks from `earlier` to `self`.
    #[must_use]
    pub fn since(self, earlier: Self) -> u32 {
        self.0.wrapping_sub(earlier.0)
    }

    /// True when `self` is at or past `deadline` (spans up to 24 days).
    #[must_use]
    pub fn has_reached(self, deadline: Self) -> bool {
        self.0.wrapping_sub(deadline.0) < u32::MAX / 2
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_bounded_value_never_leaves_its_range(bits in any::<u32>()) {
            let value = f32::from_bits(bits);
            let duty = Duty::saturating(value, Duty::ZERO).get();
            prop_assert!((-1.0..=1.0).contains(&duty));
            prop_assert_eq!(Opening::try_new(value).is_ok(), (0.0..=1.0).contains(&value));
        }

        #[test]
        fn deadlines_survive_the_wrap_of_the_tick_number(start in any::<u32>(), span in 0..u32::MAX / 2) {
            let deadline = Tick(start).after(span);
            prop_assert!(deadline.has_reached(Tick(start)));
            prop_assert_eq!(deadline.since(Tick(start)), span);
            prop_assert_eq!(Tick(start).has_reached(deadline), span == 0);
        }
    }
}
