//! The verdict and what it rests on, as it stands in `verdict.json`.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::advice::{advice, runs_that_settle, settled_by};
use super::check::{DecisionRule, LimitCheck};
use crate::exit::Exit;
use crate::figures::conformity::COVERAGE_FACTOR;
use crate::figures::{Figure, Measure};
use crate::limits::Limit;
use crate::record::{FaultOf, Job, Sha256Hex};

/// The three answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Judgement {
    /// Every limit asked about is met.
    WithinLimits,
    /// At least one is not, for a reason in the unit.
    OutOfLimits,
    /// Nothing can be said: incomplete, not measured, or too close to call.
    Undetermined,
}

/// Something found beside the figures.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// Short name, for machines.
    pub code: String,
    /// What was seen.
    pub seen: String,
    /// What to try.
    pub advice: String,
    /// Where the cause lies.
    pub fault_of: FaultOf,
}

/// A figure whose ticks are not all in the record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holed {
    /// What would have been measured.
    pub measure: Measure,
    /// Which ticks are missing, and in which run.
    pub seen: String,
}

/// What to do about a record with holes in it.
pub(crate) const LOSS_ADVICE: &str = "Loss on the line says nothing about the unit. Check cable, ground, \
    adapter and this computer's load, then run this part again.";

/// One reason of a verdict.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Reason {
    /// Short name, for machines: a figure's key or a reason's name.
    pub code: String,
    /// How this reason alone would judge.
    pub judgement: Judgement,
    /// What was seen and what is allowed.
    pub seen: String,
    /// What to try.
    pub advice: String,
}

/// One figure with its definition, as written to files.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FigureRow {
    /// Key.
    pub key: String,
    /// Name.
    pub name: String,
    /// Value.
    pub value: f64,
    /// Value as printed.
    pub text: String,
    /// Unit.
    pub unit: String,
    /// Where it occurred.
    pub place: String,
    /// What it depends on.
    pub conditions: String,
    /// What it is.
    pub definition: String,
    /// Whose definition.
    pub source: String,
}

/// A run that a verdict counts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct CountedRun {
    /// Its name.
    pub run: String,
    /// SHA-256 of what two equal runs share.
    pub evidence: Sha256Hex,
    /// Whether a log vouches for it.
    pub kept: LogKeeps,
}

/// Whether a log vouches for a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LogKeeps {
    /// It was recorded into the unit's log.
    Chained,
    /// It is of a release that kept none: its own checksums are all there is.
    Unchained,
}

impl LogKeeps {
    /// The word for people.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Chained => "chained",
            Self::Unchained => "unchained",
        }
    }
}

/// The answer and everything it rests on.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Verdict {
    /// The answer.
    pub judgement: Judgement,
    /// Why it is out of limits or undetermined; empty for within limits.
    pub reasons: Vec<Reason>,
    /// By which rule figures were held against their limits, and at what risk.
    pub rule: DecisionRule,
    /// Each figure that has a limit.
    pub checks: Vec<LimitCheck>,
    /// What the controller held a learn against, with the distance to each edge; it decided alone.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub learn_checks: Vec<LimitCheck>,
    /// All figures.
    pub figures: Vec<FigureRow>,
    /// Runs that count, with the hash of their evidence.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub counted: Vec<CountedRun>,
    /// What a person confirmed of the learn after the fact, with who, with what and when.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub confirmed: Vec<String>,
    /// The job whose runs count, and the unit's state in it.
    #[serde(skip_serializing_if = "Job::is_unnamed")]
    pub job: Job,
}

impl Judgement {
    /// Undetermined outweighs out of limits, out of limits outweighs within limits.
    #[must_use]
    pub fn worse(self, other: Self) -> Self {
        self.max(other)
    }

    /// Name in the report's style sheet.
    pub(crate) fn class(self) -> &'static str {
        match self {
            Self::WithinLimits => "good",
            Self::OutOfLimits => "bad",
            Self::Undetermined => "open",
        }
    }

    /// The word for people.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::WithinLimits => "within limits",
            Self::OutOfLimits => "out of limits",
            Self::Undetermined => "undetermined",
        }
    }

    /// How a verb that judged so ends.
    #[must_use]
    pub fn exit(self) -> Exit {
        match self {
            Self::WithinLimits => Exit::Done,
            Self::OutOfLimits => Exit::OutOfLimits,
            Self::Undetermined => Exit::Undetermined,
        }
    }
}

impl FigureRow {
    /// The group of figures it belongs to, as in its key: `step_10`.
    #[must_use]
    pub fn group(&self) -> &str {
        self.key.split_once('.').map_or(&*self.key, |(group, _)| group)
    }
}

impl Finding {
    /// A run that did not come to its end.
    #[must_use]
    pub fn incomplete(run: &str, why: &str) -> Self {
        Self {
            code: "incomplete".into(),
            seen: format!("{run} is incomplete: {why}"),
            advice: "What was recorded is kept and shown. Remove the cause, then run this part again.".into(),
            fault_of: FaultOf::Rig,
        }
    }

    pub(super) fn reason(&self) -> Reason {
        let judgement = match self.fault_of {
            FaultOf::Unit => Judgement::OutOfLimits,
            FaultOf::Rig => Judgement::Undetermined,
        };
        Reason { code: self.code.clone(), judgement, seen: self.seen.clone(), advice: self.advice.clone() }
    }
}

impl Reason {
    pub(super) fn weighs(&self) -> Judgement {
        self.judgement
    }

    pub(super) fn missing(limit: &Limit) -> Self {
        let definition = limit.measure.definition();
        Self {
            code: definition.key,
            judgement: Judgement::Undetermined,
            seen: format!("{} has a limit but was not measured", definition.name),
            advice: "Run the part that measures it, or remove the limit from the limits file.".into(),
        }
    }

    pub(super) fn holed(holed: &Holed) -> Self {
        let definition = holed.measure.definition();
        Self {
            code: definition.key,
            judgement: Judgement::Undetermined,
            seen: format!("{} cannot be computed: {}", definition.name, holed.seen),
            advice: LOSS_ADVICE.into(),
        }
    }

    pub(super) fn too_close(figure: &Figure, limit: &Limit) -> Self {
        let guard = limit.bounds.guard();
        let seen = format!("{}; it is known to ± {} (k = {COVERAGE_FACTOR})", against(figure, limit), guard);
        let runs = runs_that_settle(guard, limit.bounds.margins(figure.value).least());
        Self {
            code: figure.definition().key,
            judgement: Judgement::Undetermined,
            seen,
            advice: format!(
                "Not proven: the limit is closer than that. {}{runs}",
                settled_by(figure.measure)
            ),
        }
    }

    pub(super) fn outside(figure: &Figure, limit: &Limit) -> Self {
        Self {
            code: figure.definition().key,
            judgement: Judgement::OutOfLimits,
            seen: against(figure, limit),
            advice: advice(figure.measure).to_owned(),
        }
    }
}

fn against(figure: &Figure, limit: &Limit) -> String {
    let definition = figure.definition();
    let place = if figure.place.is_empty() { String::new() } else { format!(" ({})", figure.place) };
    let allowed = limit.bounds.text(definition.unit);
    format!("{} is {} {}{place}; allowed {allowed}", definition.name, figure.text(), definition.unit)
}

/// A figure with its definition.
#[must_use]
pub(crate) fn figure_row(figure: &Figure) -> FigureRow {
    let definition = figure.definition();
    FigureRow {
        key: definition.key,
        name: definition.name,
        value: figure.value,
        text: figure.text(),
        unit: definition.unit.to_owned(),
        place: figure.place.clone(),
        conditions: figure.conditions.clone(),
        definition: definition.text.to_owned(),
        source: definition.source.to_owned(),
    }
}
