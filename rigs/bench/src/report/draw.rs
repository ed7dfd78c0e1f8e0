//! From a chart's data to shapes on the page, in the units of the drawing (one unit is one CSS pixel at
//! full width). Only placement happens here; the template writes the SVG, the style sheet colours it.

use askama::Template;

use super::axis::{self, AxisRange, Scale};
use super::chart::{Chart, ChartMark, Ink, Width};
use super::labels::{Anchor, Labels, PlacedLabel};
use super::path::{self, px};
use crate::figures::extent;

const LEFT: f64 = 54.0;
const RIGHT: f64 = 14.0;
const TOP: f64 = 26.0;
const BOTTOM: f64 = 40.0;
const FULL: (f64, f64) = (720.0, 240.0);
const HALF: (f64, f64) = (352.0, 240.0);

/// One `<path>`.
pub(super) struct DrawnMark {
    pub(super) class: String,
    pub(super) d: String,
}

/// One `<circle>`.
pub(super) struct Dot {
    pub(super) class: &'static str,
    pub(super) x: String,
    pub(super) y: String,
}

/// One tick of an axis.
pub(super) struct AxisTick {
    pub(super) at: String,
    pub(super) text: String,
}

/// One entry of the legend.
pub(super) struct Entry {
    pub(super) class: String,
    pub(super) dots: bool,
    pub(super) text: String,
}

/// A chart ready for the template.
#[derive(Template)]
#[template(path = "chart.html")]
pub(super) struct Drawing<'a> {
    id: usize,
    title: &'a str,
    told: String,
    width_class: &'static str,
    width: f64,
    height: f64,
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
    x_label: &'a str,
    y_label: &'a str,
    x_ticks: Vec<AxisTick>,
    y_ticks: Vec<AxisTick>,
    shapes: Vec<DrawnMark>,
    dots: Vec<Dot>,
    labels: Vec<PlacedLabel>,
    legend: Vec<Entry>,
}

impl<'a> Drawing<'a> {
    /// Lays a chart out; `id` tells it from the others on the page.
    pub(super) fn new(chart: &'a Chart, id: usize) -> Self {
        let ((width, height), width_class, most_x) = match chart.width {
            Width::Full => (FULL, "full", 9.0),
            Width::Half => (HALF, "half", 5.0),
        };
        let (right, bottom) = (width - RIGHT, height - BOTTOM);
        let x = Scale::new(chart.x.range, extent(xs(chart)), (LEFT, right), most_x);
        let y = Scale::new(chart.y.range, extent(ys(chart)), (bottom, TOP), 7.0);
        let mut drawing = Self {
            id,
            title: &chart.title,
            told: told(chart),
            width_class,
            width,
            height,
            left: LEFT,
            right,
            top: TOP,
            bottom,
            x_label: &chart.x.label,
            y_label: &chart.y.label,
            x_ticks: ticks(chart.x.range, &x),
            y_ticks: ticks(chart.y.range, &y),
            shapes: Vec::new(),
            dots: Vec::new(),
            labels: Vec::new(),
            legend: legend(chart),
        };
        let mut labels = Labels::new(LEFT, right, TOP, bottom);
        for mark in &chart.marks {
            drawing.add(mark, &x, &y, &mut labels);
        }
        drawing.labels = labels.placed();
        drawing
    }

    fn add(&mut self, mark: &ChartMark, x: &Scale, y: &Scale, labels: &mut Labels) {
        let at = |px: f64, py: f64| (x.px(px), y.px(py));
        match mark {
            ChartMark::Line { points, ink, .. } => {
                let points: Vec<_> = points.iter().map(|&(px, py)| at(px, py)).collect();
                self.shape("line", *ink, path::line(&points));
            }
            ChartMark::Band { points, ink, .. } => {
                let points: Vec<_> =
                    points.iter().map(|&(px, low, high)| (x.px(px), y.px(low), y.px(high))).collect();
                self.shape("band", *ink, path::band(&points));
            }
            ChartMark::Level { y: level, ink, label } => {
                let (from, to) = (at(x.low(), *level), at(x.high(), *level));
                self.shape("rule", *ink, path::line(&[from, to]));
                labels.avoid(from, to);
                labels.want(label, ink.class(), to, Anchor::LevelEnd);
            }
            ChartMark::Instant { x: instant, ink, label } => {
                let (from, to) = (at(*instant, y.low()), at(*instant, y.high()));
                self.shape("rule", *ink, path::line(&[from, to]));
                labels.avoid(from, to);
                labels.want(label, ink.class(), to, Anchor::Top);
            }
            ChartMark::Drop { x: px, y: py, label } => {
                let (from, to) = (at(*px, *py), at(*px, y.low()));
                self.shape("drop", Ink::Main, path::line(&[from, to]));
                self.dot("mark", from);
                labels.avoid(from, to);
                labels.want(label, "ink", from, Anchor::Beside);
            }
            ChartMark::Dots { points, ink, .. } => {
                points.iter().for_each(|&(px, py)| self.dot(ink.class(), at(px, py)));
            }
            ChartMark::Label { x: px, y: py, ink, text } => {
                self.dot(ink.class(), at(*px, *py));
                labels.want(text, ink.class(), at(*px, *py), Anchor::Beside);
            }
        }
    }

    fn shape(&mut self, kind: &str, ink: Ink, d: String) {
        self.shapes.push(DrawnMark { class: format!("{kind} {}", ink.class()), d });
    }

    fn dot(&mut self, class: &'static str, at: (f64, f64)) {
        self.dots.push(Dot { class, x: px(at.0), y: px(at.1) });
    }
}

/// The chart in words, for whoever cannot see it: axes, what each line spans, levels and instants.
fn told(chart: &Chart) -> String {
    let span = |name: &str, of: Option<(f64, f64)>| {
        let (low, high) = of?;
        let name = if name.is_empty() { "line" } else { name };
        Some(format!("{name} from {} to {}", short(low), short(high)))
    };
    let mark = |mark: &ChartMark| match mark {
        ChartMark::Line { points, name, .. } | ChartMark::Dots { points, name, .. } => {
            span(name, extent(points.iter().map(|p| p.1).filter(|y| y.is_finite())))
        }
        ChartMark::Band { points, name, .. } => {
            span(name, extent(points.iter().flat_map(|p| [p.1, p.2]).filter(|y| y.is_finite())))
        }
        ChartMark::Level { y, label, .. } => Some(format!("{label} at {}", short(*y))),
        ChartMark::Instant { x, label, .. } => Some(format!("{label} at {} along the bottom", short(*x))),
        ChartMark::Drop { label: text, .. } | ChartMark::Label { text, .. } => Some(text.clone()),
    };
    let marks: Vec<String> = chart.marks.iter().filter_map(mark).collect();
    format!("Up the side: {}. Along the bottom: {}. {}.", chart.y.label, chart.x.label, marks.join("; "))
}

/// Four figures at most.
fn short(value: f64) -> String {
    let digits = if value.abs() >= 100.0 {
        0
    } else if value.abs() >= 1.0 {
        1
    } else {
        3
    };
    axis::text(value, digits)
}

fn ticks(range: AxisRange, scale: &Scale) -> Vec<AxisTick> {
    match range {
        AxisRange::Unmarked(..) => return Vec::new(),
        AxisRange::Fit | AxisRange::FitWithZero | AxisRange::Fixed(..) => {}
    }
    scale.ticks().into_iter().map(|(value, text)| AxisTick { at: px(scale.px(value)), text }).collect()
}

/// The legend, in the order of the marks. It is text beside the drawing, so that it wraps by itself.
fn legend(chart: &Chart) -> Vec<Entry> {
    let named = chart.marks.iter().filter_map(named);
    named.map(|(class, dots, name)| Entry { class, dots, text: name.to_owned() }).collect()
}

fn named(mark: &ChartMark) -> Option<(String, bool, &str)> {
    let (class, dots, name) = match mark {
        ChartMark::Line { ink, name, .. } => (format!("line {}", ink.class()), false, name),
        ChartMark::Band { ink, name, .. } => (format!("band {}", ink.class()), false, name),
        ChartMark::Dots { ink, name, .. } => (ink.class().to_owned(), true, name),
        ChartMark::Level { .. }
        | ChartMark::Instant { .. }
        | ChartMark::Drop { .. }
        | ChartMark::Label { .. } => return None,
    };
    (!name.is_empty()).then_some((class, dots, name))
}

fn xs(chart: &Chart) -> impl Iterator<Item = f64> + '_ {
    chart.marks.iter().flat_map(|mark| -> Box<dyn Iterator<Item = f64> + '_> {
        match mark {
            ChartMark::Line { points, .. } | ChartMark::Dots { points, .. } => {
                Box::new(points.iter().map(|p| p.0))
            }
            ChartMark::Band { points, .. } => Box::new(points.iter().map(|p| p.0)),
            ChartMark::Level { .. } => Box::new(std::iter::empty()),
            ChartMark::Instant { x, .. } | ChartMark::Drop { x, .. } | ChartMark::Label { x, .. } => {
                Box::new(std::iter::once(*x))
            }
        }
    })
}

fn ys(chart: &Chart) -> impl Iterator<Item = f64> + '_ {
    chart.marks.iter().flat_map(|mark| -> Box<dyn Iterator<Item = f64> + '_> {
        match mark {
            ChartMark::Line { points, .. } | ChartMark::Dots { points, .. } => {
                Box::new(points.iter().map(|p| p.1))
            }
            ChartMark::Band { points, .. } => Box::new(points.iter().flat_map(|p| [p.1, p.2])),
            ChartMark::Level { y, .. } | ChartMark::Drop { y, .. } | ChartMark::Label { y, .. } => {
                Box::new(std::iter::once(*y))
            }
            ChartMark::Instant { .. } => Box::new(std::iter::empty()),
        }
    })
}
