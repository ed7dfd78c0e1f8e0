//! The report: one HTML file without scripts or outside parts, for screen (light and dark) and A4.
//!
//! In: a [`Report`]: unit, verdict, sections of charts and tables, the acceptance sheet, cautions. Out: the
//! file's text, the same bytes for the same report.

pub(crate) mod attachments;
mod axis;
pub mod bench;
pub mod chart;
mod diagnostic;
mod draw;
#[cfg(test)]
mod example;
mod figure_lines;
mod fitting;
mod friction;
mod front;
mod hand_over;
mod labels;
pub mod lever;
mod page;
mod path;
pub mod section;
pub mod sheet;
pub mod spans;
mod unit;
mod words;

pub use chart::{Axis, Chart, ChartMark, EventKind, Ink};
pub use section::{ReportBlock, Section, SectionBegin, Table};
pub use sheet::ReportSheet;
pub use spans::{LaneKind, SpanLane, Spans};

use crate::judge::Verdict;
use lever::LeverTravel;

/// A report before it is laid out.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// The unit, or whatever the report is about.
    pub subject: String,
    /// What kind of report it is, `bench report`.
    pub kind: String,
    /// What the first page says of it: name and value.
    pub facts: Vec<(String, String)>,
    /// The verdict, where one was made.
    pub verdict: Option<Verdict>,
    /// Charts and tables.
    pub sections: Vec<Section>,
    /// What the rig measured and what a person still has to.
    pub sheet: Option<ReportSheet>,
    /// Cautions.
    pub cautions: Vec<String>,
}

/// A report with pages to hand over before its detail.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitReport {
    /// All of it but those pages.
    pub report: Report,
    /// Those pages.
    pub front: Front,
}

/// What makes the pages that are handed over.
#[derive(Debug, Clone, PartialEq)]
pub struct Front {
    /// How far the unit's lever goes: degrees stand beside per cent.
    pub lever: LeverTravel,
    /// What follows verdict, facts and limits.
    pub sections: Vec<Section>,
    /// Facts that belong to the detail.
    pub background: Vec<(String, String)>,
}

/// Why a report was not rendered: the template engine refused.
#[derive(Debug, thiserror::Error)]
#[error("the report could not be laid out ({0}). This is a fault in the program; please report it")]
pub struct ReportError(#[from] askama::Error);

impl Report {
    /// The file's text.
    ///
    /// # Errors
    /// When the template engine refuses, which a sound build never does.
    pub fn render(&self) -> Result<String, ReportError> {
        page::laid_out(self, None)
    }
}

impl UnitReport {
    /// The file's text.
    ///
    /// # Errors
    /// As [`Report::render`].
    pub fn render(&self) -> Result<String, ReportError> {
        page::laid_out(&self.report, Some(&self.front))
    }
}
