//! A chart in words, for whoever cannot see it, and its legend.

use super::axis;
use super::chart::{Chart, ChartMark, EventKind};
use crate::figures::extent;

/// Places that are named one by one; of further ones only the count is.
const NAMED: usize = 6;

/// One entry of the legend.
pub(super) struct LegendEntry {
    pub(super) class: String,
    pub(super) sign: LegendSign,
    pub(super) text: String,
}

/// What stands before a legend's text.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum LegendSign {
    Dash,
    Dot,
    Patch,
}

/// Axes, what each line spans, levels, instants, what happened when, what is missing.
pub(super) fn told(chart: &Chart) -> String {
    let mut parts: Vec<String> = chart.marks.iter().filter_map(mark).collect();
    let holes: Vec<String> = chart.marks.iter().filter_map(hole).collect();
    if !holes.is_empty() {
        parts.push(format!("not in the record along the bottom: {}", listed(&holes)));
    }
    format!("Up the side: {}. Along the bottom: {}. {}.", chart.y.label, chart.x.label, parts.join("; "))
}

fn mark(mark: &ChartMark) -> Option<String> {
    match mark {
        ChartMark::Line { points, name, .. } | ChartMark::Dots { points, name, .. } => {
            span(name, extent(points.iter().map(|p| p.1).filter(|y| y.is_finite())))
        }
        ChartMark::Band { points, name, .. } => {
            span(name, extent(points.iter().flat_map(|p| [p.1, p.2]).filter(|y| y.is_finite())))
        }
        ChartMark::Level { y, label, .. } => Some(format!("{label} at {}", short(*y))),
        ChartMark::Instant { x, label, .. } => Some(format!("{label} at {} along the bottom", short(*x))),
        ChartMark::Drop { label: text, .. } | ChartMark::Label { text, .. } => Some(text.clone()),
        ChartMark::Events { points, name, of, .. } => {
            let times: Vec<String> = points.iter().map(|point| short(point.0)).collect();
            let name = if of.is_empty() { name.clone() } else { format!("{of}, {name}") };
            Some(format!("{name} at {} along the bottom", listed(&times)))
        }
        ChartMark::Hole { .. } => None,
    }
}

fn hole(mark: &ChartMark) -> Option<String> {
    if let ChartMark::Hole { from, to } = mark {
        Some(format!("{} to {}", short(*from), short(*to)))
    } else {
        None
    }
}

fn span(name: &str, of: Option<(f64, f64)>) -> Option<String> {
    let (low, high) = of?;
    let name = if name.is_empty() { "line" } else { name };
    Some(format!("{name} from {} to {}", short(low), short(high)))
}

/// The first few, and how many more there are.
pub(super) fn listed(all: &[String]) -> String {
    let named = all.get(..NAMED).unwrap_or(all).join(", ");
    match all.len().saturating_sub(NAMED) {
        0 => named,
        more => format!("{named} and {more} more"),
    }
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

/// The legend, in the order of the marks. It is text beside the drawing, so that it wraps by itself.
pub(super) fn legend(chart: &Chart) -> Vec<LegendEntry> {
    let mut entries: Vec<LegendEntry> = Vec::new();
    for entry in chart.marks.iter().filter_map(entry) {
        if !entries.iter().any(|known| known.class == entry.class && known.text == entry.text) {
            entries.push(entry);
        }
    }
    entries
}

fn entry(mark: &ChartMark) -> Option<LegendEntry> {
    let (class, sign, text) = match mark {
        ChartMark::Line { ink, name, .. } => {
            (format!("line {}", ink.class()), LegendSign::Dash, name.as_str())
        }
        ChartMark::Band { ink, name, .. } => {
            (format!("band {}", ink.class()), LegendSign::Patch, name.as_str())
        }
        ChartMark::Dots { ink, name, .. } => (ink.class().to_owned(), LegendSign::Dot, name.as_str()),
        ChartMark::Events { kind, name, .. } => (kind.class().to_owned(), LegendSign::Dot, name.as_str()),
        ChartMark::Hole { .. } => ("hole".to_owned(), LegendSign::Patch, "not in the record"),
        ChartMark::Level { .. }
        | ChartMark::Instant { .. }
        | ChartMark::Drop { .. }
        | ChartMark::Label { .. } => return None,
    };
    (!text.is_empty()).then(|| LegendEntry { class, sign, text: text.to_owned() })
}

impl EventKind {
    /// Name in the style sheet.
    pub(super) fn class(self) -> &'static str {
        match self {
            Self::Guard => "guard",
            Self::Fault => "fault",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{Axis, Ink};

    #[test]
    fn events_and_holes_are_told_the_first_few_by_place_and_stand_once_in_the_legend() {
        let events: Vec<_> = (0..9).map(|i| (f64::from(i), 1.0)).collect();
        let chart = Chart::new("", Axis::fit("time, s"), Axis::fit("boost"))
            .line("boost", Ink::Main, vec![(0.0, 1.0), (9.0, 2.0)])
            .holes([(0.5, 0.25), (3.0, 4.0)])
            .events("guard acts", "run A", EventKind::Guard, events.clone())
            .events("guard acts", "", EventKind::Guard, events)
            .events("fault seen", "", EventKind::Fault, Vec::new());
        let told = told(&chart);
        assert!(told.contains("run A, guard acts at 0.000, 1.0, 2.0, 3.0, 4.0, 5.0 and 3 more along the bottom; guard acts at 0.000, 1.0, 2.0, 3.0, 4.0, 5.0 and 3 more"), "{told}");
        assert!(told.contains("not in the record along the bottom: 0.250 to 0.500, 3.0 to 4.0"), "{told}");
        let legend: Vec<String> = legend(&chart).into_iter().map(|entry| entry.text).collect();
        assert_eq!(legend, ["boost", "not in the record", "guard acts"]);
    }
}
