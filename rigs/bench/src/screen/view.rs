//! What there is to see of a unit while it moves or is watched, in words; the same for a screen and for plain lines.
//!
//! In: everything that an observer is shown. Out: the lines of the screen. Draws nothing and knows no terminal.

use firmware_core::calibration::Calibration;
use firmware_core::faults::LimitSet;
use firmware_core::learn::{LearnEvent, LearnOutcome, Stop};
use firmware_core::link::Source;
use firmware_core::link::state::{MotionEvent, ReleaseReason};
use firmware_core::settings::{SpringAction, StopWindows};

use super::bar::bar;
use super::place::WantedPlace;
use super::words;
use crate::procedure::{Observed, PlanPart, Target};
use crate::rig::{StreamItem, StreamSample};

/// How to stop; always on the screen.
pub(super) const HOW_TO_STOP: &str = "SPACE or Ctrl-C stops. EMERGENCY: cut the motor supply.";
/// The same where nothing is driven.
pub(super) const HOW_TO_LEAVE: &str = "SPACE or Ctrl-C leaves. A spring may still move the lever.";

/// Whose unit it is, and what is known of it before.
#[derive(Debug, Clone)]
pub(crate) struct Subject {
    /// The unit's name, or the port's.
    pub name: String,
    /// What is done to it: `learning the end stops`.
    pub doing: &'static str,
    /// Windows of the stops, where the profile is known.
    pub windows: Option<StopWindows>,
    /// What the spring does without power.
    pub spring: SpringAction,
    /// Reading at the closed and the open stop, where they are learned.
    pub stops: Option<[f32; 2]>,
    /// Whether anything may be driven.
    pub drive: MayDrive,
    /// Where it is to be set to by hand.
    pub place: Option<WantedPlace>,
}

impl Subject {
    /// A planned motion of a target.
    pub(crate) fn moved(target: &Target, doing: &'static str, calibration: Option<&Calibration>) -> Self {
        let settings = &target.profile.settings;
        Self {
            name: target.unit.clone(),
            doing,
            windows: Some(settings.learn.windows.of(target.setup, target.warmth)),
            spring: settings.actuator.spring,
            stops: calibration.map(|c| [c.closed.zero_push_counts, c.open.zero_push_counts]),
            drive: MayDrive::Yes,
            place: None,
        }
    }
}

/// Whether anything may be driven.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum MayDrive {
    /// A planned motion.
    Yes,
    /// Never: it is only looked at.
    No,
}

/// Where the drive stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum DriveState {
    /// Nothing was heard yet.
    Waiting,
    /// It drives, or may at any moment.
    On,
    /// It was asked to stop, and has not yet said that the drive is off.
    Stopping,
    /// Off, so many milliseconds after it was asked, where it was.
    Off(Option<u128>),
    /// No answer to the stop: the board lets go by itself once its lease is over.
    Unanswered,
}

/// Everything seen so far.
pub(super) struct View {
    pub(super) subject: Subject,
    pub(super) drive: DriveState,
    pub(super) part: Option<PlanPart>,
    pub(super) newest: Option<StreamSample>,
    phase: String,
    pub(super) touches: [u8; 2],
    /// Reading of the last touch at each stop.
    pub(super) touched: [Option<f32>; 2],
    pub(super) limits: LimitSet,
    pub(super) lost_ticks: u64,
}

impl View {
    pub(super) fn new(subject: Subject) -> Self {
        let touched = subject.stops.map_or([None; 2], |stops| stops.map(Some));
        let phase = subject.doing.to_owned();
        Self {
            subject,
            drive: DriveState::Waiting,
            part: None,
            newest: None,
            phase,
            touches: [0; 2],
            touched,
            limits: LimitSet::NONE,
            lost_ticks: 0,
        }
    }

    /// Takes one thing in; gives a line that is worth telling where there is no screen.
    pub(super) fn see(&mut self, observed: Observed<'_>) -> Option<String> {
        match observed {
            Observed::Begins(part) => {
                self.part = Some(part);
                None
            }
            Observed::LetGo(Ok(())) => {
                self.drive = DriveState::Off(None);
                Some("drive off".to_owned())
            }
            Observed::LetGo(Err(_)) => {
                self.drive = DriveState::Unanswered;
                Some(self.state())
            }
            Observed::Item(item) => self.item(item),
        }
    }

    fn item(&mut self, item: &StreamItem) -> Option<String> {
        match item {
            StreamItem::Sample(sample) => {
                self.sample(sample);
                self.line_of_the_second(sample)
            }
            StreamItem::Gap { ticks, .. } => {
                self.lost_ticks += u64::from(*ticks);
                None
            }
            StreamItem::Released { reason, .. } => {
                self.drive = DriveState::Off(None);
                // Between two parts of a plan the drive rests by itself.
                let goes_on = self.part.is_some_and(|part| part.before + part.ticks < part.planned);
                let ends = *reason != ReleaseReason::MotionEnded || !goes_on;
                ends.then(|| format!("drive off: {}", words::why_released(*reason)))
            }
            StreamItem::Learn { event, .. } => self.learn(event),
            StreamItem::Motion { event: MotionEvent::Segment(_), .. }
            | StreamItem::Motion { event: MotionEvent::Ended, .. }
            | StreamItem::State { .. }
            | StreamItem::LostEvents { .. }
            | StreamItem::Stored { .. } => None,
        }
    }

    fn sample(&mut self, sample: &StreamSample) {
        self.newest = Some(*sample);
        if sample.state.source != Source::Released {
            self.limits = self.limits.union(sample.limits);
        }
        if !matches!(self.drive, DriveState::Stopping | DriveState::Unanswered) {
            self.drive = match sample.state.source {
                Source::Released => DriveState::Off(None),
                Source::Engine | Source::Motion | Source::Learn | Source::Probe => DriveState::On,
            };
        }
    }

    /// What is only watched is told once a second where there is no screen.
    fn line_of_the_second(&self, sample: &StreamSample) -> Option<String> {
        const SECOND: u32 = 1000;
        let is_due = self.subject.drive == MayDrive::No && sample.tick.0.is_multiple_of(SECOND);
        is_due.then(|| {
            let told = ["position", "current", "supply", "housing", "faults", "to go"];
            let rows = self.rows().into_iter().filter(|row| told.contains(&row.name));
            rows.map(|row| format!("{} {}", row.name, row.value)).collect::<Vec<_>>().join("; ")
        })
    }

    fn learn(&mut self, event: &LearnEvent) -> Option<String> {
        match event {
            LearnEvent::Phase(phase) => self.phase = words::in_words(*phase),
            LearnEvent::Touch(touch) => {
                let stop = index(touch.stop);
                self.touches[stop] = touch.number;
                self.touched[stop] = Some(touch.zero_push_counts);
                return Some(format!(
                    "{} stop, touch {}: {:.1} counts",
                    touch.stop, touch.number, touch.zero_push_counts
                ));
            }
            LearnEvent::Outcome(outcome) => {
                self.phase = match outcome {
                    LearnOutcome::Accepted(_) => "both stops found and accepted",
                    LearnOutcome::NotProven { .. } => "both stops found, not proven",
                    LearnOutcome::Refused(_) => "refused",
                }
                .to_owned();
            }
        }
        Some(self.phase.clone())
    }

    /// One line that says where the drive stands; understood without colour.
    pub(super) fn state(&self) -> String {
        match self.drive {
            DriveState::Waiting => "WAITING for the first sample".to_owned(),
            DriveState::On => "DRIVE ON: the lever moves without warning".to_owned(),
            DriveState::Stopping => "STOPPING: drive not yet off".to_owned(),
            DriveState::Off(None) => "DRIVE OFF".to_owned(),
            DriveState::Off(Some(ms)) => format!("DRIVE OFF, {ms} ms after the key"),
            DriveState::Unanswered => "NO ANSWER to the stop: cut the motor supply".to_owned(),
        }
    }

    /// What goes on, in words.
    pub(super) fn phase(&self) -> &str {
        &self.phase
    }

    /// How to stop, or how to leave.
    pub(super) fn how_to_stop(&self) -> &'static str {
        match self.subject.drive {
            MayDrive::Yes => HOW_TO_STOP,
            MayDrive::No => HOW_TO_LEAVE,
        }
    }

    /// The drive went off after a key, so many milliseconds later.
    pub(super) fn stopped(&mut self, after_ms: u128) {
        self.drive = DriveState::Off(Some(after_ms));
        self.phase = "stopped by a key".to_owned();
        self.part = None;
    }

    /// The bar, where the windows of the stops are known.
    pub(super) fn bar(&self, width: usize) -> Option<String> {
        let windows = self.subject.windows?;
        let lever = self.newest.as_ref().map(|sample| f32::from(sample.point.position().0));
        Some(bar(windows, self.touched, lever, width))
    }
}

fn index(stop: Stop) -> usize {
    match stop {
        Stop::Closed => 0,
        Stop::Open => 1,
    }
}
