//! Sections of a report: text, charts side by side, tables. Any verb adds its own.

use super::chart::Chart;
use super::spans::Spans;

/// A part of the report under its own heading.
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// Heading.
    pub heading: String,
    /// Where it begins in print.
    pub begins: SectionBegin,
    /// Content in order.
    pub blocks: Vec<ReportBlock>,
}

/// Where a section begins in print.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SectionBegin {
    /// Below what is there.
    Below,
    /// On a page of its own.
    NewPage,
}

/// One piece of content.
#[derive(Debug, Clone, PartialEq)]
pub enum ReportBlock {
    /// A paragraph.
    Text(String),
    /// Charts; halves stand side by side.
    Charts(Vec<Chart>),
    /// What held from when to when.
    Spans(Spans),
    /// A table.
    Table(Table),
    /// A picture that a person attached.
    Picture(AttachedPicture),
    /// A finished drawing as SVG, made by this program.
    Drawing(String),
}

/// A picture as it stands in the page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AttachedPicture {
    /// `image/png` or `image/jpeg`.
    pub mime: &'static str,
    /// Its bytes in base 64.
    pub base64: String,
    /// What it shows.
    pub note: String,
}

/// A table of text. Its first column names the rows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Table {
    /// What it shows; without one, the section's heading says it.
    pub caption: String,
    /// Column heads, with units.
    pub head: Vec<String>,
    /// Rows, as many cells as heads.
    pub rows: Vec<Vec<String>>,
}

impl Section {
    /// An empty section.
    #[must_use]
    pub fn new(heading: &str) -> Self {
        Self { heading: heading.to_owned(), begins: SectionBegin::Below, blocks: Vec::new() }
    }

    /// The same section at the head of a page.
    #[must_use]
    pub fn on_new_page(self) -> Self {
        Self { begins: SectionBegin::NewPage, ..self }
    }

    /// The same section with a paragraph.
    #[must_use]
    pub fn text(mut self, text: &str) -> Self {
        self.blocks.push(ReportBlock::Text(text.to_owned()));
        self
    }

    /// The same section with charts in a row.
    #[must_use]
    pub fn charts(mut self, charts: impl IntoIterator<Item = Chart>) -> Self {
        self.blocks.push(ReportBlock::Charts(charts.into_iter().collect()));
        self
    }

    /// The same section with lanes of time.
    #[must_use]
    pub fn spans(mut self, spans: Spans) -> Self {
        self.blocks.push(ReportBlock::Spans(spans));
        self
    }

    /// The same section with a picture that a person attached.
    #[must_use]
    pub(super) fn picture(mut self, picture: AttachedPicture) -> Self {
        self.blocks.push(ReportBlock::Picture(picture));
        self
    }

    /// The same section with a drawing.
    #[must_use]
    pub fn drawing(mut self, svg: String) -> Self {
        self.blocks.push(ReportBlock::Drawing(svg));
        self
    }

    /// The same section with a table.
    #[must_use]
    pub fn table(mut self, table: Table) -> Self {
        self.blocks.push(ReportBlock::Table(table));
        self
    }
}

impl Table {
    /// A table with these heads.
    #[must_use]
    pub fn new(head: &[&str]) -> Self {
        let head = head.iter().map(ToString::to_string).collect();
        Self { caption: String::new(), head, rows: Vec::new() }
    }

    /// The same table under a caption of its own.
    #[must_use]
    pub fn captioned(self, caption: &str) -> Self {
        Self { caption: caption.to_owned(), ..self }
    }

    /// The same table with one more row.
    #[must_use]
    pub fn row<T: ToString>(mut self, cells: impl IntoIterator<Item = T>) -> Self {
        self.rows.push(cells.into_iter().map(|cell| cell.to_string()).collect());
        self
    }
}
