//! Name, unit, definition and source of every quantity, in one place.
//!
//! In: which quantity. Out: its [`Definition`]. Wording of standards is ours, written from memory of them;
//! the arithmetic is checked against worked examples in `tests/figures/`.

use super::measure::{GaugedIn, Measure, Sensor, StepSize};

/// How a quantity is named, defined and sourced.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Definition {
    /// Key in verdict and limits files: group and name, `step_10.t86`.
    pub key: String,
    /// Name for people.
    pub name: String,
    /// Unit, as printed.
    pub unit: &'static str,
    /// Digits after the point that the measurement supports.
    pub digits: usize,
    /// What the figure is, in one sentence.
    pub text: &'static str,
    /// Whose definition it is.
    pub source: &'static str,
}

const IEC_61298: &str = "IEC 61298-2, ISA-51.1";
const ISA_75: &str = "ISA-75.25.01, IEC 60534-4";
const IEC_61514: &str = "IEC 61514";
const COMMON: &str = "common practice, no source";
/// Unit of what is measured against the travel.
pub(crate) const TRAVEL: &str = "% of travel";

/// What a definition says whatever the sensor, the step or the stop; `{}` stands for the step's size, the direction or
/// the stop.
struct Wording {
    key: &'static str,
    name: &'static str,
    unit: &'static str,
    digits: usize,
    text: &'static str,
    source: &'static str,
}

impl Wording {
    fn of(&self, which: &str) -> Definition {
        let filled = |text: &str| text.replace("{}", which);
        Definition {
            key: filled(self.key),
            name: filled(self.name),
            unit: self.unit,
            digits: self.digits,
            text: self.text,
            source: self.source,
        }
    }
}

/// Sweep figures carry two names: a unit's own sensor only sees what the loop leaves over.
struct SweepWording {
    key: &'static str,
    own: &'static str,
    gauge: &'static str,
    text: &'static str,
}

impl SweepWording {
    fn by(&self, sensor: Sensor) -> Definition {
        let (prefix, name) = match sensor {
            Sensor::Own => ("loop", self.own),
            Sensor::LeverGauge => ("gauge", self.gauge),
        };
        let key = format!("{prefix}.{}", self.key);
        Definition { key, name: name.to_owned(), unit: TRAVEL, digits: 2, text: self.text, source: IEC_61298 }
    }
}

impl Measure {
    /// Name, unit, definition and source.
    #[must_use]
    pub fn definition(self) -> Definition {
        let percent = |size: StepSize| size.percent().to_string();
        match self {
            Self::InaccuracyHigh(sensor) => INACCURACY_HIGH.by(sensor),
            Self::InaccuracyLow(sensor) => INACCURACY_LOW.by(sensor),
            Self::Hysteresis(sensor) => HYSTERESIS.by(sensor),
            Self::NonRepeatability(sensor) => NON_REPEATABILITY.by(sensor),
            Self::LinearityTerminal(sensor) => LINEARITY_TERMINAL.by(sensor),
            Self::LinearityZero(sensor) => LINEARITY_ZERO.by(sensor),
            Self::LinearityIndependent(sensor) => LINEARITY_INDEPENDENT.by(sensor),
            Self::DeadBand => DEAD_BAND.of(""),
            Self::StrokeTime(direction) => STROKE_TIME.of(&direction.to_string()),
            Self::DeadTime(size) => DEAD_TIME.of(&percent(size)),
            Self::T63(size) => T63.of(&percent(size)),
            Self::T86(size) => T86.of(&percent(size)),
            Self::Overshoot(size) => OVERSHOOT.of(&percent(size)),
            Self::SettlingTime(size) => SETTLING_TIME.of(&percent(size)),
            Self::FinalError(size) => FINAL_ERROR.of(&percent(size)),
            Self::FrictionLargest => FRICTION_LARGEST.of(""),
            Self::FrictionMedian => FRICTION_MEDIAN.of(""),
            Self::FrictionRatio => FRICTION_RATIO.of(""),
            Self::Span => SPAN.of(""),
            Self::MinimumFlowStop(GaugedIn::Millimetres) => GAUGED_THROAT.of(""),
            Self::MinimumFlowStop(GaugedIn::KilogramsPerHour) => GAUGED_FLOW.of(""),
            Self::StopPosition(stop) => STOP_POSITION.of(&stop.to_string()),
            Self::StopRepeatability(stop) => STOP_REPEATABILITY.of(&stop.to_string()),
            Self::StopYield(stop) => STOP_YIELD.of(&stop.to_string()),
            Self::BoostPeak => BOOST_PEAK.of(""),
            Self::BoostOvershoot => BOOST_OVERSHOOT.of(""),
            Self::BoostRise => BOOST_RISE.of(""),
        }
    }
}

const INACCURACY_HIGH: SweepWording = SweepWording {
    key: "inaccuracy_high",
    own: "loop error, largest +",
    gauge: "inaccuracy, largest +",
    text: "Largest positive deviation of any single reading from its command, both directions, all cycles.",
};
const INACCURACY_LOW: SweepWording = SweepWording {
    key: "inaccuracy_low",
    own: "loop error, largest −",
    gauge: "inaccuracy, largest −",
    text: "Largest negative deviation of any single reading from its command, both directions, all cycles.",
};
const HYSTERESIS: SweepWording = SweepWording {
    key: "hysteresis",
    own: "loop hysteresis",
    gauge: "hysteresis",
    text: "Largest difference between the average falling and the average rising reading at the same command; dead band included.",
};
const NON_REPEATABILITY: SweepWording = SweepWording {
    key: "non_repeatability",
    own: "loop non-repeatability",
    gauge: "non-repeatability",
    text: "Largest range of readings at the same command approached from the same direction.",
};
const LINEARITY_TERMINAL: SweepWording = SweepWording {
    key: "linearity_terminal",
    own: "loop error, terminal-based",
    gauge: "linearity, terminal-based",
    text: "Largest deviation of the average curve from the straight line through its two ends.",
};
const LINEARITY_ZERO: SweepWording = SweepWording {
    key: "linearity_zero",
    own: "loop error, zero-based",
    gauge: "linearity, zero-based",
    text: "Largest deviation of the average curve from the line through its lower end whose slope makes that deviation smallest.",
};
const LINEARITY_INDEPENDENT: SweepWording = SweepWording {
    key: "linearity_independent",
    own: "loop error, independent line",
    gauge: "linearity, independent",
    text: "Largest deviation of the average curve from the line that makes that deviation smallest (minimax, not least squares).",
};
const DEAD_TIME: Wording = Wording {
    key: "step_{}.dead_time",
    name: "dead time, {} % step",
    unit: "ms",
    digits: 0,
    text: "Time from the step of the command to the first movement beyond the stated band.",
    source: ISA_75,
};
const T63: Wording = Wording {
    key: "step_{}.t63",
    name: "T63, {} % step",
    unit: "ms",
    digits: 0,
    text: "Time from the step of the command to 63.2 % of the final change, dead time included.",
    source: ISA_75,
};
const T86: Wording = Wording {
    key: "step_{}.t86",
    name: "T86, {} % step",
    unit: "ms",
    digits: 0,
    text: "Time from the step of the command to 86.5 % of the final change, dead time included.",
    source: ISA_75,
};
const OVERSHOOT: Wording = Wording {
    key: "step_{}.overshoot",
    name: "overshoot, {} % step",
    unit: "% of step",
    digits: 1,
    text: "Largest travel beyond the final value, in per cent of the final change.",
    source: ISA_75,
};
const SETTLING_TIME: Wording = Wording {
    key: "step_{}.settling",
    name: "settling time, {} % step",
    unit: "ms",
    digits: 0,
    text: "Time from the step of the command until the response enters the stated band around its final \
        value and stays in it.",
    source: IEC_61514,
};
const FINAL_ERROR: Wording = Wording {
    key: "step_{}.final_error",
    name: "loop error after the step, {} % step",
    unit: TRAVEL,
    digits: 2,
    text: "Final value minus command.",
    source: IEC_61514,
};
const DEAD_BAND: Wording = Wording {
    key: "motion.dead_band",
    name: "dead band",
    unit: TRAVEL,
    digits: 2,
    text: "Change of the command, on a slow reversal, before the position moves back by more than the stated band; larger of both ways.",
    source: "ISA-75.25.01, ISA-51.1",
};
const STROKE_TIME: Wording = Wording {
    key: "motion.stroke_time_{}",
    name: "stroke time, {}",
    unit: "ms",
    digits: 0,
    text: "Time from a step of the command over the range of the sweep to the first reading within the stated band of the far end.",
    source: COMMON,
};
const FRICTION_LARGEST: Wording = Wording {
    key: "friction.largest",
    name: "friction, largest",
    unit: "A",
    digits: 3,
    text: "Half the difference of motor current between opening and closing at the same opening, slow and open-loop; largest over the travel.",
    source: COMMON,
};
const FRICTION_MEDIAN: Wording = Wording {
    key: "friction.median",
    name: "friction, median",
    unit: "A",
    digits: 3,
    text: "Half the difference of motor current between opening and closing at the same opening, slow and open-loop; median over the travel.",
    source: COMMON,
};
const FRICTION_RATIO: Wording = Wording {
    key: "friction.ratio",
    name: "friction, largest over median",
    unit: "ratio",
    digits: 2,
    text: "Largest friction divided by median friction: 1 for an even ring, more where it binds at one place.",
    source: COMMON,
};
const BOOST_PEAK: Wording = Wording {
    key: "boost.peak",
    name: "boost, highest",
    unit: "kPa absolute",
    digits: 1,
    text: "Highest boost of the simulated run.",
    source: COMMON,
};
const BOOST_OVERSHOOT: Wording = Wording {
    key: "boost.overshoot",
    name: "boost beyond target",
    unit: "kPa",
    digits: 1,
    text: "Highest boost minus target after the last step of the target.",
    source: COMMON,
};
const BOOST_RISE: Wording = Wording {
    key: "boost.rise",
    name: "boost rise time",
    unit: "s",
    digits: 2,
    text: "Time from the step of the target to 90 % of it.",
    source: COMMON,
};
const STOP_POSITION: Wording = Wording {
    key: "learn.{}_stop",
    name: "{} stop",
    unit: "counts",
    digits: 0,
    text: "Sensor counts at the stop, extrapolated from two pushes to zero push.",
    source: COMMON,
};
const STOP_REPEATABILITY: Wording = Wording {
    key: "learn.{}_stop_repeatability",
    name: "{} stop, repeatability",
    unit: TRAVEL,
    digits: 3,
    text: "Range of the settled zero-push readings over all touches of the stop.",
    source: "after ISO 230-2 (repeat approach to one position)",
};
const STOP_YIELD: Wording = Wording {
    key: "learn.{}_stop_yield",
    name: "{} stop, yield",
    unit: "counts/A",
    digits: 1,
    text: "How far the settled reading moves between two pushes at the stop, for each ampere between them.",
    source: COMMON,
};
const SPAN: Wording = Wording {
    key: "learn.span",
    name: "span",
    unit: "counts",
    digits: 0,
    text: "Sensor counts between the learned stops.",
    source: COMMON,
};
const GAUGED_THROAT: Wording = Wording {
    key: "gauge.throat",
    name: "minimum-flow stop, throat",
    unit: "mm",
    digits: 3,
    text: "Throat that the stop leaves, gauged by a person with a feeler or pin.",
    source: COMMON,
};
const GAUGED_FLOW: Wording = Wording {
    key: "gauge.minimum_flow",
    name: "minimum flow",
    unit: "kg/h",
    digits: 2,
    text: "Flow that the stop leaves, read by a person on a flow bench under its own conditions.",
    source: COMMON,
};
