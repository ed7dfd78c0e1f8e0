//! From converter codes to readings. In: a code as the converter gives it, and a board's wiring. Out: volts, amperes or
//! counts for a [`Sample`](crate::sample::Sample). Total: a code that the converter cannot give is not a number, and as a
//! position [`NO_POSITION`]; a code at either end of the converter stands as it is, for only the core knows what is
//! plausible.

use crate::units::{Ampere, Counts, Volt};

/// A position that no sound sensor gives.
pub const NO_POSITION: Counts = Counts(i16::MIN);

/// A converter: what its codes mean at its pin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Converter {
    /// Highest code: 4095 for 12 bits.
    pub full_code: u16,
    /// Voltage that the highest code stands for.
    pub reference: Volt,
}

impl Converter {
    /// Voltage of one step.
    fn step_v(self) -> f32 {
        self.reference.0 / f32::from(self.full_code)
    }

    /// The code as a number; not a number where the converter cannot give it.
    fn number(self, code: u16) -> f32 {
        if code <= self.full_code { f32::from(code) } else { f32::NAN }
    }
}

/// A voltage behind a divider, as the supply.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VoltScale {
    converter: Converter,
    /// Volts before the divider for each code.
    per_code: f32,
}

impl VoltScale {
    /// A divider of two resistors, the lower one to ground.
    #[must_use]
    pub fn of_divider(converter: Converter, upper_ohm: f32, lower_ohm: f32) -> Self {
        Self { converter, per_code: converter.step_v() * (upper_ohm + lower_ohm) / lower_ohm }
    }

    /// The voltage before the divider.
    #[must_use]
    pub fn read(&self, code: u16) -> Volt {
        Volt(self.converter.number(code) * self.per_code)
    }
}

/// A current through a shunt with a bidirectional amplifier.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurrentScale {
    converter: Converter,
    /// Code without current, as measured with the bridge off: amplifiers and their references differ.
    zero: f32,
    /// Amperes for each code; negative where the amplifier's output falls while the drive opens.
    per_code: f32,
}

impl CurrentScale {
    /// A shunt and the amplifier's gain, negative where its output falls while the drive opens; `zero_code` is read with
    /// the bridge off.
    #[must_use]
    pub fn of_shunt(converter: Converter, shunt_ohm: f32, gain: f32, zero_code: u16) -> Self {
        let per_code = converter.step_v() / (shunt_ohm * gain);
        Self { converter, zero: converter.number(zero_code), per_code }
    }

    /// The current, positive toward open. A short holds the converter at its end, and reads as the most that the shunt
    /// can show.
    #[must_use]
    pub fn read(&self, code: u16) -> Ampere {
        Ampere((self.converter.number(code) - self.zero) * self.per_code)
    }
}

/// A position sensor whose output is a share of its supply, with that supply measured beside it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RatiometricScale {
    converter: Converter,
    /// Counts where output and supply read the same code.
    full: Counts,
    /// Lowest code of the sensor's supply at which the share can be believed.
    least_supply: u16,
}

impl RatiometricScale {
    /// `full` is the reading at an output as high as the sensor's supply, the same divider before both.
    #[must_use]
    pub const fn new(converter: Converter, full: Counts, least_supply: u16) -> Self {
        Self { converter, full, least_supply }
    }

    /// The position, from the codes of output and supply; [`NO_POSITION`] while the supply is too low.
    #[must_use]
    pub fn read(&self, output: u16, supply: u16) -> Counts {
        if supply < self.least_supply {
            return NO_POSITION;
        }
        let share = self.converter.number(output) / self.converter.number(supply);
        let counts = libm::roundf(share * self.full.as_f32());
        // An output above its supply is held to the largest count; the cast saturates.
        if counts.is_finite() { Counts(counts as i16) } else { NO_POSITION }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// 12 bits at 3.3 V, the common converter of the chips in mind.
    const CONVERTER: Converter = Converter { full_code: 4095, reference: Volt(3.3) };

    fn supply() -> VoltScale {
        VoltScale::of_divider(CONVERTER, 100_000.0, 10_000.0)
    }

    fn current(gain: f32) -> CurrentScale {
        CurrentScale::of_shunt(CONVERTER, 0.01, gain, 2048)
    }

    fn position() -> RatiometricScale {
        RatiometricScale::new(CONVERTER, Counts(16_000), 2000)
    }

    fn near(seen: f32, expected: f32) -> bool {
        (seen - expected).abs() <= 1e-3 * expected.abs().max(0.1)
    }

    /// Ohm's law by hand: 1.2 V at the pin is 13.2 V before 11 : 1; 165 mV over 10 mΩ by 20 is 0.825 A.
    #[test]
    fn codes_become_what_the_wiring_makes_of_them() {
        assert!(near(supply().read(1489).0, 13.2), "{:?}", supply().read(1489));
        assert!(near(supply().read(4095).0, 36.3) && supply().read(0) == Volt(0.0));
        let code = 2048 + (0.165_f32 / 3.3 * 4095.0) as u16;
        assert!(near(current(20.0).read(code).0, 0.825 * 204.0 / 204.75), "{:?}", current(20.0).read(code));
        assert_eq!(current(20.0).read(2048), Ampere(0.0));
        assert_eq!(position().read(2048, 4095), Counts(8002));
        assert_eq!(position().read(2000, 4000), Counts(8000), "half the supply, however high that is");
        assert_eq!(position().read(1500, 3000), Counts(8000));
    }

    #[test]
    fn an_amplifier_that_falls_while_the_drive_opens_has_a_negative_gain() {
        assert!(current(20.0).read(3000).0 > 0.0 && current(-20.0).read(3000).0 < 0.0);
    }

    #[test]
    fn a_shorted_bridge_reads_as_the_most_and_never_as_nothing() {
        assert!(near(current(20.0).read(4095).0, 2047.0 / 4095.0 * 16.5));
        assert!(near(current(20.0).read(0).0, -2048.0 / 4095.0 * 16.5));
    }

    #[test]
    fn a_code_that_the_converter_cannot_give_is_no_reading() {
        for code in [4096, u16::MAX] {
            assert!(supply().read(code).0.is_nan() && current(20.0).read(code).0.is_nan());
            assert_eq!(position().read(code, 4000), NO_POSITION);
            assert_eq!(position().read(2000, code), NO_POSITION);
        }
        assert_eq!(position().read(2000, 1999), NO_POSITION, "the sensor's supply is down");
        assert_eq!(RatiometricScale::new(CONVERTER, Counts(16_000), 0).read(0, 0), NO_POSITION);
        assert!(CurrentScale::of_shunt(CONVERTER, 0.01, 20.0, 5000).read(2048).0.is_nan(), "no zero");
    }

    proptest! {
        #[test]
        fn any_code_has_a_reading_and_more_code_is_more_of_it(one: u16, other: u16, rail: u16) {
            let (low, high) = (one.min(other), one.max(other));
            let volts = [low, high].map(|code| supply().read(code).0);
            let amperes = [low, high].map(|code| current(20.0).read(code).0);
            prop_assert_eq!(volts[1].is_nan(), high > 4095);
            prop_assert!(high > 4095 || volts[0] <= volts[1] && amperes[0] <= amperes[1]);
            prop_assert!(high > 4095 || position().read(low, rail) <= position().read(high, rail));
        }
    }
}
