//! From a chart's data to shapes on the page, in the units of the drawing (one unit is one CSS pixel at
//! full width). Only placement happens here; the template writes the SVG, the style sheet colours it.

use askama::Template;

use super::axis::{AxisRange, Scale};
use super::chart::{Axis, Chart, ChartMark, Ink, Width};
use super::labels::{Anchor, Labels, PlacedLabel};
use super::path::{self, px};
use super::words::{self, LegendEntry, LegendSign};
use crate::figures::extent;

const LEFT: f64 = 54.0;
const RIGHT: f64 = 14.0;
/// Right of the plot, where a second scale stands there.
const RIGHT_SCALE: f64 = 40.0;
const TOP: f64 = 26.0;
const BOTTOM: f64 = 40.0;
const FULL: PlotSize = PlotSize { width: 720.0, height: 240.0, most_x: 9.0 };
const HALF: PlotSize = PlotSize { width: 352.0, height: 240.0, most_x: 5.0 };

const MOST_Y: f64 = 7.0;
/// Radius of a reading, and of something that happened.
const DOT: &str = "2.2";
const EVENT: &str = "3.4";
const NARROWEST_HOLE: f64 = 2.0;

#[derive(Clone, Copy)]
struct PlotSize {
    width: f64,
    height: f64,
    /// Most ticks along the bottom.
    most_x: f64,
}

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
    pub(super) r: &'static str,
}

/// One tick of an axis.
pub(super) struct AxisTick {
    pub(super) at: String,
    pub(super) text: String,
}

/// A chart ready for the template.
#[derive(Template)]
#[template(path = "chart.html")]
pub(super) struct Drawing<'a> {
    title: &'a str,
    told: String,
    width_class: &'static str,
    legend: Vec<LegendEntry>,
    plots: Vec<Plot<'a>>,
}

/// One drawing of it.
struct Plot<'a> {
    id: String,
    /// On which pages it is shown.
    class: &'static str,
    width: f64,
    height: f64,
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
    x_label: String,
    y_label: &'a str,
    x_ticks: Vec<AxisTick>,
    y_ticks: Vec<AxisTick>,
    degree_ticks: Vec<AxisTick>,
    shapes: Vec<DrawnMark>,
    dots: Vec<Dot>,
    labels: Vec<PlacedLabel>,
}

impl<'a> Drawing<'a> {
    /// Lays a chart out; `id` tells it from the others on the page. One of full width is drawn a second time for narrow
    /// screens, where its text would be too small to read.
    pub(super) fn new(chart: &'a Chart, id: usize) -> Self {
        let (width_class, plots) = match chart.width {
            Width::Full => {
                let narrow = Plot::new(chart, format!("{id}-narrow"), "narrow", HALF);
                ("full", vec![Plot::new(chart, id.to_string(), "wide", FULL), narrow])
            }
            Width::Half => ("half", vec![Plot::new(chart, id.to_string(), "any", HALF)]),
        };
        let (told, legend) = (words::told(chart), words::legend(chart));
        Self { title: &chart.title, told, width_class, legend, plots }
    }
}

impl<'a> Plot<'a> {
    fn new(chart: &'a Chart, id: String, class: &'static str, size: PlotSize) -> Self {
        let PlotSize { width, height, most_x } = size;
        let room = if chart.y.degrees_per_unit.is_some() { RIGHT_SCALE } else { RIGHT };
        let (right, bottom) = (width - room, height - BOTTOM);
        let x = Scale::new(chart.x.range, extent(xs(chart)), (LEFT, right), most_x);
        let y = Scale::new(chart.y.range, extent(ys(chart)), (bottom, TOP), MOST_Y);
        let mut plot = Self {
            id,
            class,
            width,
            height,
            left: LEFT,
            right,
            top: TOP,
            bottom,
            x_label: along_the_bottom(&chart.x),
            y_label: &chart.y.label,
            x_ticks: ticks(chart.x.range, &x),
            y_ticks: ticks(chart.y.range, &y),
            degree_ticks: chart.y.degrees_per_unit.map_or_else(Vec::new, |degrees| degree_ticks(&y, degrees)),
            shapes: Vec::new(),
            dots: Vec::new(),
            labels: Vec::new(),
        };
        let mut labels = Labels::new(LEFT, right, TOP, bottom);
        for mark in &chart.marks {
            plot.add(mark, &x, &y, &mut labels);
        }
        plot.labels = labels.placed();
        plot
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
                self.dot("mark", DOT, from);
                labels.avoid(from, to);
                labels.want(label, "ink", from, Anchor::Beside);
            }
            ChartMark::Dots { points, ink, .. } => {
                points.iter().for_each(|&(px, py)| self.dot(ink.class(), DOT, at(px, py)));
            }
            ChartMark::Hole { from, to } => {
                let (left, right) = (x.px(*from), x.px(*to).max(x.px(*from) + NARROWEST_HOLE));
                let (top, bottom) = (px(y.px(y.high())), px(y.px(y.low())));
                let d = format!("M{} {top}H{}V{bottom}H{}Z", px(left), px(right), px(left));
                self.shapes.push(DrawnMark { class: "hole".to_owned(), d });
            }
            ChartMark::Events { points, kind, .. } => {
                points.iter().for_each(|&(px, py)| self.dot(kind.class(), EVENT, at(px, py)));
            }
            ChartMark::Label { x: px, y: py, ink, text } => {
                self.dot(ink.class(), DOT, at(*px, *py));
                labels.want(text, ink.class(), at(*px, *py), Anchor::Beside);
            }
        }
    }

    fn shape(&mut self, kind: &str, ink: Ink, d: String) {
        self.shapes.push(DrawnMark { class: format!("{kind} {}", ink.class()), d });
    }

    fn dot(&mut self, class: &'static str, r: &'static str, at: (f64, f64)) {
        self.dots.push(Dot { class, x: px(at.0), y: px(at.1), r });
    }
}

fn ticks(range: AxisRange, scale: &Scale) -> Vec<AxisTick> {
    match range {
        AxisRange::Unmarked(..) => return Vec::new(),
        AxisRange::Fit | AxisRange::FitWithZero | AxisRange::Fixed(..) => {}
    }
    scale.ticks().into_iter().map(|(value, text)| AxisTick { at: px(scale.px(value)), text }).collect()
}

/// The same scale in degrees of the lever.
fn degree_ticks(scale: &Scale, per_unit: f64) -> Vec<AxisTick> {
    let degrees = scale.times(per_unit, MOST_Y);
    degrees.ticks().into_iter().map(|(value, text)| AxisTick { at: px(degrees.px(value)), text }).collect()
}

fn along_the_bottom(axis: &Axis) -> String {
    axis.degrees_per_unit.map_or_else(
        || axis.label.clone(),
        |degrees| format!("{}; 100 % = {:.1}° of the lever", axis.label, 100.0 * degrees),
    )
}

fn xs(chart: &Chart) -> impl Iterator<Item = f64> + '_ {
    chart.marks.iter().flat_map(|mark| -> Box<dyn Iterator<Item = f64> + '_> {
        match mark {
            ChartMark::Line { points, .. }
            | ChartMark::Dots { points, .. }
            | ChartMark::Events { points, .. } => Box::new(points.iter().map(|p| p.0)),
            ChartMark::Hole { from, to } => Box::new([*from, *to].into_iter()),
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
            ChartMark::Line { points, .. }
            | ChartMark::Dots { points, .. }
            | ChartMark::Events { points, .. } => Box::new(points.iter().map(|p| p.1)),
            ChartMark::Band { points, .. } => Box::new(points.iter().flat_map(|p| [p.1, p.2])),
            ChartMark::Level { y, .. } | ChartMark::Drop { y, .. } | ChartMark::Label { y, .. } => {
                Box::new(std::iter::once(*y))
            }
            ChartMark::Instant { .. } | ChartMark::Hole { .. } => Box::new(std::iter::empty()),
        }
    })
}
