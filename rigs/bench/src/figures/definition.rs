//! Name, unit, definition and source of every quantity, in one place.
//!
//! In: which quantity. Out: its [`Definition`]. Wording of standards is ours, written from memory of them;
//! the arithmetic is checked against worked examples in `tests/figures_*.rs`.

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
const TRAVEL: &str = "% of travel";

impl Measure {
    /// Name, unit, definition and source.
    #[must_use]
    pub fn definition(self) -> Definition {
        match self {
            Self::InaccuracyHigh(_)
            | Self::InaccuracyLow(_)
            | Self::Hysteresis(_)
            | Self::NonRepeatability(_)
            | Self::LinearityTerminal(_)
            | Self::LinearityZero(_)
            | Self::LinearityIndependent(_) => self.sweep_definition(),
            Self::DeadTime(size)
            | Self::T63(size)
            | Self::T86(size)
            | Self::Overshoot(size)
            | Self::SettlingTime(size)
            | Self::FinalError(size) => self.step_definition(size),
            _ => self.other_definition(),
        }
    }

    /// Sweep figures carry two names: a unit's own sensor only sees what the loop leaves over.
    fn sweep_definition(self) -> Definition {
        let (key, own, gauge, text) = match self {
            Self::InaccuracyHigh(_) => (
                "inaccuracy_high",
                "loop error, largest +",
                "inaccuracy, largest +",
                "Largest positive deviation of any single reading from its command, both directions, all cycles.",
            ),
            Self::InaccuracyLow(_) => (
                "inaccuracy_low",
                "loop error, largest −",
                "inaccuracy, largest −",
                "Largest negative deviation of any single reading from its command, both directions, all cycles.",
            ),
            Self::Hysteresis(_) => (
                "hysteresis",
                "loop hysteresis",
                "hysteresis",
                "Largest difference between the average falling and the average rising reading at the same command; dead band included.",
            ),
            Self::NonRepeatability(_) => (
                "non_repeatability",
                "loop non-repeatability",
                "non-repeatability",
                "Largest range of readings at the same command approached from the same direction.",
            ),
            Self::LinearityTerminal(_) => (
                "linearity_terminal",
                "loop error, terminal-based",
                "linearity, terminal-based",
                "Largest deviation of the average curve from the straight line through its two ends.",
            ),
            Self::LinearityZero(_) => (
                "linearity_zero",
                "loop error, zero-based",
                "linearity, zero-based",
                "Largest deviation of the average curve from the line through its lower end whose slope makes that deviation smallest.",
            ),
            _ => (
                "linearity_independent",
                "loop error, independent line",
                "linearity, independent",
                "Largest deviation of the average curve from the line that makes that deviation smallest (minimax, not least squares).",
            ),
        };
        let (prefix, name) = match self.sensor() {
            Some(Sensor::LeverGauge) => ("gauge", gauge),
            _ => ("loop", own),
        };
        definition(&format!("{prefix}.{key}"), name, TRAVEL, 2, text, IEC_61298)
    }

    fn sensor(self) -> Option<Sensor> {
        match self {
            Self::InaccuracyHigh(s)
            | Self::InaccuracyLow(s)
            | Self::Hysteresis(s)
            | Self::NonRepeatability(s)
            | Self::LinearityTerminal(s)
            | Self::LinearityZero(s)
            | Self::LinearityIndependent(s) => Some(s),
            _ => None,
        }
    }

    fn step_definition(self, size: StepSize) -> Definition {
        let (key, name, unit, digits, text, source) = match self {
            Self::DeadTime(_) => (
                "dead_time",
                "dead time",
                "ms",
                0,
                "Time from the step of the command to the first movement beyond the stated band.",
                ISA_75,
            ),
            Self::T63(_) => (
                "t63",
                "T63",
                "ms",
                0,
                "Time from the step of the command to 63.2 % of the final change, dead time included.",
                ISA_75,
            ),
            Self::T86(_) => (
                "t86",
                "T86",
                "ms",
                0,
                "Time from the step of the command to 86.5 % of the final change, dead time included.",
                ISA_75,
            ),
            Self::Overshoot(_) => (
                "overshoot",
                "overshoot",
                "% of step",
                1,
                "Largest travel beyond the final value, in per cent of the final change.",
                ISA_75,
            ),
            Self::SettlingTime(_) => (
                "settling",
                "settling time",
                "ms",
                0,
                "Time from the step of the command until the response enters the stated band round its final value for good.",
                IEC_61514,
            ),
            _ => (
                "final_error",
                "loop error after the step",
                TRAVEL,
                2,
                "Final value minus command.",
                IEC_61514,
            ),
        };
        let percent = size.percent();
        definition(
            &format!("step_{percent}.{key}"),
            &format!("{name}, {percent} % step"),
            unit,
            digits,
            text,
            source,
        )
    }

    fn other_definition(self) -> Definition {
        match self {
            Self::DeadBand => definition(
                "motion.dead_band",
                "dead band",
                TRAVEL,
                2,
                "Change of the command, on a slow reversal, before the position moves back by more than the stated band; larger of both ways.",
                "ISA-75.25.01, ISA-51.1",
            ),
            Self::StrokeTime(direction) => definition(
                &format!("motion.stroke_time_{direction}"),
                &format!("stroke time, {direction}"),
                "ms",
                0,
                "Time from a step of the command over the range of the sweep to the first reading within the stated band of the far end.",
                COMMON,
            ),
            Self::FrictionLargest => definition(
                "friction.largest",
                "friction, largest",
                "A",
                3,
                "Half the difference of motor current between opening and closing at the same opening, slow and open-loop; largest over the travel.",
                COMMON,
            ),
            Self::FrictionMedian => definition(
                "friction.median",
                "friction, median",
                "A",
                3,
                "Half the difference of motor current between opening and closing at the same opening, slow and open-loop; median over the travel.",
                COMMON,
            ),
            Self::FrictionRatio => definition(
                "friction.ratio",
                "friction, largest over median",
                "ratio",
                2,
                "Largest friction divided by median friction: 1 for an even ring, more where it binds at one place.",
                COMMON,
            ),
            Self::BoostPeak => definition(
                "boost.peak",
                "boost, highest",
                "kPa absolute",
                1,
                "Highest boost of the simulated run.",
                COMMON,
            ),
            Self::BoostOvershoot => definition(
                "boost.overshoot",
                "boost beyond target",
                "kPa",
                1,
                "Highest boost minus target after the last step of the target.",
                COMMON,
            ),
            Self::BoostRise => definition(
                "boost.rise",
                "boost rise time",
                "s",
                2,
                "Time from the step of the target to 90 % of it.",
                COMMON,
            ),
            _ => self.learn_definition(),
        }
    }

    fn learn_definition(self) -> Definition {
        match self {
            Self::MinimumFlowStop(GaugedIn::Millimetres) => definition(
                "gauge.throat",
                "minimum-flow stop, throat",
                "mm",
                3,
                "Throat that the stop leaves, gauged by a person with a feeler or pin.",
                COMMON,
            ),
            Self::MinimumFlowStop(GaugedIn::KilogramsPerHour) => definition(
                "gauge.minimum_flow",
                "minimum flow",
                "kg/h",
                2,
                "Flow that the stop leaves, read by a person on a flow bench under its own conditions.",
                COMMON,
            ),
            Self::StopPosition(stop) => definition(
                &format!("learn.{stop}_stop"),
                &format!("{stop} stop"),
                "counts",
                0,
                "Sensor counts at the stop, extrapolated from two pushes to none.",
                COMMON,
            ),
            Self::StopRepeatability(stop) => definition(
                &format!("learn.{stop}_stop_repeatability"),
                &format!("{stop} stop, repeatability"),
                TRAVEL,
                3,
                "Range of the settled zero-push readings over all touches of the stop.",
                "after ISO 230-2 (repeat approach to one position)",
            ),
            _ => definition(
                "learn.span",
                "span",
                "counts",
                0,
                "Sensor counts between the learned stops.",
                COMMON,
            ),
        }
    }
}

fn definition(
    key: &str,
    name: &str,
    unit: &'static str,
    digits: usize,
    text: &'static str,
    source: &'static str,
) -> Definition {
    Definition { key: key.to_owned(), name: name.to_owned(), unit, digits, text, source }
}
