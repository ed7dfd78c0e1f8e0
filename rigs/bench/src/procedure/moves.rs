//! Sweep, friction ramps and steps: motions that the board runs while the bench records.

use std::iter;
use std::ops::Range;
use std::path::PathBuf;

use firmware_core::held::{Held, Origin, OriginTag, Standing};
use firmware_core::link::Source;
use firmware_core::link::state::{MotionEvent, ReleaseReason};
use firmware_core::motion::{Footing, Segment};
use firmware_core::units::Tick;

use super::bench::Bench;
use super::doubt::Doubt;
use super::motions::{decisive, duration, friction_ramps, full_stroke, slow_reversal, staircase, steps};
use super::recording::Recording;
use super::stop::RunStop;
use super::target::Target;
use crate::client::StreamItem;
use crate::console;
use crate::record::{Conditions, MOTION_ENDED, Outcome, RunKind};
use crate::span::Span;
use crate::unit_store::Known;

/// Rig time beyond a motion's own length before it counts as overdue, ticks.
const OVERDUE_TICKS: u32 = 3000;

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
struct Piece {
    segments: Vec<Segment>,
    times: u32,
    /// Ticks from the start whose loss is worth another go; none where averages bear a hole.
    decisive: Vec<Range<u32>>,
}

/// Goes beyond the planned one where the line lost what decides: at 1 % loss three out of four steps are whole.
const MORE_GOES: u32 = 2;

impl Piece {
    fn once(segments: Vec<Segment>) -> Self {
        Self::repeated(segments, 1)
    }

    fn repeated(segments: Vec<Segment>, times: u32) -> Self {
        Self { segments, times, decisive: Vec::new() }
    }

    /// True when the record lacks ticks that decide.
    fn is_holed(&self, recording: &Recording, start: Tick) -> bool {
        self.decisive.iter().any(|ticks| {
            recording.lacks(Span { first: start.after(ticks.start), last: start.after(ticks.end) })
        })
    }
}

impl MoveKind {
    fn run_kind(self) -> RunKind {
        match self {
            Self::Sweep => RunKind::Sweep,
            Self::Friction => RunKind::Friction,
            Self::Step => RunKind::Step,
        }
    }

    fn pieces(self, target: &Target) -> Vec<Piece> {
        let plan = &target.profile.plan;
        match self {
            Self::Sweep => {
                let times = plan.sweep.preconditioning_cycles + plan.sweep.cycles;
                let turns = plan.sweep.reversals.iter().map(|place| Piece::once(slow_reversal(*place)));
                iter::once(Piece::repeated(staircase(&plan.sweep), times)).chain(turns).collect()
            }
            Self::Friction => {
                vec![Piece::repeated(friction_ramps(&plan.friction), plan.friction.cycles)]
            }
            Self::Step => {
                let sizes = plan.step.sizes_percent.iter().map(|size| steps(&plan.step, *size));
                let stroke = iter::once(full_stroke(&plan.step, &plan.sweep));
                let decisive = decisive(&plan.step).to_vec();
                let piece = |segments| Piece { decisive: decisive.clone(), ..Piece::once(segments) };
                sizes.chain(stroke).map(piece).collect()
            }
        }
    }

    fn conditions(self, target: &Target) -> Conditions {
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

/// Runs one kind of motion on the unit and records it.
///
/// # Errors
/// [`RunStop`] says what cut it short; the record is kept, marked incomplete.
pub fn record_move(
    bench: &mut Bench,
    target: &Target,
    kind: MoveKind,
    known: Known,
    progress: &dyn Fn(f64),
) -> Result<PathBuf, RunStop> {
    let Known { calibration, unproven } = known;
    bench.be_ready(target)?;
    let origin =
        Origin { tag: OriginTag::default(), settings: target.profile.settings.hash(), tick: Tick(0) };
    bench.client.set_calibration(Held::of_full_learn(calibration, Standing::of_open(unproven), origin))?;
    let conditions = kind.conditions(target);
    let mut recording = Recording::create(target, bench, kind.run_kind(), Some(calibration), conditions)?;
    recording.writer.outcome(Outcome { calibration: Some(calibration), ..Outcome::default() });
    let ended = run_pieces(bench, target, &mut recording, &kind.pieces(target), progress);
    recording.close(bench, ended).map(|((), dir)| dir)
}

fn run_pieces(
    bench: &mut Bench,
    target: &Target,
    recording: &mut Recording,
    pieces: &[Piece],
    progress: &dyn Fn(f64),
) -> Result<(), RunStop> {
    let total: u32 = pieces.iter().map(|piece| piece.times * duration(&piece.segments)).sum();
    let mut done = 0_u32;
    for piece in pieces {
        bench.client.load_motion(&piece.segments)?;
        let mut goes = piece.times;
        let most = piece.times + MORE_GOES;
        let mut gone = 0;
        while gone < goes {
            gone += 1;
            let start = bench.client.start_motion(target.setup, target.warmth, Footing::Accepted)?;
            let length = duration(&piece.segments);
            let advance = |now: Tick| {
                let part = f64::from(done + now.since(start).min(length));
                progress(part / f64::from(total.max(1)));
            };
            until_motion_ends(bench, recording, start, length, &advance)?;
            if piece.is_holed(recording, start) && goes < most {
                console::say("samples were lost where they decide: this motion is made once more");
                goes += 1;
            } else {
                done += length;
            }
        }
    }
    Ok(())
}

fn until_motion_ends(
    bench: &mut Bench,
    recording: &mut Recording,
    start: Tick,
    length: u32,
    advance: &dyn Fn(Tick),
) -> Result<(), RunStop> {
    let limit_ms = length.saturating_add(OVERDUE_TICKS);
    let due = start.after(limit_ms);
    let mut doubt = Doubt::new(start, Source::Motion);
    let mut ended = false;
    loop {
        match recording.next(bench)? {
            StreamItem::Motion { event: MotionEvent::Ended, .. } => ended = true,
            StreamItem::Released { tick, reason: ReleaseReason::MotionEnded, .. } => {
                if !ended {
                    recording.note(tick, MOTION_ENDED)?;
                }
                ended = true;
            }
            StreamItem::Released { reason, .. } => return Err(RunStop::released(reason)),
            StreamItem::Sample(sample) => {
                advance(sample.tick);
                if !ended && doubt.is_due(&sample) {
                    let released = bench.client.status()?.released;
                    match released.reason {
                        ReleaseReason::MotionEnded => recording.note(released.tick, MOTION_ENDED)?,
                        reason => return Err(RunStop::released(reason)),
                    }
                    ended = true;
                }
                // The batch that holds the motion's last tick comes after the word that it ended.
                if ended && sample.tick.has_reached(start.after(length)) {
                    return Ok(());
                }
            }
            StreamItem::Gap { .. }
            | StreamItem::State { .. }
            | StreamItem::Motion { .. }
            | StreamItem::Learn { .. }
            | StreamItem::LostEvents { .. }
            | StreamItem::Stored { .. } => {}
        }
        if recording.last().has_reached(due) {
            return Err(RunStop::Overdue { what: "the motion", limit_ms });
        }
    }
}
