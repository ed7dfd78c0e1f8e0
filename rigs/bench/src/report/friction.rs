//! The friction section of a bench report.

use super::bench::TRAVEL;
use super::chart::{Axis, Chart, Ink};
use super::lever::LeverTravel;
use super::section::Section;
use crate::figures::friction::{BINS, FrictionCurve, FrictionPoint};

/// What friction charts are drawn from.
#[derive(Clone, Copy)]
pub(super) struct FrictionShown<'a> {
    /// By motor current.
    pub(super) current: &'a FrictionCurve,
    /// By duty.
    pub(super) duty: &'a FrictionCurve,
    /// Openings on either side of each hole in which the lever moved.
    pub(super) holes: &'a [(f64, f64)],
    /// Largest friction that is allowed, A.
    pub(super) limit: Option<f64>,
    /// The unit's travel.
    pub(super) lever: LeverTravel,
}

impl FrictionShown<'_> {
    /// Duty against opening in both directions, and the friction between them.
    #[must_use]
    pub(super) fn section(self) -> Section {
        Section::new("Friction")
            .text(
                "Slow duty ramps without the position loop, whose integral action would hide friction. \
                 Half the difference between the directions is friction; their mean is the spring.",
            )
            .charts([self.pushes(), self.along_the_travel()])
    }

    fn chart(self, title: &str, y: &str) -> Chart {
        let axis = self.lever.on(Axis::fixed(TRAVEL, 0.0, 100.0));
        let percent = self.holes.iter().map(|(from, to)| (100.0 * from, 100.0 * to));
        Chart::new(title, axis, Axis::with_zero(y)).half().holes(percent)
    }

    fn pushes(self) -> Chart {
        let points = unbridged(self.duty);
        let line = |value: fn(&FrictionPoint) -> f64| {
            points.iter().map(|p| (100.0 * p.opening, 100.0 * value(p))).collect()
        };
        let band =
            points.iter().map(|p| (100.0 * p.opening, 100.0 * p.effort_closing, 100.0 * p.effort_opening));
        self.chart("Duty against opening, slow and open-loop", "duty, %; positive opens")
            .band("", Ink::Other, band.collect())
            .line("opening", Ink::Opening, line(|p| p.effort_opening))
            .line("closing", Ink::Closing, line(|p| p.effort_closing))
    }

    /// Friction and spring over the travel.
    pub(super) fn along_the_travel(self) -> Chart {
        let points = unbridged(self.current);
        let line =
            |value: fn(&FrictionPoint) -> f64| points.iter().map(|p| (100.0 * p.opening, value(p))).collect();
        let chart = self
            .chart("Friction along the travel", "motor current, A")
            .line("half the difference", Ink::Main, line(FrictionPoint::friction))
            .line("balance (spring)", Ink::Command, line(FrictionPoint::balance));
        match self.limit {
            Some(limit) => chart.level(limit, Ink::Limit, "limit"),
            None => chart,
        }
    }
}

/// The points of a curve, with one that is no number between those that are not neighbours.
fn unbridged(curve: &FrictionCurve) -> Vec<FrictionPoint> {
    /// Bins from one point to the next that leave at least one out.
    const APART: f64 = 1.5;
    let mut points: Vec<FrictionPoint> = Vec::new();
    for point in curve.points() {
        let last = points.last().filter(|last| (point.opening - last.opening) * BINS as f64 > APART);
        points.extend(last.map(|last| FrictionPoint {
            opening: last.opening,
            effort_opening: f64::NAN,
            effort_closing: f64::NAN,
        }));
        points.push(*point);
    }
    points
}
