//! Going to a stop under bounded voltage until several signs agree that the lever has met it.
//!
//! In: progress, speed and current toward the stop. Out: the voltage, and in the end a contact, with
//! the current that running needed just before it, or that the lever stands without pushing current, or
//! that it ran past the window, or the wrong way.

use heapless::Deque;

use super::place::ContactPlace;
use super::plan::{Expected, LearnPlan};
use super::speed::{SpeedError, SpeedLoop};
use crate::units::larger;

/// Ticks of a block over which running current is averaged.
const BLOCK_TICKS: u16 = 12;
/// Ticks past the window after which the stop is missing.
const PAST_TICKS: u8 = 20;
/// Share of the way backed off up to which there can be no stop: less than all of it, for what pushed the lever into it.
const BEEN: f32 = 0.5;
/// Blocks remembered; the newest is left out because contact may have begun in it.
const BLOCKS: usize = 5;
/// A block counts as running when its speed is within this share of the wanted speed.
const STEADY: f32 = 0.4;

/// A block runs evenly when its speed differs by less than this share of the wanted speed from the last.
const EVEN: f32 = 0.15;

/// How an approach is driven.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum ApproachPace {
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

/// The running current, A, where the lever has not run at the wanted speed.
#[derive(Debug, Clone, Copy)]
enum Fallback {
    Nothing,
    /// Of an earlier approach to the same stop.
    Known(f32),
    /// Of running evenly at another speed.
    Even(f32),
}

/// An approach under way.
#[derive(Debug, Clone)]
pub(super) struct Approach {
    start: f32,
    /// How far the lever was backed off before: it may still run away from the stop.
    backed: f32,
    /// Progress before which the lever has been.
    been_until: f32,
    farthest: f32,
    pace: ApproachPace,
    past: u8,
    standing: u16,
    contact: u16,
    block: TickBlock,
    running: Deque<f32, BLOCKS>,
    recent_speed: f32,
    fallback: Fallback,
    before: TickBlock,
}

#[derive(Debug, Clone, Copy, Default)]
struct TickBlock {
    ticks: u16,
    current: f32,
    speed: f32,
    wanted: f32,
}

impl Approach {
    /// From afar, at a progress; `known` is the running current of an earlier approach to the same stop.
    pub(super) fn brisk(start: f32, known: Option<f32>) -> Self {
        Self {
            start,
            backed: 0.0,
            been_until: f32::NEG_INFINITY,
            farthest: start,
            pace: ApproachPace::Brisk,
            past: 0,
            standing: 0,
            contact: 0,
            block: TickBlock::default(),
            running: Deque::new(),
            recent_speed: 0.0,
            fallback: known.map_or(Fallback::Nothing, Fallback::Known),
            before: TickBlock::default(),
        }
    }

    /// After backing off by so many counts.
    pub(super) fn soft(start: f32, backed: f32, known: Option<f32>) -> Self {
        let pace = ApproachPace::Soft;
        Self { pace, backed, been_until: start + BEEN * backed, ..Self::brisk(start, known) }
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
        let allowed = -(plan.wrong_way + self.backed);
        if moved < allowed {
            return ApproachEnd::WrongWay { moved, allowed };
        }
        // A stop that yields is hit a little past its window for a moment.
        self.past = if heading.progress > expected.missing_after { self.past.saturating_add(1) } else { 0 };
        if self.past >= PAST_TICKS {
            return ApproachEnd::Missing;
        }
        self.stand(heading.progress, plan.standing_band);
        self.been_until = larger(self.been_until, heading.progress - plan.motion);
        let place = self.place(plan, heading.progress);
        if place == ContactPlace::Been && self.standing >= plan.contact_ticks {
            self.forget_running();
        }
        let (running, needed) = (self.running_current(), place.contact_ticks(plan));
        let risen = heading.current > place.pushing_current(plan, running);
        self.contact = if risen { self.contact.saturating_add(1) } else { 0 };
        if self.contact >= needed && self.standing >= plan.contact_ticks {
            return ApproachEnd::Contact(ContactFound {
                at: heading.progress,
                running,
                speed: self.recent_speed,
                current: heading.current,
            });
        }
        if self.standing >= plan.stall_ticks() {
            ApproachEnd::Standing { current: heading.current }
        } else {
            ApproachEnd::Going
        }
    }

    /// What a lever here may have met.
    fn place(&self, plan: &LearnPlan, progress: f32) -> ContactPlace {
        let has_run = self.running_current().is_some() || progress > self.start + plan.motion;
        if has_run && progress >= self.been_until { ContactPlace::New } else { ContactPlace::Been }
    }

    /// A lever that stands before its stop had not run: it swung back from where it was let go.
    fn forget_running(&mut self) {
        self.running.clear();
        if let Fallback::Even(_) = self.fallback {
            self.fallback = Fallback::Nothing;
        }
    }

    fn ran_evenly(&mut self, current: f32) {
        match self.fallback {
            Fallback::Known(_) => {}
            Fallback::Nothing | Fallback::Even(_) => self.fallback = Fallback::Even(current),
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
        if count > 0.0 {
            return Some(sum / count);
        }
        match self.fallback {
            Fallback::Known(current) | Fallback::Even(current) => Some(current),
            Fallback::Nothing => None,
        }
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
            self.ran_evenly(block.current / f32::from(BLOCK_TICKS));
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::{Setup, Warmth};
    use crate::learn::{CheckSet, LearnOrder, Stop};
    use crate::settings::Settings;

    /// An approach to the open stop from 0.1 of travel before its window, on the settings of bench actuator A.
    struct Bench {
        plan: LearnPlan,
        approach: Approach,
        drive: SpeedLoop,
        progress: f32,
    }

    impl Bench {
        fn new(backed: f32) -> Self {
            let order = LearnOrder::full(Setup::Attached, Warmth::Cold, CheckSet::ALL);
            let plan = LearnPlan::new(&Settings::default(), order);
            let progress = plan.expected(Stop::Open).obstructed_before - 0.05 * plan.travel;
            let approach = match backed > 0.0 {
                true => Approach::soft(progress, backed * plan.travel, None),
                false => Approach::brisk(progress, None),
            };
            Self { plan, approach, drive: SpeedLoop::default(), progress }
        }

        /// Ticks at a speed, travel/s, and a current, A; the ticks until something is found, and what.
        fn go(&mut self, ticks: u16, speed: f32, current: f32) -> Option<(u16, ApproachEnd)> {
            let expected = *self.plan.expected(Stop::Open);
            let speed = speed * self.plan.travel;
            for tick in 0..ticks {
                self.progress += speed / 1000.0;
                let heading = Ahead { progress: self.progress, speed, current };
                let (_, end) = self.approach.tick(&self.plan, &expected, &mut self.drive, heading);
                if end != ApproachEnd::Going {
                    return Some((tick, end));
                }
            }
            None
        }

        fn contact(&mut self, ticks: u16, current: f32) -> Option<(u16, Option<f32>)> {
            match self.go(ticks, 0.0, current)? {
                (tick, ApproachEnd::Contact(found)) => Some((tick, found.running)),
                (tick, end) => panic!("{tick}: {end:?}"),
            }
        }
    }

    /// As bench actuator A backs off, travel; 0 is from afar.
    const BACKED: f32 = 0.03;

    #[test]
    fn a_lever_that_ran_is_in_contact_after_twenty_ticks_above_its_running_current() {
        let mut bench = Bench::new(0.0);
        assert_eq!(bench.go(80, 1.0, 0.3), None);
        // 0.3 A running + 0.6 × 0.5 A small push.
        assert_eq!(bench.contact(60, 0.59), None);
        let mut bench = Bench::new(0.0);
        assert_eq!(bench.go(80, 1.0, 0.3), None);
        let (ticks, running) = bench.contact(60, 0.61).expect("a contact");
        assert!((19..=21).contains(&ticks), "{ticks}");
        assert!(running.is_some_and(|amps| (amps - 0.3).abs() < 1e-6), "{running:?}");
    }

    #[test]
    fn a_lever_that_swings_back_from_its_run_out_has_not_run() {
        let mut bench = Bench::new(BACKED);
        assert_eq!(bench.go(40, -0.2, -0.1), None);
        // Its bristles let it back at the wanted speed, with next to no current; then friction holds it.
        assert_eq!(bench.go(60, 0.15, 0.02), None);
        assert_eq!(bench.contact(400, 0.8), None, "held by friction where it has been");
        // 0.6 × 2 A: what pushes as if no running current were known.
        let (ticks, running) = bench.contact(400, 1.21).expect("something new holds it");
        assert!((199..=201).contains(&ticks), "{ticks}");
        assert_eq!(running, None, "what was gathered while it swung is forgotten");
    }

    #[test]
    fn past_where_it_was_let_go_a_contact_takes_no_longer() {
        let mut bench = Bench::new(BACKED);
        assert_eq!(bench.go(150, 0.2, 0.3), None);
        let (ticks, running) = bench.contact(60, 0.61).expect("a contact");
        assert!((19..=21).contains(&ticks), "{ticks}");
        assert!(running.is_some());
    }

    #[test]
    fn a_lever_that_bounced_off_is_not_in_contact_where_it_turns() {
        let mut bench = Bench::new(0.0);
        assert_eq!(bench.go(80, 1.0, 0.3), None);
        assert_eq!(bench.go(60, -0.2, 0.4), None, "back by 1.2 % of travel");
        assert_eq!(bench.contact(100, 1.0), None);
        assert_eq!(bench.go(60, 0.2, 0.3), None);
        assert!(bench.contact(60, 1.0).is_some(), "at the stop again");
    }

    #[test]
    fn a_lever_that_has_not_moved_is_pushed_for_longer() {
        let mut bench = Bench::new(0.0);
        let (ticks, _) = bench.contact(400, 1.21).expect("something holds it");
        assert!((199..=201).contains(&ticks), "{ticks}");
    }

    #[test]
    fn past_its_window_a_stop_is_missing_after_twenty_ticks() {
        let mut bench = Bench::new(0.0);
        bench.progress = bench.plan.expected(Stop::Open).missing_after + 1.0;
        assert_eq!(bench.go(20, 0.0, 0.3), Some((19, ApproachEnd::Missing)));
    }

    #[test]
    fn a_drive_without_strength_is_given_up_once_the_trim_had_time_to_wind_up() {
        let mut bench = Bench::new(0.0);
        assert_eq!(bench.plan.stall_ticks(), 1200);
        let standing = ApproachEnd::Standing { current: 0.1 };
        assert_eq!(bench.go(1300, 0.0, 0.1), Some((1199, standing)));

        let mut settings = Settings::default();
        settings.actuator.back_emf_v_per_count_per_s = 1e-6;
        let order = LearnOrder::full(Setup::Attached, Warmth::Cold, CheckSet::ALL);
        let mut plan = LearnPlan::new(&settings, order);
        // 0.75 of the limit at 20/s × 0.12 of it × 0.2 travel/s.
        assert!((1561..=1563).contains(&plan.stall_ticks()), "{}", plan.stall_ticks());
        plan.go_gentler();
        assert!((3122..=3126).contains(&plan.stall_ticks()), "{}", plan.stall_ticks());
    }
}
