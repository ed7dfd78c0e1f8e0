//! What a run shows: figures for the judge and traces for the report.
//!
//! In: a run as recorded, and the profile it was made with. Out: [`Shown`]. Whatever a run does not hold
//! becomes a finding, never a guess; a run that was cut short is evaluated for what it holds and says so.

mod diagnostic;
mod drafted;
mod faults;
mod friction;
mod good_units;
mod holes;
mod learn;
mod reversal;
mod selection;
mod simulate;
mod step;
mod sweep;
#[cfg(test)]
mod tests;
mod traces;
mod unit;

use crate::figures::binding::Picture;
use crate::figures::friction::FrictionCurve;
use crate::figures::motion::Reversal;
use crate::figures::step::{StepResponse, StepTrace};
use crate::figures::sweep::SweepTable;
use crate::figures::{Measure, Sensor};
use crate::judge::{Evidence, FaultOf, Finding};
use crate::limits::Limit;
use crate::profile::Profile;
use crate::record::{Ground, Run, RunKind, RunStatus};

pub use diagnostic::picture;
pub(crate) use drafted::{DraftedLimit, IntervalMethod};
pub(crate) use good_units::{GoodGauge, SameGround, figures_of};
#[cfg(test)]
pub(crate) use selection::WhyLeftOut;
pub(crate) use selection::{LeftOut, Selection};
pub(crate) use step::bands as step_bands;
pub use traces::{BoostTrace, LearnTrace, SweepPart};
pub use unit::UnitResult;

/// What a run has for the report.
#[derive(Debug, Clone, PartialEq)]
pub enum Exhibit {
    /// Position and current while learning.
    Learn(LearnTrace),
    /// Readings of the staircase, and the slow reversals.
    Sweep {
        /// The staircase.
        table: SweepTable,
        /// The reversals.
        reversals: Vec<Reversal>,
        /// Commands on either side of each hole in the staircase, per cent of travel.
        holes: Vec<(f64, f64)>,
    },
    /// A staircase of which no cycle is whole.
    SweepInPart(SweepPart),
    /// Friction from motor current, and the same from duty.
    Friction {
        /// By motor current.
        current: FrictionCurve,
        /// By duty.
        duty: FrictionCurve,
        /// Openings on either side of each hole in which the lever moved.
        holes: Vec<(f64, f64)>,
    },
    /// Where the lever binds, seen at low current.
    Diagnostic(Picture),
    /// Step responses.
    Steps(Vec<(StepTrace, StepResponse)>),
    /// Controller and engine simulated.
    Boost(BoostTrace),
}

/// What a run shows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Shown {
    /// For the judge.
    pub evidence: Evidence,
    /// For the report; none when the run holds too little.
    pub exhibit: Option<Exhibit>,
}

impl Shown {
    /// A run that shows nothing but why.
    fn nothing(code: &str, seen: String, advice: &str, fault_of: FaultOf) -> Self {
        let finding = Finding { code: code.into(), seen, advice: advice.into(), fault_of };
        Self { evidence: Evidence { findings: vec![finding], ..Evidence::default() }, exhibit: None }
    }
}

/// Evaluates one run by the profile that it carries; a run of an older release carries none and is evaluated by the one
/// at hand.
#[must_use]
pub fn evaluate(run: &Run, at_hand: &Profile) -> Shown {
    let profile = run.profile.as_ref().unwrap_or(at_hand);
    if run.file.is_diagnostic() {
        return diagnostic::evaluate(run, profile);
    }
    let mut shown = match run.name.kind {
        // What was recorded up to there answers nothing; why it ended does.
        _ if run.is_ended_by_unit() => Shown::default(),
        RunKind::Learn => learn::evaluate(run, profile),
        RunKind::Sweep => sweep::evaluate(run, profile),
        RunKind::Friction => friction::evaluate(run, profile),
        RunKind::Step => step::evaluate(run, profile),
        RunKind::Simulate => simulate::evaluate(run),
        // Figures are none of an endurance; that it passed a limit stands in its refusal.
        RunKind::Cycle => Shown::default(),
    };
    holes::set_aside(&mut shown.evidence, run);
    let findings = &mut shown.evidence.findings;
    if !run.is_ended_by_unit() {
        findings.extend(faults::findings(run));
    }
    if let (RunStatus::Incomplete { reason }, false) = (&run.file.status, run.name.kind == RunKind::Cycle) {
        findings.insert(0, Finding::incomplete(&run.name.to_string(), reason));
    }
    if let Some(Ground::Unproven { learn, standing, present }) = &run.file.outcome.ground {
        findings.push(Finding {
            code: "on-unproven".into(),
            seen: format!(
                "{} moved at half the current and half the speed on the calibration of {learn} \
                 ({standing}); person beside it: {present}",
                run.name
            ),
            advice: "Learn until the calibration is accepted, then run this part again.".into(),
            fault_of: FaultOf::Rig,
        });
    }
    if let Some(refusal) = &run.file.outcome.refusal {
        findings.push(Finding {
            code: refusal.reason.clone(),
            seen: refusal.seen.clone(),
            advice: refusal.advice.clone(),
            fault_of: refusal.fault_of,
        });
    }
    shown
}

/// Whether a run of that kind is meant to answer this limit.
#[must_use]
pub(crate) fn answers(kind: RunKind, limit: &Limit) -> bool {
    match limit.measure {
        Measure::InaccuracyHigh(Sensor::Own)
        | Measure::InaccuracyLow(Sensor::Own)
        | Measure::Hysteresis(Sensor::Own)
        | Measure::NonRepeatability(Sensor::Own)
        | Measure::LinearityTerminal(Sensor::Own)
        | Measure::LinearityZero(Sensor::Own)
        | Measure::LinearityIndependent(Sensor::Own)
        | Measure::DeadBand => kind == RunKind::Sweep,
        Measure::DeadTime(_)
        | Measure::T63(_)
        | Measure::T86(_)
        | Measure::Overshoot(_)
        | Measure::SettlingTime(_)
        | Measure::FinalError(_)
        | Measure::StrokeTime(_) => kind == RunKind::Step,
        Measure::FrictionLargest | Measure::FrictionMedian | Measure::FrictionRatio => {
            kind == RunKind::Friction
        }
        Measure::Span
        | Measure::MinimumFlowStop(_)
        | Measure::StopPosition(_)
        | Measure::StopRepeatability(_)
        | Measure::StopYield(_) => kind == RunKind::Learn,
        Measure::BoostPeak | Measure::BoostOvershoot | Measure::BoostRise => kind == RunKind::Simulate,
        // An independent gauge is read by a person: no run answers for it.
        Measure::InaccuracyHigh(Sensor::LeverGauge)
        | Measure::InaccuracyLow(Sensor::LeverGauge)
        | Measure::Hysteresis(Sensor::LeverGauge)
        | Measure::NonRepeatability(Sensor::LeverGauge)
        | Measure::LinearityTerminal(Sensor::LeverGauge)
        | Measure::LinearityZero(Sensor::LeverGauge)
        | Measure::LinearityIndependent(Sensor::LeverGauge) => false,
    }
}

/// The run's conditions in one line.
fn conditions(run: &Run) -> String {
    let stated =
        run.file.conditions.iter().map(|(name, value)| format!("{} {value}", name.replace('_', " ")));
    let mut conditions: Vec<_> = stated.collect();
    conditions.extend(run.loss().text());
    conditions.join("; ")
}

/// Seconds from the first sample.
fn seconds(run: &Run, tick: firmware_core::units::Tick) -> f64 {
    let first = run.samples().next().map_or(tick, |sample| sample.tick);
    f64::from(tick.since(first)) / f64::from(firmware_core::units::TICKS_PER_SECOND)
}
