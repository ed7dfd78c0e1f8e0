//! Sweep, friction ramps and steps: motions that the board runs while the bench records.

use std::path::PathBuf;

use firmware_core::link::state::{MotionEvent, Release, ReleaseReason, Source};
use firmware_core::motion::Footing;
use firmware_core::settings::Settings;
use firmware_core::units::Tick;

use super::bench::Bench;
use super::doubt::UnsaidEnd;
use super::ended::{LastPush, UnitEnd, ending};
use super::look::Look;
use super::motions::{STROKE_HOLD_TICKS, STROKE_RAMP_TICKS, STROKES_A_MOTION, duration};
use super::observer::{Observed, Observer, PlanPart};
use super::pieces::{MoveKind, Piece};
use super::recording::{NewRun, Recording};
use super::stop::RunStop;
use super::strokes::{self, CyclePlan, StrokeWatch};
use super::target::Target;
use crate::caution::Present;
use crate::console;
use crate::record::{
    Conditions, Ground, MOTION_ENDED, Run, RunKind, RunResult, STROKES_BEFORE, STROKES_WANTED,
};
use crate::rig::{Measurand, StreamItem};
use crate::unit_store::{self, InForce};

/// Rig time beyond a motion's own length before it counts as overdue, ticks: the board takes up to 3000 to let the
/// push down.
const OVERDUE_TICKS: u32 = 5000;

/// Goes beyond the planned one where the line lost what decides: at 1 % loss one
/// go in four lacks something.
const MORE_GOES: u32 = 2;

/// What a motion in openings stands on.
#[derive(Debug, Clone, PartialEq)]
pub enum Basis {
    /// An accepted calibration.
    Accepted(Box<InForce>),
    /// One that is not proven or suspended, with a person beside the unit.
    Unproven(Box<InForce>, Present),
}

impl Basis {
    /// The calibration.
    #[must_use]
    pub fn in_force(&self) -> &InForce {
        match self {
            Self::Accepted(in_force) | Self::Unproven(in_force, _) => in_force,
        }
    }

    fn footing(&self) -> Footing {
        match self {
            Self::Accepted(_) => Footing::Accepted,
            Self::Unproven(..) => Footing::Unproven,
        }
    }

    /// How it stands in the run's record.
    fn ground(&self) -> Ground {
        let learn = self.in_force().run.to_string();
        match self {
            Self::Accepted(_) => Ground::Accepted { learn },
            Self::Unproven(in_force, present) => {
                let standing = unit_store::stands_briefly(in_force.held.standing);
                Ground::Unproven { learn, standing, present: present.clone() }
            }
        }
    }
}

/// Runs one kind of motion on the unit and records it.
///
/// # Errors
/// [`RunStop`] says what cut it short; the record is kept, marked incomplete.
pub fn record_move(
    bench: &mut Bench,
    target: &Target,
    kind: MoveKind,
    basis: &Basis,
    observer: &mut dyn Observer,
) -> Result<PathBuf, RunStop> {
    let moved =
        NewMove { kind: kind.run_kind(), conditions: kind.conditions(target), pieces: kind.pieces(target) };
    record_pieces(bench, target, moved, basis, observer, |_| ())
}

/// Runs the strokes of an endurance that are still to be done and records them: a summary each, some whole.
///
/// # Errors
/// [`RunStop`] says what cut it short, or which limit was passed; what was recorded is kept and counts.
pub(crate) fn record_cycle(
    bench: &mut Bench,
    target: &Target,
    plan: CyclePlan,
    in_force: &InForce,
    observer: &mut dyn Observer,
) -> Result<PathBuf, RunStop> {
    bench.must_measure("an endurance", &[Measurand::MotorCurrent])?;
    let left = plan.wanted.saturating_sub(plan.before);
    let (motions, rest) = (left / STROKES_A_MOTION, left % STROKES_A_MOTION);
    let of = |many, times| Piece::repeated(strokes::segments(target, many), times);
    let whole = (motions > 0).then(|| of(STROKES_A_MOTION, motions));
    let pieces = whole.into_iter().chain((rest > 0).then(|| of(rest, 1))).collect();
    let moved = NewMove { kind: RunKind::Cycle, conditions: cycle_conditions(target, plan), pieces };
    let calibration = in_force.held.calibration;
    let basis = Basis::Accepted(Box::new(in_force.clone()));
    record_pieces(bench, target, moved, &basis, observer, |recording| {
        recording.sum_up(StrokeWatch::new(target, calibration, plan));
    })
}

fn cycle_conditions(target: &Target, plan: CyclePlan) -> Conditions {
    let sweep = &target.profile.plan.sweep;
    [
        ("loop", "closed, on the unit's own sensor".to_owned()),
        ("range", format!("opening {} to {} and back", sweep.lowest, sweep.highest)),
        ("stroke", format!("{STROKE_RAMP_TICKS} ms each way, {STROKE_HOLD_TICKS} ms rest at each end")),
        ("kept_whole", format!("the first stroke and every {}th; a summary of each", plan.keep_every)),
        (STROKES_WANTED, plan.wanted.to_string()),
        (STROKES_BEFORE, plan.before.to_string()),
    ]
    .map(|(name, value)| (name.to_owned(), value))
    .into()
}

/// A motion to be recorded.
struct NewMove {
    kind: RunKind,
    conditions: Conditions,
    pieces: Vec<Piece>,
}

fn record_pieces(
    bench: &mut Bench,
    target: &Target,
    moved: NewMove,
    basis: &Basis,
    observer: &mut dyn Observer,
    prepare: impl FnOnce(&mut Recording<'_>),
) -> Result<PathBuf, RunStop> {
    bench.must_measure("a motion", &[Measurand::Position])?;
    bench.be_ready(target)?;
    let held = basis.in_force().held;
    bench.rig.set_calibration(held)?;
    let calibration = Some(held.calibration);
    let serials = target.serials.or(&basis.in_force().provenance.serials);
    let learn = Run::open(&target.unit_dir.join(basis.in_force().run.to_string())).ok();
    let NewMove { kind, conditions, pieces } = moved;
    let run = NewRun { kind, calibration, conditions, serials };
    let mut recording = Recording::create(target, bench, run, observer)?;
    recording.look_on(Look::at_learned(&target.profile.settings, &held.calibration, learn.as_ref()));
    let ground = Some(basis.ground());
    recording.writer.outcome(RunResult { calibration, ground, ..RunResult::default() });
    prepare(&mut recording);
    let ended = run_pieces(bench, target, &mut recording, &pieces, basis.footing());
    recording.close(bench, ended).map(|((), dir)| dir)
}

pub(super) fn run_pieces(
    bench: &mut Bench,
    target: &Target,
    recording: &mut Recording<'_>,
    pieces: &[Piece],
    footing: Footing,
) -> Result<(), RunStop> {
    let planned = pieces.iter().map(|piece| piece.times * duration(&piece.segments)).sum();
    let mut before = 0;
    for piece in pieces {
        bench.rig.load_motion(&piece.segments)?;
        let mut goes = piece.times;
        let most = piece.times + MORE_GOES;
        let mut gone = 0;
        while gone < goes {
            gone += 1;
            let start = bench.rig.start_motion(target.setup, target.warmth, footing)?;
            let length = duration(&piece.segments);
            recording.see(Observed::Begins(PlanPart { start, ticks: length, before, planned }))?;
            let motion = Running { start, length, footing, settings: &target.profile.settings };
            until_motion_ends(bench, recording, motion)?;
            if piece.is_holed(recording, start) && goes < most {
                console::say("decisive samples were lost: this motion is repeated");
                goes += 1;
            } else {
                before += length;
            }
        }
    }
    Ok(())
}

/// A motion that was started.
#[derive(Clone, Copy)]
struct Running<'target> {
    start: Tick,
    length: u32,
    footing: Footing,
    settings: &'target Settings,
}

impl Running<'_> {
    /// The tick up to which the record goes, after a release that `end` may have announced; or the end that the unit,
    /// the board or the rig put to it.
    fn released(
        self,
        recording: &mut Recording<'_>,
        release: Release,
        push: Option<LastPush>,
        end: Option<Tick>,
    ) -> Result<Tick, RunStop> {
        let Release { tick, reason, position } = release;
        match (reason, self.footing) {
            (ReleaseReason::MotionEnded, _) => {
                if end.is_none() {
                    recording.note(tick, MOTION_ENDED)?;
                }
                Ok(self.start.after(self.length))
            }
            // That the lever does not move is what a diagnostic ramp is there to show; the next one may move it.
            (ReleaseReason::NoMotion, Footing::Diagnostic) => Ok(tick),
            (reason, _) => Err(match ending(reason) {
                Some(why) => {
                    let opening = recording.opening(position);
                    RunStop::EndedByUnit(UnitEnd::new(why, (tick, position), opening, push, self.settings))
                }
                None => RunStop::released(reason),
            }),
        }
    }
}

fn until_motion_ends(
    bench: &mut Bench,
    recording: &mut Recording<'_>,
    motion: Running<'_>,
) -> Result<(), RunStop> {
    let Running { start, length, .. } = motion;
    let planned_end = start.after(length);
    let limit_ms = length.saturating_add(OVERDUE_TICKS);
    let due = start.after(limit_ms);
    let mut doubt = UnsaidEnd::new(start, Source::Motion);
    let mut push = None;
    let mut end = None;
    loop {
        match recording.next(bench)? {
            StreamItem::Motion { event: MotionEvent::Ended, .. } => end = Some(planned_end),
            StreamItem::Released { tick, reason, position } => {
                end = Some(motion.released(recording, Release { tick, reason, position }, push, end)?);
            }
            StreamItem::Sample(sample) => {
                push = LastPush::of(&sample).or(push);
                if end.is_none() && doubt.is_due(&sample) {
                    let released = bench.rig.last_release()?;
                    end = Some(motion.released(recording, released, push, end)?);
                }
                // Past its end the board lets the push down; the next motion must wait for that. The batch that holds
                // the motion's last tick comes after the word that it ended.
                let is_released = sample.state.source == Source::Released;
                if is_released && end.is_some_and(|end| sample.tick.has_reached(end)) {
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
