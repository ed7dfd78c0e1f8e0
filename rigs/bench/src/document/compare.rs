//! The document of `unit compare`.

use schemars::JsonSchema;
use serde::Serialize;

use crate::document_kind::{Document, Kind};
use crate::judge::Judgement;

/// Two units, or two rounds of one.
#[derive(Serialize, JsonSchema)]
pub(crate) struct CompareDocument {
    /// The first.
    pub a: ComparedSide,
    /// The second.
    pub b: ComparedSide,
    /// What the changes are weighed by.
    pub weighed_by: String,
    /// Each figure that both have.
    pub figures: Vec<ComparedFigure>,
}

impl Document for CompareDocument {
    const KIND: Kind = Kind::SideBySide;
}

/// One of the two.
#[derive(Serialize, JsonSchema)]
pub(crate) struct ComparedSide {
    /// Unit and job, or unit and learn.
    pub name: String,
    /// Its verdict.
    pub judgement: Judgement,
    /// Runs that count.
    pub runs: Vec<String>,
}

/// A figure that both have.
#[derive(Serialize, JsonSchema)]
pub(crate) struct ComparedFigure {
    /// Key.
    pub key: String,
    /// Name.
    pub name: String,
    /// Where; empty where that is no part of the question.
    pub place: String,
    /// Value of the first, as printed.
    pub a: String,
    /// Value of the second, as printed.
    pub b: String,
    /// Second less first, as printed.
    pub change: String,
    /// Unit.
    pub unit: String,
    /// The most that re-mounting explains, in the unit; none where that is not known.
    pub explained: Option<f64>,
    /// Whether the first one's limits speak of it.
    pub limited: bool,
    /// How the change stands to that.
    pub weighed: Weighed,
}

/// A change beside what re-mounting explains.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Weighed {
    /// More than that.
    More,
    /// No more than that.
    Within,
    /// How much that is, is not known.
    Unknown,
}

impl Weighed {
    /// The word for people.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::More => "CHANGED",
            Self::Within => "as before",
            Self::Unknown => "–",
        }
    }
}
