//! From a report to its page: the templates with what they are filled from.

use askama::Template;

use super::draw::Drawing;
use super::figure_lines::{FigureTable, conditions, definitions};
use super::section::{AttachedPicture, ReportBlock, Section, SectionBegin, Table};
use super::spans::DrawnSpans;
use super::{Front, Report, ReportError};
use crate::judge::{FigureRow, Judgement, Reason};

enum RenderedBlock<'a> {
    Text(&'a str),
    Charts(Vec<String>),
    Table(&'a Table),
    Drawing(&'a str),
    Picture(&'a AttachedPicture),
    Spans(String),
}

/// What stands under a heading.
#[derive(Template)]
#[template(path = "section.html")]
struct SectionBody<'a> {
    heading: &'a str,
    blocks: Vec<RenderedBlock<'a>>,
}

impl SectionBody<'_> {
    /// What a table shows.
    fn caption<'a>(&'a self, table: &'a Table) -> &'a str {
        if table.caption.is_empty() { self.heading } else { &table.caption }
    }
}

struct RenderedSection<'a> {
    class: &'static str,
    number: usize,
    heading: &'a str,
    body: String,
}

/// Names and values.
#[derive(Template)]
#[template(path = "facts.html")]
struct Facts<'a> {
    list: &'a [(String, String)],
}

struct RenderedFront<'a> {
    sections: Vec<RenderedSection<'a>>,
    background: String,
}

#[derive(Template)]
#[template(path = "report.html")]
struct Page<'a> {
    report: &'a Report,
    foot: String,
    verdict_word: &'static str,
    verdict_class: &'static str,
    reasons: &'a [Reason],
    facts: String,
    limited: FigureTable<'a>,
    front: Option<RenderedFront<'a>>,
    figures: FigureTable<'a>,
    sections: Vec<RenderedSection<'a>>,
    definitions: Vec<&'a FigureRow>,
    conditions: Vec<String>,
}

/// The file's text.
pub(super) fn laid_out(report: &Report, front: Option<&Front>) -> Result<String, ReportError> {
    let lever = front.map(|front| front.lever);
    let mut charts = 0;
    let front = front.map(|front| rendered_front(front, &mut charts)).transpose()?;
    let sections = rendered_sections(&report.sections, &mut charts)?;
    let verdict = report.verdict.as_ref();
    let (verdict_word, verdict_class) = verdict.map_or(("", ""), |verdict| worded(verdict.judgement));
    let figures: &[FigureRow] = verdict.map_or(&[], |verdict| &verdict.figures);
    let page = Page {
        report,
        foot: css_string(&format!("{}: {}", report.subject, report.kind)),
        verdict_word,
        verdict_class,
        reasons: verdict.map_or(&[], |verdict| &verdict.reasons),
        facts: Facts { list: &report.facts }.render()?,
        limited: FigureTable::limited(verdict, lever),
        front,
        figures: FigureTable::headline(verdict, lever),
        sections,
        definitions: definitions(figures),
        conditions: conditions(figures),
    };
    Ok(page.render()?)
}

fn rendered_front<'a>(front: &'a Front, charts: &mut usize) -> Result<RenderedFront<'a>, ReportError> {
    let sections = rendered_sections(&front.sections, charts)?;
    Ok(RenderedFront { sections, background: Facts { list: &front.background }.render()? })
}

fn rendered_sections<'a>(
    sections: &'a [Section],
    charts: &mut usize,
) -> Result<Vec<RenderedSection<'a>>, ReportError> {
    let sections = sections.iter().enumerate().map(|(at, section)| {
        let blocks = section.blocks.iter().map(|block| rendered(block, charts));
        let body = SectionBody { heading: &section.heading, blocks: blocks.collect::<Result<_, _>>()? };
        let class = match section.begins {
            SectionBegin::Below => "below",
            SectionBegin::NewPage => "new-page",
        };
        Ok(RenderedSection { class, number: at + 1, heading: &section.heading, body: body.render()? })
    });
    sections.collect()
}

fn rendered<'a>(block: &'a ReportBlock, charts: &mut usize) -> Result<RenderedBlock<'a>, ReportError> {
    Ok(match block {
        ReportBlock::Text(text) => RenderedBlock::Text(text),
        ReportBlock::Table(table) => RenderedBlock::Table(table),
        ReportBlock::Picture(picture) => RenderedBlock::Picture(picture),
        ReportBlock::Drawing(svg) => RenderedBlock::Drawing(svg),
        ReportBlock::Spans(spans) => RenderedBlock::Spans(DrawnSpans::new(spans).render()?),
        ReportBlock::Charts(list) => {
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
