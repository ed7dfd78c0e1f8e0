//! What of the settings a search may turn, and how far.

use firmware_core::settings::{LawName, Settings};

/// How far a knob turns from where it stands.
#[derive(Debug, Clone, Copy)]
enum KnobReach {
    /// From its old value divided by this to its old value times this.
    Times(f64),
    /// To these values.
    Between(f64, f64),
}

/// One number that a search turns.
#[derive(Debug, Clone, Copy)]
pub(super) struct Knob {
    reach: KnobReach,
    /// Value in the old settings.
    value: fn(&Settings) -> f64,
    /// Puts a value into settings that are otherwise the old ones.
    put: fn(&mut Settings, f64),
}

/// Gains and filter times may become five times as large or as small.
const GAINS: KnobReach = KnobReach::Times(5.0);

/// A knob that turns one number of the settings.
macro_rules! knob {
    ($reach:expr, $($field:ident).+) => {
        Knob {
            reach: $reach,
            value: |settings| f64::from(settings.target.$($field).+),
            put: |settings, value| settings.target.$($field).+ = value as f32,
        }
    };
}

const TRIM_GAIN: Knob = knob!(GAINS, trim.gain_per_kpa);
const TRIM_INTEGRAL: Knob = knob!(GAINS, trim.integral_time_s);
const TRIM_DERIVATIVE: Knob = knob!(KnobReach::Between(0.0, 0.5), trim.derivative_time_s);
/// The filter of boost, which every law has.
const BOOST_FILTER: Knob = knob!(GAINS, trim.filter_s);

/// Gains of the trim, then scale and offset of the feed-forward map.
const MAP_TRIM: &[Knob] = &[
    TRIM_GAIN,
    TRIM_INTEGRAL,
    TRIM_DERIVATIVE,
    BOOST_FILTER,
    Knob { reach: KnobReach::Between(0.7, 1.3), value: |_| 1.0, put: scale_map },
    Knob { reach: KnobReach::Between(-0.1, 0.1), value: |_| 0.0, put: shift_map },
];

const FIXED_GAIN: &[Knob] =
    &[knob!(GAINS, fixed_gain.gain_per_kpa), knob!(GAINS, fixed_gain.integral_time_s), BOOST_FILTER];

/// Gains of the trim, then what of the model is least known.
const MODEL_TRIM: &[Knob] = &[
    TRIM_GAIN,
    TRIM_INTEGRAL,
    TRIM_DERIVATIVE,
    BOOST_FILTER,
    knob!(KnobReach::Between(0.2, 0.9), model.efficiency),
    knob!(KnobReach::Between(0.6, 2.0), model.area_exponent),
];

fn scale_map(settings: &mut Settings, factor: f64) {
    turn_map(settings, |opening| opening * factor);
}

fn shift_map(settings: &mut Settings, by: f64) {
    turn_map(settings, |opening| four_digits(opening + by));
}

fn turn_map(settings: &mut Settings, turned: impl Fn(f64) -> f64) {
    for opening in settings.target.feed_forward.0.iter_mut().flatten() {
        *opening = turned(f64::from(*opening)).clamp(0.0, 1.0) as f32;
    }
}

/// The knobs of the law that the settings name.
pub(super) fn knobs(settings: &Settings) -> &'static [Knob] {
    match settings.target.law {
        LawName::MapTrim => MAP_TRIM,
        LawName::FixedGain => FIXED_GAIN,
        LawName::ModelTrim => MODEL_TRIM,
    }
}

impl Knob {
    /// Where the old settings stand, share of the reach.
    pub(super) fn place(&self, old: &Settings) -> f64 {
        let value = (self.value)(old);
        match self.reach {
            KnobReach::Times(_) => 0.5,
            KnobReach::Between(low, high) => ((value - low) / (high - low)).clamp(0.0, 1.0),
        }
    }

    /// The value at a share of the reach.
    fn at(&self, old: &Settings, share: f64) -> f64 {
        match self.reach {
            KnobReach::Times(factor) => (self.value)(old) * libm::pow(factor, 2.0 * share - 1.0),
            KnobReach::Between(low, high) => low + (high - low) * share,
        }
    }
}

/// The old settings with every knob turned to its share of the reach. Four digits, as a file has them.
pub(super) fn turned(old: &Settings, point: &[f64]) -> Settings {
    let mut settings = *old;
    for (knob, share) in knobs(old).iter().zip(point) {
        (knob.put)(&mut settings, four_digits(knob.at(old, *share)));
    }
    settings
}

fn four_digits(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let scale = libm::pow(10.0, 3.0 - libm::floor(libm::log10(value.abs())));
    libm::round(value * scale) / scale
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_old_place_gives_the_old_settings_and_both_ends_are_allowed() {
        for law in LawName::ALL {
            let mut old = Settings::default();
            old.target.law = law;
            let place: Vec<f64> = knobs(&old).iter().map(|knob| knob.place(&old)).collect();
            assert_eq!(turned(&old, &place), old);
            for end in [0.0, 1.0] {
                turned(&old, &vec![end; place.len()]).validate().unwrap();
            }
        }
    }

    #[test]
    fn a_law_without_a_map_leaves_the_map_alone() {
        let mut old = Settings::default();
        old.target.law = LawName::FixedGain;
        old.target.feed_forward.0[1][1] = 0.345_678;
        assert_eq!(turned(&old, &[0.3; 3]).target.feed_forward, old.target.feed_forward);
    }

    #[test]
    fn values_are_kept_to_four_digits() {
        assert_eq!(
            (four_digits(0.012_345_6), four_digits(-98_765.0), four_digits(0.0)),
            (0.01235, -98_770.0, 0.0)
        );
    }
}
