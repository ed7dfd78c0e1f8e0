//! Charts as data: axes, lines, bands, limits, dots. What they look like is decided in `draw.rs` and the
//! style sheet, so that light, dark and print need one drawing.

pub use super::axis::AxisRange;

/// What a thing in a chart means; the style sheet gives it colour and dash.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ink {
    /// Moving toward open.
    Opening,
    /// Moving toward closed.
    Closing,
    /// The measured thing, where direction does not matter.
    Main,
    /// What was asked for.
    Command,
    /// What must not be passed.
    Limit,
    /// A second thing to compare with.
    Other,
}

impl Ink {
    /// Name in the style sheet.
    #[must_use]
    pub(super) fn class(self) -> &'static str {
        match self {
            Self::Opening => "opening",
            Self::Closing => "closing",
            Self::Main => "main",
            Self::Command => "command",
            Self::Limit => "limit",
            Self::Other => "other",
        }
    }
}

/// One axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// Quantity and unit, `opening, % of travel`.
    pub label: String,
    /// What part of it is drawn.
    pub range: AxisRange,
    /// Degrees of the lever in one of its units, where they are shown beside it.
    pub degrees_per_unit: Option<f64>,
}

impl Axis {
    fn of(label: &str, range: AxisRange) -> Self {
        Self { label: label.to_owned(), range, degrees_per_unit: None }
    }

    /// An axis fitted to its data.
    #[must_use]
    pub fn fit(label: &str) -> Self {
        Self::of(label, AxisRange::Fit)
    }

    /// An axis over a fixed range.
    #[must_use]
    pub fn fixed(label: &str, low: f64, high: f64) -> Self {
        Self::of(label, AxisRange::Fixed(low, high))
    }

    /// An axis over a fixed range whose numbers mean nothing.
    #[must_use]
    pub fn unmarked(label: &str, low: f64, high: f64) -> Self {
        Self::of(label, AxisRange::Unmarked(low, high))
    }

    /// An axis fitted to its data and zero.
    #[must_use]
    pub fn with_zero(label: &str) -> Self {
        Self::of(label, AxisRange::FitWithZero)
    }
}

/// One thing in a chart; later ones lie on top.
#[derive(Debug, Clone, PartialEq)]
pub enum ChartMark {
    /// A line through points; named in the legend when it has a name.
    Line {
        /// Points in order.
        points: Vec<(f64, f64)>,
        /// Meaning.
        ink: Ink,
        /// Legend text, or nothing.
        name: String,
    },
    /// The area between two lines over the same x.
    Band {
        /// `(x, low, high)` in order of x.
        points: Vec<(f64, f64, f64)>,
        /// Meaning.
        ink: Ink,
        /// Legend text, or nothing.
        name: String,
    },
    /// A horizontal line across the plot, labelled on it.
    Level {
        /// Where.
        y: f64,
        /// Meaning.
        ink: Ink,
        /// Text on it.
        label: String,
    },
    /// A vertical line, labelled at its top.
    Instant {
        /// Where.
        x: f64,
        /// Meaning.
        ink: Ink,
        /// Text at it.
        label: String,
    },
    /// A point with a drop line to the x axis and a label.
    Drop {
        /// Where.
        x: f64,
        /// Where.
        y: f64,
        /// Text beside it.
        label: String,
    },
    /// Points without a line.
    Dots {
        /// Where.
        points: Vec<(f64, f64)>,
        /// Meaning.
        ink: Ink,
        /// Legend text, or nothing.
        name: String,
    },
    /// A stretch of x that the record does not hold.
    Hole {
        /// Where it begins.
        from: f64,
        /// Where it ends.
        to: f64,
    },
    /// Things that happened, on the line that they happened to.
    Events {
        /// When, and where the line stood.
        points: Vec<(f64, f64)>,
        /// What kind of thing.
        kind: EventKind,
        /// Legend text.
        name: String,
        /// To which of several lines, for whoever cannot see it; or nothing.
        of: String,
    },
    /// A labelled point.
    Label {
        /// Where.
        x: f64,
        /// Where.
        y: f64,
        /// Meaning.
        ink: Ink,
        /// Text beside it.
        text: String,
    },
}

/// What kind of thing happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EventKind {
    /// The guard changed its stage.
    Guard,
    /// A fault was seen for the first time.
    Fault,
}

/// How much of the page's width a chart takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Width {
    /// All of it.
    Full,
    /// Half, two side by side.
    Half,
}

/// A chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// What it shows, as a short sentence.
    pub title: String,
    /// Along the bottom.
    pub x: Axis,
    /// Up the side.
    pub y: Axis,
    /// What is drawn, lowest first.
    pub marks: Vec<ChartMark>,
    /// Width on the page.
    pub width: Width,
}

impl Chart {
    /// An empty chart of full width.
    #[must_use]
    pub fn new(title: &str, x: Axis, y: Axis) -> Self {
        Self { title: title.to_owned(), x, y, marks: Vec::new(), width: Width::Full }
    }

    /// The same chart at half width.
    #[must_use]
    pub fn half(self) -> Self {
        Self { width: Width::Half, ..self }
    }

    /// The same chart with one more mark on top.
    #[must_use]
    pub fn with(mut self, mark: ChartMark) -> Self {
        self.marks.push(mark);
        self
    }

    /// The same chart with a line.
    #[must_use]
    pub fn line(self, name: &str, ink: Ink, points: Vec<(f64, f64)>) -> Self {
        self.with(ChartMark::Line { points, ink, name: name.to_owned() })
    }

    /// The same chart with a line through samples in time, broken and marked where there is a hole in them.
    #[must_use]
    pub fn trace(self, name: &str, ink: Ink, samples: Vec<(f64, f64)>) -> Self {
        let broken = with_holes(samples);
        let edges = broken.windows(3).filter(|three| three[1].1.is_nan());
        let holes: Vec<_> = edges.map(|three| (three[0].0, three[2].0)).collect();
        self.holes(holes).line(name, ink, broken)
    }

    /// The same chart with marks where the record has holes; one that is marked already is not marked again.
    #[must_use]
    pub fn holes(self, holes: impl IntoIterator<Item = (f64, f64)>) -> Self {
        holes.into_iter().fold(self, |chart, (from, to)| {
            let hole = ChartMark::Hole { from: from.min(to), to: from.max(to) };
            if chart.marks.contains(&hole) { chart } else { chart.with(hole) }
        })
    }

    /// The same chart with things that happened; none are drawn and named where none did.
    #[must_use]
    pub fn events(self, name: &str, of: &str, kind: EventKind, points: Vec<(f64, f64)>) -> Self {
        if points.is_empty() {
            return self;
        }
        self.with(ChartMark::Events { points, kind, name: name.to_owned(), of: of.to_owned() })
    }

    /// The same chart with the area between two lines, as `(x, low, high)`.
    #[must_use]
    pub fn band(self, name: &str, ink: Ink, points: Vec<(f64, f64, f64)>) -> Self {
        self.with(ChartMark::Band { points, ink, name: name.to_owned() })
    }

    /// The same chart with loose points.
    #[must_use]
    pub fn dots(self, name: &str, ink: Ink, points: Vec<(f64, f64)>) -> Self {
        self.with(ChartMark::Dots { points, ink, name: name.to_owned() })
    }

    /// The same chart with a labelled horizontal line.
    #[must_use]
    pub fn level(self, y: f64, ink: Ink, label: &str) -> Self {
        self.with(ChartMark::Level { y, ink, label: label.to_owned() })
    }
}

/// Samples with a break wherever the next is further off than [`HOLE`] usual distances.
fn with_holes(samples: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    /// Distances that make a hole: two lost samples; one shows as a straight line of two pixels at most.
    const HOLE: f64 = 2.5;
    let mut distances: Vec<f64> = samples.windows(2).map(|pair| (pair[1].0 - pair[0].0).abs()).collect();
    distances.sort_by(f64::total_cmp);
    let usual = distances.get(distances.len() / 2).copied().unwrap_or(f64::INFINITY);
    let mut broken: Vec<(f64, f64)> = Vec::with_capacity(samples.len());
    for sample in samples {
        if let Some(last) = broken.last().copied().filter(|last| (sample.0 - last.0).abs() > HOLE * usual) {
            broken.push((last.0, f64::NAN));
        }
        broken.push(sample);
    }
    broken
}

#[cfg(test)]
mod tests;
