//! The section of a diagnostic run: current against position, in counts.

use super::chart::{Axis, Chart, Ink};
use super::section::Section;
use crate::figures::binding::Picture;

/// Current against raw position.
pub(super) fn chart(picture: &Picture) -> Chart {
    Chart::new(
        "Motor current against position, slow current ramps",
        Axis::fit("position, counts"),
        Axis::with_zero("motor current, A; positive opens"),
    )
    .line("opening", Ink::Opening, picture.opening.clone())
    .line("closing", Ink::Closing, picture.closing.clone())
}

/// The same with the places that stand out.
pub(super) fn section(picture: &Picture) -> Section {
    let section = Section::new("Where it binds").text(
        "A picture, no measurement: no calibration is in force, so the unit moved in open loop at low current, and \
         positions are raw counts. Nothing of it is held against a limit.",
    );
    picture.findings().iter().fold(section, |section, line| section.text(line)).charts([chart(picture)])
}
