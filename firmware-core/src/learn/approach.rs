//! Going to a stop under bounded voltage until several signs agree that the lever has met it.
//!
//! In: progress, speed and current toward the stop. Out: the voltage, and in the end a contact, with
//! the current that running needed just before it, or that the lever stands without pushing current, or
//! that it ran past the window, or the wrong way.

use heapless::Deque;

use super::plan::{Expected, LearnPlan};
use super::speed::{SpeedError, SpeedLoop};

/// Ticks without speed after which a drive that shows no pushing current is given up.
const STALL_TICKS: u16 = 1200;
/// Current must have risen by this share of the small push above running.
const RISEN: f32 = 0.6;
/// Or have reached this share of the effort limit (no running current is known).
const FULL_EFFORT: f32 = 0.6;
/// Ticks of a block over which running current is averaged.
const BLOCK_TICKS: u16 = 12;
/// Blocks remembered; the newest is left out because contact may have begun in it.
const BLOCKS: usize = 5;
/// A block counts as running when its speed is within this share of the wanted speed.
const STEADY: f32 = 0.4;

/// A block runs evenly when its speed differs by less than this share of the wanted speed from the last.
const EVEN: f32 = 0.15;

/// How an approach is driven.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ApproachPace {
    /// From afar: brisk until near the stop.
    Brisk,
    /// After backing off: soft all the way.
    Soft,
}

/// How an approach ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum ApproachEnd {
    /// Still going.
    Going,
    /// Speed gone and current risen, for long enough.
    Contact(ContactFound),
    /// Speed gone but the winding takes no pushing current.
    Standing { current: f32 },
    /// Past the window without contact.
    Missing,
    /// Moved against the drive by this much (negative), more than allowed (negative too).
    WrongWay { moved: f32, allowed: f32 },
}

/// A contact and what came before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ContactFound {
    /// Where, in progress.
    pub(super) at: f32,
    /// Current that running needed just before, where it ran.
    pub(super) running: Option<f32>,
    /// Speed just before, counts/s.
    pub(super) speed: f32,
    /// Current at the moment of belief.
    pub(super) current: f32,
}

/// One tick's readings in the direction of travel.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ahead {
    pub(super) progress: f32,
    pub(super) speed: f32,
    pub(super) current: f32,
}

/// An approach under way.
#[derive(Debug, Clone)]
pub(super) struct Approach {
    start: f32,
    pace: ApproachPace,
    farthest: f32,
    standing: u16,
    contact: u16,
    block: TickBlock,
    running: Deque<f32, BLOCKS>,
    recent_speed: f32,
    known: Option<f32>,
    before: TickBlock,
    even: Option<f32>,
}

#[derive(Debug, Clone, Copy, Default)]
struct TickBlock {
    ticks: u16,
    current: f32,
    speed: f32,
    wanted: f32,
}

impl Approach {
    /// Begins at a progress; `known` is the running current of an earlier approach to the same stop.
    pub(super) fn new(start: f32, pace: ApproachPace, known: Option<f32>) -> Self {
        Self {
            start,
            pace,
            farthest: start,
            standing: 0,
            contact: 0,
            block: TickBlock::default(),
            running: Deque::new(),
            recent_speed: 0.0,
            known,
            before: TickBlock::default(),
            even: None,
        }
    }

    /// How far the lever has gone since the approach began.
    pub(super) fn moved(&self, heading: Ahead) -> f32 {
        heading.progress - self.start
    }

    /// One tick: the voltage toward the stop and how far things are.
    pub(super) fn tick(
        &mut self,
        plan: &LearnPlan,
        expected: &Expected,
        drive: &mut SpeedLoop,
        heading: Ahead,
    ) -> (f32, ApproachEnd) {
        let wanted = match self.pace {
            ApproachPace::Soft => plan.soft_speed,
            ApproachPace::Brisk => plan.speed_at(expected, heading.progress),
        };
        let volts = drive.tick(SpeedError {
            wanted,
            seen: heading.speed,
            back_emf: plan.actuator.back_emf_v_per_count_per_s,
            trim_gain: plan.trim_gain,
            trim_limit: plan.trim_limit,
        });
        self.gather(heading, wanted);
        (volts, self.arrival(plan, expected, heading))
    }

    fn arrival(&mut self, plan: &LearnPlan, expected: &Expected, heading: Ahead) -> ApproachEnd {
        let moved = heading.progress - self.start;
        let allowed = match self.pace {
            ApproachPace::Brisk => -plan.wrong_way,
            ApproachPace::Soft => -plan.run_out,
        };
        if moved < allowed {
            return ApproachEnd::WrongWay { moved, allowed };
        }
        if heading.progress > expected.missing_after {
            return ApproachEnd::Missing;
        }
        let running = self.running_current();
        let risen = match running {
            Some(running) => heading.current > running + RISEN * plan.learn.motion.small_push.0,
            None => heading.current > FULL_EFFORT * plan.learn.motion.approach_current.0,
        };
        self.stand(heading.progress, plan.standing_band);
        self.contact = if risen { self.contact.saturating_add(1) } else { 0 };
        if self.contact >= plan.contact_ticks && self.standing >= plan.contact_ticks {
            return ApproachEnd::Contact(ContactFound {
                at: heading.progress,
                running,
                speed: self.recent_speed,
                current: heading.current,
            });
        }
        if self.standing >= STALL_TICKS {
            ApproachEnd::Standing { current: heading.current }
        } else {
            ApproachEnd::Going
        }
    }

    /// Counts the ticks in which the lever gained no more than `band`, either way.
    fn stand(&mut self, progress: f32, band: f32) {
        if libm::fabsf(progress - self.farthest) > band {
            self.farthest = progress;
            self.standing = 0;
        } else {
            self.standing = self.standing.saturating_add(1);
        }
    }

    /// Mean current of the remembered running blocks, the newest left out; else what was known before,
    /// else the current of running evenly at another speed than wanted: friction hardly depends on it.
    fn running_current(&self) -> Option<f32> {
        let older = self.running.len().saturating_sub(1);
        let mut sum = 0.0;
        let mut count = 0.0;
        for current in self.running.iter().take(older) {
            sum += current;
            count += 1.0;
        }
        if count > 0.0 { Some(sum / count) } else { self.known.or(self.even) }
    }

    fn gather(&mut self, heading: Ahead, wanted: f32) {
        self.block.ticks = self.block.ticks.saturating_add(1);
        self.block.current += heading.current;
        self.block.speed += heading.speed;
        self.block.wanted += wanted;
        if self.block.ticks < BLOCK_TICKS {
            return;
        }
        let block = core::mem::take(&mut self.block);
        let change = libm::fabsf(block.speed - self.before.speed);
        if change < EVEN * block.wanted && block.speed > STEADY * block.wanted {
            self.even = Some(block.current / f32::from(BLOCK_TICKS));
        }
        self.before = block;
        if libm::fabsf(block.speed - block.wanted) < STEADY * block.wanted {
            self.recent_speed = block.speed / f32::from(BLOCK_TICKS);
            if self.running.is_full() {
                let _ = self.running.pop_front();
            }
            // There is room: one was taken out when it was full.
            let _ = self.running.push_back(block.current / f32::from(BLOCK_TICKS));
        }
    }
}
