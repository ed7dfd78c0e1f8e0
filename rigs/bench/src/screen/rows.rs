//! The rows below the bar, each with how much it is needed.

use firmware_core::faults::{Fault, Limit};
use firmware_core::settings::SpringAction;

use super::view::{DriveState, MayDrive, View};
use super::words;
use crate::rig::StreamSample;

/// Touches of each stop in a sound learn.
const TOUCHES: u8 = 3;

/// How much a line is needed where there is not room for all: what comes last goes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Need {
    /// Drive, phase and travel: always there.
    Always,
    /// What may hurt, or stop it; and what a screw is turned for.
    Safety,
    /// What is read of the unit.
    Reading,
    /// How far it is, and the rest.
    Progress,
    /// Explains the bar.
    Legend,
    /// An empty line.
    Space,
}

/// One row.
pub(super) struct ScreenRow {
    pub(super) name: &'static str,
    pub(super) value: String,
    pub(super) need: Need,
}

impl ScreenRow {
    fn new(name: &'static str, need: Need, value: String) -> Self {
        Self { name, value, need }
    }
}

impl View {
    /// Everything that is told below the bar.
    pub(super) fn rows(&self) -> Vec<ScreenRow> {
        let none = || "-".to_owned();
        let newest = self.newest.as_ref();
        let mut rows = self.measured();
        if self.touches != [0; 2] {
            let [closed, open] = self.touches;
            let touches = format!("closed {closed} of {TOUCHES}, open {open} of {TOUCHES}");
            rows.push(ScreenRow::new("touches", Need::Progress, touches));
        }
        if self.subject.drive == MayDrive::Yes {
            let limits = words::named(self.limits.iter().map(Limit::name));
            rows.push(ScreenRow::new("limits met", Need::Safety, limits));
        }
        let faults =
            newest.map_or_else(none, |sample| words::named(sample.state.faults.iter().map(Fault::name)));
        rows.push(ScreenRow::new("faults", Need::Safety, faults));
        if let (Some(place), Some(sample)) = (self.subject.place, newest) {
            rows.push(ScreenRow::new(
                "to go",
                Need::Safety,
                place.to_go(f32::from(sample.point.position().0)),
            ));
        }
        rows.extend(self.left().map(|left| ScreenRow::new("time left", Need::Progress, left)));
        if self.lost_ticks > 0 {
            let lost = format!("{} ms of samples lost on the line", self.lost_ticks);
            rows.push(ScreenRow::new("lost", Need::Progress, lost));
        }
        rows.push(ScreenRow::new("may jump", Need::Safety, self.may_jump()));
        rows
    }

    /// What the newest sample says.
    fn measured(&self) -> Vec<ScreenRow> {
        let none = || "-".to_owned();
        let newest = self.newest.as_ref();
        let supply = newest.and_then(|sample| sample.supply);
        let housing = newest.and_then(|sample| sample.temperature);
        vec![
            ScreenRow::new(
                "position",
                Need::Reading,
                newest.map_or_else(none, |sample| self.position(sample)),
            ),
            ScreenRow::new(
                "command",
                Need::Progress,
                newest.map_or_else(none, |sample| self.command(sample)),
            ),
            ScreenRow::new(
                "current",
                Need::Reading,
                newest.map_or_else(none, |s| words::amperes(s.point.current().0)),
            ),
            ScreenRow::new(
                "supply",
                Need::Reading,
                supply.map_or_else(none, |volts| format!("{:.1} V", volts.0)),
            ),
            ScreenRow::new(
                "housing",
                Need::Progress,
                housing.map_or_else(none, |t| format!("{:.0} °C", t.0)),
            ),
        ]
    }

    /// Where the lever is between both stops, 0 closed to 1 open, and on what ground.
    fn opening(&self, counts: f32) -> Option<(f32, &'static str)> {
        let (ends, ground) = match (self.touched, self.subject.windows) {
            ([Some(closed), Some(open)], _) => ([closed, open], "of the travel found"),
            (_, Some(windows)) => ([windows.closed.centre(), windows.open.centre()], "by the profile"),
            (_, None) => return None,
        };
        let opening = (counts - ends[0]) / (ends[1] - ends[0]);
        opening.is_finite().then_some((opening, ground))
    }

    fn position(&self, sample: &StreamSample) -> String {
        let counts = sample.point.position();
        match self.opening(f32::from(counts.0)) {
            Some((opening, ground)) => {
                format!("{} counts, {:.1} % open {ground}", counts.0, 100.0 * opening)
            }
            None => format!("{} counts", counts.0),
        }
    }

    /// The last sample before a stop still names a command; with the drive off there is none.
    fn command(&self, sample: &StreamSample) -> String {
        match self.drive {
            DriveState::Off(_) => words::no_command(),
            DriveState::Waiting | DriveState::On | DriveState::Stopping | DriveState::Unanswered => {
                words::command(sample)
            }
        }
    }

    fn left(&self) -> Option<String> {
        let (part, newest) = (self.part?, self.newest.as_ref()?);
        let left = f64::from(part.planned) * (1.0 - part.done_at(newest.tick)) / 1000.0;
        Some(if left > 0.0 { format!("about {left:.0} s") } else { "any moment".to_owned() })
    }

    /// Which way the lever may go by itself.
    fn may_jump(&self) -> String {
        let spring = match self.subject.spring {
            SpringAction::None => "drive off: its own weight may move it",
            SpringAction::Opens => "drive off: the spring pulls it OPEN",
            SpringAction::Closes => "drive off: the spring pulls it CLOSED",
        };
        match self.drive {
            DriveState::On | DriveState::Stopping => format!("either way; {spring}"),
            DriveState::Waiting | DriveState::Off(_) | DriveState::Unanswered => spring.to_owned(),
        }
    }
}
