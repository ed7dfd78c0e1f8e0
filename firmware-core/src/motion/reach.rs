//! Closed loop: does the lever still come nearer to where it is wanted?
//!
//! Outside the band in which the loop leaves a vane alone, a lever under all the push that there is is obstructed once
//! it has made less way than that band within [`FULL_TICKS`]: so much a stop gives under the last of the push. Way is
//! what the lever travels toward its goal, not what a moving goal gives it.

use super::seen::{Ending, Lasting, Seen};
use crate::faults::{Fault, Limit, LimitSet};
use crate::settings::Settings;
use crate::units::{Counts, larger, smaller};

/// Memory of the check.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct ReachCheck {
    /// Measured opening without noise.
    quiet: Option<f32>,
    /// Its past, oldest first, while the vane is off its goal.
    past: Option<Past>,
    full: Lasting,
    frozen: Lasting,
    last: Counts,
}

#[derive(Debug, Clone, Copy)]
struct Past {
    /// +1 when the goal lies toward open, −1 toward closed.
    way: f32,
    marks: [f32; MARKS],
    /// Ticks since the newest.
    age: u16,
}

/// Marks of the past, [`MARK_TICKS`] apart: the oldest is 400 to 450 ticks old.
const MARKS: usize = 9;
const MARK_TICKS: u16 = 50;
/// Time at full push, less the time without, ticks: with the marks' age, the filter and a tick to tell, a lever is let
/// go within half a second of its stand.
const FULL_TICKS: u16 = 400;
/// Time constant of the filter, ticks: five counts of noise become 1.3.
const QUIET_TICKS: f32 = 8.0;
/// Share of the most volts that counts as all of them: the rest is what noise makes of the derivative.
const FULL_SHARE: f32 = 0.85;

/// Limits that keep push from the motor.
const HELD_BACK: LimitSet = LimitSet::only(Limit::Current)
    .union(LimitSet::only(Limit::Heat))
    .union(LimitSet::only(Limit::Stall))
    .union(LimitSet::only(Limit::Duty))
    .union(LimitSet::only(Limit::EndStop));

impl Past {
    fn begin(opening: f32, way: f32) -> Self {
        Self { way, marks: [opening; MARKS], age: 0 }
    }

    /// Takes in where the lever is; gives how much way it has made since the oldest mark.
    fn way_made(&mut self, opening: f32) -> f32 {
        self.age = self.age.saturating_add(1);
        if self.age >= MARK_TICKS {
            self.age = 0;
            self.marks.rotate_left(1);
            if let Some(newest) = self.marks.last_mut() {
                *newest = opening;
            }
        }
        self.marks.first().map_or(0.0, |oldest| (opening - oldest) * self.way)
    }
}

impl ReachCheck {
    pub(super) const fn new() -> Self {
        Self { quiet: None, past: None, full: Lasting(0), frozen: Lasting(0), last: Counts(0) }
    }

    pub(super) fn tick(&mut self, settings: &Settings, seen: &Seen) -> Option<Ending> {
        let (Some(target), Some(opening)) = (seen.target, seen.opening) else {
            *self = Self::new();
            return None;
        };
        let before = self.quiet.unwrap_or(opening.get());
        let quiet = before + (opening.get() - before) / QUIET_TICKS;
        self.quiet = Some(quiet);
        let has_changed = seen.position != core::mem::replace(&mut self.last, seen.position);
        let error = target.get() - quiet;
        let band = settings.position.rest_band * settings.position.wake_factor;
        if libm::fabsf(error) <= band {
            (self.past, self.full, self.frozen) = (None, Lasting(0), Lasting(0));
            return None;
        }
        let way_made = self.way_made(quiet, libm::copysignf(1.0, error));
        let is_full = is_all_there_is(settings, seen, error);
        if has_changed || !is_full {
            self.frozen = Lasting(0);
        }
        if self.frozen.tick(is_full, settings.plausibility.position_frozen_ticks) {
            return Some(Ending::SensorFault);
        }
        let is_stuck = self.full.tick(is_full, FULL_TICKS) && way_made < band;
        is_stuck.then(|| {
            if seen.faults.contains(Fault::CurrentMissing) { Ending::NoMotion } else { Ending::Obstructed }
        })
    }

    fn way_made(&mut self, quiet: f32, way: f32) -> f32 {
        if self.past.is_none_or(|past| past.way != way) {
            (self.past, self.full) = (None, Lasting(0));
        }
        self.past.get_or_insert(Past::begin(quiet, way)).way_made(quiet)
    }
}

/// The loop pushes toward the goal with all that current limit and supply allow. Less than that, which a full integral
/// may leave a hot and tight unit short of its goal with, is for the heat limit to judge.
fn is_all_there_is(settings: &Settings, seen: &Seen, error: f32) -> bool {
    if seen.duty.get() * error <= 0.0 {
        return false;
    }
    let actuator = &settings.actuator;
    let by_current = actuator.max_current.0 * actuator.winding_resistance_ohm;
    let by_supply = actuator.max_duty.get() * seen.supply.0;
    let full = smaller(by_current, by_supply);
    let volts = libm::fabsf(seen.duty.get()) * larger(seen.supply.0, 0.0);
    seen.limits.meets(HELD_BACK) || volts >= FULL_SHARE * full
}

#[cfg(test)]
#[allow(clippy::arithmetic_side_effects)]
mod tests {
    extern crate std;

    use super::*;
    use crate::faults::FaultSet;
    use crate::units::{Duty, Opening, Volt};

    fn seen(tick: u16, target: f32, opening: f32, duty: f32) -> Seen {
        let held = |value| Opening::saturating(value, Opening::OPEN);
        Seen {
            // A sound sensor's last count flickers.
            position: Counts((13_300.0 - 10_700.0 * opening) as i16 + (tick % 2) as i16),
            supply: Volt(12.0),
            duty: Duty::saturating(duty, Duty::ZERO),
            target: Some(held(target)),
            opening: Some(held(opening)),
            faults: FaultSet::NONE,
            limits: LimitSet::NONE,
        }
    }

    /// First tick in which the watch ends a motion that shows this.
    fn ends(show: impl Fn(u16) -> Seen) -> Option<(u16, Ending)> {
        let settings = Settings::default();
        let mut reach = ReachCheck::new();
        (0..5000).find_map(|tick| reach.tick(&settings, &show(tick)).map(|ending| (tick, ending)))
    }

    #[test]
    fn a_lever_that_stands_off_its_goal_at_full_push_is_obstructed_within_half_a_second() {
        let ended = ends(|tick| seen(tick, 0.2, 0.5, if tick < 1000 { -0.4 } else { -0.6 }));
        assert!(
            ended.is_some_and(|(tick, why)| why == Ending::Obstructed && (1399..1500).contains(&tick)),
            "{ended:?}"
        );
    }

    #[test]
    fn less_push_a_lever_under_way_and_one_within_the_band_go_on() {
        assert_eq!(ends(|tick| seen(tick, 0.2, 0.5, -0.45)), None);
        assert_eq!(ends(|tick| seen(tick, 0.0, 0.99 - 2.0e-5 * f32::from(tick), -0.6)), None);
        assert_eq!(ends(|tick| seen(tick, 0.2, 0.2029, -0.6)), None);
        // Pushed away from its goal: a lever that overshoots.
        assert_eq!(ends(|tick| seen(tick, 0.2, 0.5, 0.6)), None);
    }

    #[test]
    fn a_goal_that_comes_nearer_is_no_way_of_the_lever() {
        let ended = ends(|tick| seen(tick, 0.1 + 1.0e-4 * f32::from(tick), 0.5, -0.6));
        assert!(ended.is_some_and(|(tick, _)| tick < 500), "{ended:?}");
    }

    #[test]
    fn a_push_that_heat_takes_back_is_still_all_there_is() {
        let limits = LimitSet::only(Limit::Heat);
        let ended = ends(|tick| Seen { limits, ..seen(tick, 0.2, 0.5, -0.1) });
        assert!(ended.is_some_and(|(_, why)| why == Ending::Obstructed), "{ended:?}");
    }

    #[test]
    fn a_reading_without_a_count_of_change_is_the_sensors_fault_and_a_push_without_current_moves_nothing() {
        let frozen = ends(|tick| Seen { position: Counts(8000), ..seen(tick, 0.2, 0.5, -0.6) });
        let after = Settings::default().plausibility.position_frozen_ticks;
        assert!(frozen.is_some_and(|(tick, why)| why == Ending::SensorFault && tick <= after), "{frozen:?}");
        let faults = FaultSet::only(Fault::CurrentMissing);
        let dead = ends(|tick| Seen { faults, ..seen(tick, 0.2, 0.5, -0.6) });
        assert!(dead.is_some_and(|(_, why)| why == Ending::NoMotion), "{dead:?}");
    }
}
