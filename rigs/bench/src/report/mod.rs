//! The report: one HTML file without scripts or outside parts, for screen (light and dark) and A4.
//!
//! In: a [`Report`]: unit, verdict, sections of charts and tables, the acceptance sheet, cautions. Out: the
//! file's text, the same bytes for the same report.

mod axis;
pub mod bench;
pub mod chart;
mod diagnostic;
mod draw;
#[cfg(test)]
mod example;
mod fitting;
mod labels;
mod path;
pub mod section;
pub mod sheet;
mod unit;

use askama::Template;

pub use chart::{Axis, Chart, ChartMark, Ink};
pub use section::{Block, Section, SectionBegin, Table};
pub use sheet::Sheet;

use crate::judge::{FigureRow, Judgement, LimitCheck, Reason, Verdict};
use crate::limits::LimitStanding;
use draw::Drawing;

/// A report before it is laid out.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// The unit, or whatever the report is about.
    pub subject: String,
    /// What kind of report it is, `bench report`.
    pub kind: String,
    /// Facts about unit, profile, setup, software: name and value.
    pub facts: Vec<(String, String)>,
    /// The verdict, where one was made.
    pub verdict: Option<Verdict>,
    /// Charts and tables.
    pub sections: Vec<Section>,
    /// What the rig measured and what a person still has to.
    pub sheet: Option<Sheet>,
    /// Cautions.
    pub cautions: Vec<String>,
}

/// Why a report was not rendered: the template engine refused.
#[derive(Debug, thiserror::Error)]
#[error("the report could not be laid out ({0}). This is a fault in the program; please report it")]
pub struct ReportError(#[from] askama::Error);

/// One row of the table of figures.
struct FigureLine<'a> {
    figure: &'a FigureRow,
    value: String,
    allowed: String,
    mark: &'static str,
    class: &'static str,
}

enum RenderedBlock<'a> {
    Text(&'a str),
    Charts(Vec<String>),
    Table(&'a Table),
    Drawing(&'a str),
}

struct RenderedSection<'a> {
    class: &'static str,
    number: usize,
    heading: &'a str,
    blocks: Vec<RenderedBlock<'a>>,
}

#[derive(Template)]
#[template(path = "report.html")]
struct Page<'a> {
    report: &'a Report,
    foot: String,
    verdict_word: &'static str,
    verdict_class: &'static str,
    reasons: &'a [Reason],
    figures: Vec<FigureLine<'a>>,
    sections: Vec<RenderedSection<'a>>,
}

impl Report {
    /// The file's text.
    ///
    /// # Errors
    /// When the template engine refuses, which a sound build never does.
    pub fn render(&self) -> Result<String, ReportError> {
        let mut charts = 0;
        let sections = self.sections.iter().enumerate().map(|(i, section)| {
            let blocks = section.blocks.iter().map(|block| rendered(block, &mut charts));
            let blocks = blocks.collect::<Result<_, _>>()?;
            let class = match section.begins {
                SectionBegin::Below => "below",
                SectionBegin::NewPage => "new-page",
            };
            Ok(RenderedSection { class, number: i + 1, heading: &section.heading, blocks })
        });
        let sections = sections.collect::<Result<_, ReportError>>()?;
        let (verdict_word, verdict_class) = self.verdict.as_ref().map_or(("", ""), |v| worded(v.judgement));
        let page = Page {
            report: self,
            foot: css_string(&format!("{}: {}", self.subject, self.kind)),
            verdict_word,
            verdict_class,
            reasons: self.verdict.as_ref().map_or(&[], |v| &v.reasons),
            figures: self.verdict.as_ref().map(figure_lines).unwrap_or_default(),
            sections,
        };
        Ok(page.render()?)
    }
}

fn rendered<'a>(block: &'a Block, charts: &mut usize) -> Result<RenderedBlock<'a>, ReportError> {
    Ok(match block {
        Block::Text(text) => RenderedBlock::Text(text),
        Block::Table(table) => RenderedBlock::Table(table),
        Block::Drawing(svg) => RenderedBlock::Drawing(svg),
        Block::Charts(list) => {
            let svgs = list.iter().map(|chart| {
                *charts += 1;
                Drawing::new(chart, *charts).render()
            });
            RenderedBlock::Charts(svgs.collect::<Result<_, _>>()?)
        }
    })
}

/// A text as it may stand between quotes in a style sheet: everything but plain letters and digits
/// by its code, which the space ends.
fn css_string(text: &str) -> String {
    let letter = |c: char| {
        if c.is_ascii_alphanumeric() || c == ' ' { c.to_string() } else { format!("\\{:x} ", u32::from(c)) }
    };
    text.chars().map(letter).collect()
}

fn worded(judgement: Judgement) -> (&'static str, &'static str) {
    match judgement {
        Judgement::WithinLimits => ("Within limits", "good"),
        Judgement::OutOfLimits => ("Out of limits", "bad"),
        Judgement::Undetermined => ("Undetermined", "open"),
    }
}

fn figure_lines(verdict: &Verdict) -> Vec<FigureLine<'_>> {
    let line = |figure| {
        let check = verdict.checks.iter().find(|c| is_for(c, figure));
        let (mark, class) = check.map_or(("", ""), |c| standing_mark(c.standing));
        let allowed = check.map_or_else(String::new, |c| printed(c.bounds.text("").trim_end()));
        FigureLine { figure, value: printed(&figure.text), allowed, mark, class }
    };
    verdict.figures.iter().map(line).collect()
}

/// Numbers in print carry a true minus sign.
fn printed(number: &str) -> String {
    number.replace('-', "−")
}

fn is_for(check: &LimitCheck, figure: &FigureRow) -> bool {
    check.key == figure.key && check.place == figure.place && check.value == figure.value
}

fn standing_mark(standing: LimitStanding) -> (&'static str, &'static str) {
    match standing {
        LimitStanding::Inside => ("✓", "good"),
        LimitStanding::TooClose => ("?", "open"),
        LimitStanding::Outside => ("✗", "bad"),
    }
}

impl Page<'_> {
    /// What the first table shows: step figures without a limit stand in the table of steps alone.
    fn headline(&self) -> impl Iterator<Item = &FigureLine<'_>> {
        let in_steps =
            |line: &FigureLine<'_>| line.figure.group().starts_with("step_") && line.mark.is_empty();
        self.figures.iter().filter(move |line| !in_steps(line))
    }

    /// Definitions behind the figures, each once, in the order of the table.
    fn definitions(&self) -> Vec<&FigureRow> {
        let mut seen: Vec<&FigureRow> = Vec::new();
        for line in &self.figures {
            if !seen.iter().any(|row| row.definition == line.figure.definition) {
                seen.push(line.figure);
            }
        }
        seen
    }

    /// Under which conditions the figures were taken, each once, with the figures it holds for.
    fn conditions(&self) -> Vec<String> {
        let mut groups: Vec<(&str, Vec<&str>)> = Vec::new();
        for line in self.figures.iter().filter(|line| !line.figure.conditions.is_empty()) {
            let (condition, group) = (line.figure.conditions.as_str(), line.figure.group());
            match groups.iter_mut().find(|(seen, _)| *seen == condition) {
                Some((_, names)) if names.contains(&group) => {}
                Some((_, names)) => names.push(group),
                None => groups.push((condition, vec![group])),
            }
        }
        groups.iter().map(|(condition, names)| format!("{}: {condition}.", names.join(", "))).collect()
    }

    /// A figure's name without its step size, for the list of definitions.
    fn plain_name<'a>(&self, row: &'a FigureRow) -> &'a str {
        match row.name.split_once(", ") {
            Some((name, rest)) if rest.ends_with("% step") => name,
            _ => &row.name,
        }
    }
}
