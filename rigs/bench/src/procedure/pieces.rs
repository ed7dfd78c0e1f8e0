//! What each kind of motion is made of: pieces of segments, how often each goes, what of them must not be lost.
//!
//! In: a profile's plan. Out: the pieces that the board runs one after the other, and the conditions for the record.

use std::iter;
use std::ops::Range;

use firmware_core::motion::Segment;
use firmware_core::units::Tick;

use super::motions::{
    decisive, friction_ramps, full_stroke, reversal_ramps, slow_ramps, slow_reversal, staircase, steps,
};
use super::recording::Recording;
use super::target::Target;
use crate::profile::REVERSAL_HOLE;
use crate::record::{Conditions, RunKind};
use crate::span::Span;

/// Which motion.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MoveKind {
    /// Closed-loop staircase, up and down.
    Sweep,
    /// Slow open-loop duty ramps.
    Friction,
    /// Steps of several sizes, both directions.
    Step,
}

/// One motion profile and how often it runs.
pub(super) struct Piece {
    pub(super) segments: Vec<Segment>,
    pub(super) times: u32,
    decisive: Decisive,
}

/// What is lost that is worth another go, in ticks from the start.
#[derive(Clone)]
enum Decisive {
    /// Averages bear a hole.
    Nothing,
    /// Any tick of these.
    AnyOf([Range<u32>; 2]),
    /// A hole longer than a figure bears in these.
    LongIn(Range<u32>),
    /// A hole in these over which the lever has moved.
    MovedIn(Range<u32>),
}

impl Piece {
    pub(super) fn once(segments: Vec<Segment>) -> Self {
        Self::repeated(segments, 1)
    }

    pub(super) fn repeated(segments: Vec<Segment>, times: u32) -> Self {
        Self { segments, times, decisive: Decisive::Nothing }
    }

    /// True when the record lacks ticks that decide.
    pub(super) fn is_holed(&self, recording: &Recording<'_>, start: Tick) -> bool {
        let span =
            |ticks: &Range<u32>| Span { first: start.after(ticks.start), last: start.after(ticks.end) };
        match &self.decisive {
            Decisive::Nothing => false,
            Decisive::AnyOf(stretches) => stretches.iter().any(|ticks| recording.lacks(span(ticks))),
            Decisive::LongIn(ticks) => recording.lacks_long(span(ticks), REVERSAL_HOLE),
            Decisive::MovedIn(ticks) => recording.lacks_motion(span(ticks)),
        }
    }
}

impl MoveKind {
    pub(super) fn run_kind(self) -> RunKind {
        match self {
            Self::Sweep => RunKind::Sweep,
            Self::Friction => RunKind::Friction,
            Self::Step => RunKind::Step,
        }
    }

    pub(super) fn pieces(self, target: &Target) -> Vec<Piece> {
        let plan = &target.profile.plan;
        match self {
            Self::Sweep => {
                let times = plan.sweep.preconditioning_cycles + plan.sweep.cycles;
                let decisive = Decisive::LongIn(reversal_ramps());
                let piece = |segments| Piece { decisive: decisive.clone(), ..Piece::once(segments) };
                let turns = plan.sweep.reversals.iter().map(|place| piece(slow_reversal(*place)));
                iter::once(Piece::repeated(staircase(&plan.sweep), times)).chain(turns).collect()
            }
            Self::Friction => {
                let decisive = Decisive::MovedIn(slow_ramps(&plan.friction));
                let ramps = Piece::repeated(friction_ramps(&plan.friction), plan.friction.cycles);
                vec![Piece { decisive, ..ramps }]
            }
            Self::Step => {
                let sizes = plan.step.sizes_percent.iter().map(|size| steps(&plan.step, *size));
                let stroke = iter::once(full_stroke(&plan.step, &plan.sweep));
                let decisive = Decisive::AnyOf(decisive(&plan.step));
                let piece = |segments| Piece { decisive: decisive.clone(), ..Piece::once(segments) };
                sizes.chain(stroke).map(piece).collect()
            }
        }
    }

    /// What goes on, in words.
    #[must_use]
    pub fn doing(self) -> &'static str {
        match self {
            Self::Sweep => "staircase up and down, then slow reversals",
            Self::Friction => "slow ramps that show friction",
            Self::Step => "steps of several sizes and full strokes",
        }
    }

    pub(super) fn conditions(self, target: &Target) -> Conditions {
        let plan = &target.profile.plan;
        let mut conditions = Conditions::new();
        let mut note = |name: &str, value: String| conditions.insert(name.to_owned(), value);
        note("sample_rate", "1000 1/s".into());
        match self {
            Self::Sweep => {
                note("loop", "closed, on the unit's own sensor".into());
                note("range", format!("opening {} to {}", plan.sweep.lowest, plan.sweep.highest));
                note("points", plan.sweep.points.to_string());
                note("cycles", plan.sweep.cycles.to_string());
                note(
                    "preconditioning",
                    format!("first {} of the cycles run, not measured", plan.sweep.preconditioning_cycles),
                );
                note(
                    "dwell",
                    format!("{} ms, last {} ms averaged", plan.sweep.dwell_ticks, plan.sweep.average_ticks),
                );
                note("slow_reversals", format!("at opening {}", listed(&plan.sweep.reversals)));
            }
            Self::Friction => {
                note("loop", "open, duty ramp".into());
                note(
                    "range",
                    format!("duty {} to {}", plan.friction.closing_duty, plan.friction.opening_duty),
                );
                note("ramp", format!("{} ms each way", plan.friction.ramp_ticks));
                note("ends_excluded", format!("opening {} at each end", plan.friction.end_excluded));
            }
            Self::Step => {
                note("loop", "closed, on the unit's own sensor".into());
                note("sizes", format!("{} % of travel, both directions", listed(&plan.step.sizes_percent)));
                note("centre", format!("opening {}", plan.step.centre));
                note("hold", format!("{} ms", plan.step.hold_ticks));
                note("stroke", format!("opening {} to {}", plan.sweep.lowest, plan.sweep.highest));
            }
        }
        conditions
    }
}

fn listed(sizes: &[f64]) -> String {
    sizes.iter().map(f64::to_string).collect::<Vec<_>>().join(", ")
}
