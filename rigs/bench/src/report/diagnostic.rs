//! The section of a diagnostic run: current against position, in counts.

use super::chart::{Axis, Chart, Ink};
use super::section::Section;
use crate::figures::binding::Picture;
use crate::figures::range;

/// Current against raw position.
pub(super) fn chart(picture: &Picture) -> Chart {
    Chart::new(
        "Motor current against position, slow current ramps",
        Axis::fit("position, counts"),
        Axis::with_zero("motor current, A; positive opens"),
    )
    .line("opening", Ink::Opening, by_pass(&picture.opening))
    .line("closing", Ink::Closing, by_pass(&picture.closing))
}

/// A line that ends where the next pass begins elsewhere.
fn by_pass(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    /// Share of the travel seen that no lever goes from one sample to the next.
    const JUMP: f64 = 0.1;
    let jump = JUMP * range(points.iter().map(|point| point.0));
    let mut line: Vec<(f64, f64)> = Vec::with_capacity(points.len());
    for point in points {
        let last = line.last().filter(|last| (point.0 - last.0).abs() > jump);
        line.extend(last.map(|last| (last.0, f64::NAN)));
        line.push(*point);
    }
    line
}

/// The same with the places that stand out.
pub(super) fn section(picture: &Picture) -> Section {
    let section = Section::new("Where it binds").text(
        "A picture, not a measurement: no calibration is in force, so the unit moved in open loop at low \
         current, and positions are raw counts. None of it is judged against a limit.",
    );
    picture.findings().iter().fold(section, |section, line| section.text(line)).charts([chart(picture)])
}
