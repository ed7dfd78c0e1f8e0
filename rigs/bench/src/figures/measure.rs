//! Every quantity the bench reports.
//!
//! In: a key from a limits file. Out: the [`Measure`]; its [`super::Definition`] stands next door.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use firmware_core::learn::Stop;
use strum::IntoEnumIterator;

/// What a reading was taken with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sensor {
    /// The position sensor inside the unit, which also closes the loop.
    Own,
    /// An independent gauge on the lever.
    LeverGauge,
}

/// Size of a commanded step, in whole per cent of travel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct StepSize(u8);

impl StepSize {
    /// A step of 1 to 100 % of travel, rounded to whole per cent; `None` outside that.
    #[must_use]
    pub fn try_from_percent(percent: f64) -> Option<Self> {
        let whole = percent.abs().round();
        (1.0..=100.0).contains(&whole).then_some(Self(whole as u8))
    }

    /// The size in per cent of travel.
    #[must_use]
    pub fn percent(self) -> u8 {
        self.0
    }
}

/// Which way the vanes move.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum VaneDirection {
    /// Toward larger nozzle area.
    Opening,
    /// Toward smaller nozzle area.
    Closing,
}

impl fmt::Display for VaneDirection {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Opening => "opening",
            Self::Closing => "closing",
        })
    }
}

/// What was measured of the minimum-flow stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum GaugedIn {
    /// The throat left at the stop, by feeler or pin.
    #[serde(rename = "mm")]
    Millimetres,
    /// The flow through the closed ring.
    #[serde(rename = "kg/h")]
    KilogramsPerHour,
}

impl GaugedIn {
    /// The unit as printed.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::Millimetres => "mm",
            Self::KilogramsPerHour => "kg/h",
        }
    }
}

/// A quantity that the bench reports.
#[derive(Debug, Clone, Copy, PartialEq, Eq, strum::EnumDiscriminants)]
#[strum_discriminants(name(MeasureKind), vis(pub(self)), derive(strum::EnumIter))]
pub enum Measure {
    /// Largest positive deviation of any reading.
    InaccuracyHigh(Sensor),
    /// Largest negative deviation of any reading.
    InaccuracyLow(Sensor),
    /// Largest gap between falling and rising averages.
    Hysteresis(Sensor),
    /// Largest range of readings at one point from one direction.
    NonRepeatability(Sensor),
    /// Deviation from the line through the ends.
    LinearityTerminal(Sensor),
    /// Deviation from the best line through the lower end.
    LinearityZero(Sensor),
    /// Deviation from the best of all lines.
    LinearityIndependent(Sensor),
    /// Command change on reversal before anything moves.
    DeadBand,
    /// Time of a full stroke.
    StrokeTime(VaneDirection),
    /// Time from the step to the first movement.
    DeadTime(StepSize),
    /// Time from the step to 63.2 % of the change.
    T63(StepSize),
    /// Time from the step to 86.5 % of the change.
    T86(StepSize),
    /// Travel beyond the final value.
    Overshoot(StepSize),
    /// Time after which the response stays in its band.
    SettlingTime(StepSize),
    /// Final value minus command.
    FinalError(StepSize),
    /// Largest friction over the travel, as motor current.
    FrictionLargest,
    /// Middle friction over the travel, as motor current.
    FrictionMedian,
    /// Largest friction over middle friction.
    FrictionRatio,
    /// Sensor counts between the learned stops.
    Span,
    /// The minimum-flow stop as a person gauged it.
    MinimumFlowStop(GaugedIn),
    /// Learned position of a stop.
    StopPosition(Stop),
    /// Range of a stop's zero-push readings over the touches.
    StopRepeatability(Stop),
    /// How far a stop gives way for each ampere of push.
    StopYield(Stop),
    /// Highest simulated boost.
    BoostPeak,
    /// Simulated boost beyond its target.
    BoostOvershoot,
    /// Time from the boost step to 90 % of it.
    BoostRise,
}

/// Step sizes that the bench makes by itself, per cent of travel.
const STEP_SIZES: [StepSize; 3] = [StepSize(2), StepSize(10), StepSize(50)];

impl Measure {
    /// Every measure; steps in the sizes that the bench makes.
    pub fn all() -> impl Iterator<Item = Self> {
        Self::with_steps_of(&STEP_SIZES)
    }

    /// The measure with that key; step sizes from 1 to 100 %.
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        let percent = key.strip_prefix("step_").and_then(|rest| rest.split_once('.')).map(|(size, _)| size);
        let size = percent.and_then(|size| StepSize::try_from_percent(size.parse::<u8>().ok()?.into()));
        Self::with_steps_of(size.as_slice()).find(|measure| measure.definition().key == key)
    }

    fn with_steps_of(sizes: &[StepSize]) -> impl Iterator<Item = Self> {
        MeasureKind::iter().flat_map(|kind| kind.measures(sizes))
    }
}

impl MeasureKind {
    /// The measures of this kind.
    fn measures(self, sizes: &[StepSize]) -> Vec<Measure> {
        let sensors = |of: fn(Sensor) -> Measure| [Sensor::Own, Sensor::LeverGauge].map(of).to_vec();
        let steps = |of: fn(StepSize) -> Measure| sizes.iter().copied().map(of).collect();
        let stops = |of: fn(Stop) -> Measure| [Stop::Closed, Stop::Open].map(of).to_vec();
        match self {
            Self::InaccuracyHigh => sensors(Measure::InaccuracyHigh),
            Self::InaccuracyLow => sensors(Measure::InaccuracyLow),
            Self::Hysteresis => sensors(Measure::Hysteresis),
            Self::NonRepeatability => sensors(Measure::NonRepeatability),
            Self::LinearityTerminal => sensors(Measure::LinearityTerminal),
            Self::LinearityZero => sensors(Measure::LinearityZero),
            Self::LinearityIndependent => sensors(Measure::LinearityIndependent),
            Self::DeadBand => vec![Measure::DeadBand],
            Self::StrokeTime => {
                [VaneDirection::Opening, VaneDirection::Closing].map(Measure::StrokeTime).to_vec()
            }
            Self::DeadTime => steps(Measure::DeadTime),
            Self::T63 => steps(Measure::T63),
            Self::T86 => steps(Measure::T86),
            Self::Overshoot => steps(Measure::Overshoot),
            Self::SettlingTime => steps(Measure::SettlingTime),
            Self::FinalError => steps(Measure::FinalError),
            Self::FrictionLargest => vec![Measure::FrictionLargest],
            Self::FrictionMedian => vec![Measure::FrictionMedian],
            Self::FrictionRatio => vec![Measure::FrictionRatio],
            Self::Span => vec![Measure::Span],
            Self::MinimumFlowStop => {
                [GaugedIn::Millimetres, GaugedIn::KilogramsPerHour].map(Measure::MinimumFlowStop).to_vec()
            }
            Self::StopPosition => stops(Measure::StopPosition),
            Self::StopRepeatability => stops(Measure::StopRepeatability),
            Self::StopYield => stops(Measure::StopYield),
            Self::BoostPeak => vec![Measure::BoostPeak],
            Self::BoostOvershoot => vec![Measure::BoostOvershoot],
            Self::BoostRise => vec![Measure::BoostRise],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_measure_has_its_own_key_and_is_found_by_it() {
        let keys: BTreeSet<_> = Measure::all().map(|m| m.definition().key).collect();
        assert_eq!(keys.len(), Measure::all().count());
        assert!(Measure::all().all(|m| Measure::from_key(&m.definition().key) == Some(m)));
        assert!(keys.iter().all(|key| key.split('.').count() == 2), "{keys:?}");
        assert_eq!(
            Measure::from_key("step_25.t86").map(|m| m.definition().name),
            Some("T86, 25 % step".into())
        );
        assert_eq!(Measure::from_key("step_0.t86"), None);
    }
}
