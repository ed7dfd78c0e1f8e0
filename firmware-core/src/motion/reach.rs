//! Closed loop: does the lever still come nearer to where it is wanted?
//!
//! Outside the band in which the loop leaves a vane alone, with all the push that there is, a lever that makes no
//! way for [`STUCK_TICKS`] is obstructed. Way is what the lever travels toward its goal, not what a moving goal
//! gives it; noise is filtered out of it.

use super::watch::{Ending, Lasting, Seen};
use crate::faults::{Fault, Limit, LimitSet};
use crate::settings::Settings;
use crate::units::{Counts, larger, smaller};

/// Memory of the check.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Reach {
    /// Measured opening without noise.
    quiet: Option<f32>,
    /// Furthest opening toward the goal; none while the vane is where it is wanted.
    furthest: Option<Furthest>,
    stuck: Lasting,
    frozen: Lasting,
    last: Counts,
}

#[derive(Debug, Clone, Copy)]
struct Furthest {
    opening: f32,
    /// +1 when the goal lies toward open, −1 toward closed.
    way: f32,
}

/// Time without way at full push, ticks: with filter and one tick to tell, within half a second of the lever's stand.
const STUCK_TICKS: u16 = 450;
/// Time constant of the filter, ticks: five counts of noise become 1.3.
const QUIET_TICKS: f32 = 8.0;
/// Share of the loop's most volts that counts as all of them: the rest is what noise makes of the derivative.
const FULL_SHARE: f32 = 0.9;

/// Limits that keep push from the motor.
const HELD_BACK: LimitSet = LimitSet::only(Limit::Current)
    .union(LimitSet::only(Limit::Heat))
    .union(LimitSet::only(Limit::Stall))
    .union(LimitSet::only(Limit::Duty))
    .union(LimitSet::only(Limit::EndStop));

impl Reach {
    pub(super) const fn new() -> Self {
        Self { quiet: None, furthest: None, stuck: Lasting(0), frozen: Lasting(0), last: Counts(0) }
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
        let is_stuck = self.is_off(settings, error) && !self.makes_way(settings, quiet, error);
        if !is_stuck {
            self.stuck = Lasting(0);
        }
        let is_full = is_stuck && is_all_there_is(settings, seen, error);
        if has_changed || !is_full {
            self.frozen = Lasting(0);
        }
        if self.frozen.tick(is_full, settings.plausibility.position_frozen_ticks) {
            return Some(Ending::SensorFault);
        }
        self.stuck.tick(is_full, STUCK_TICKS).then(|| {
            if seen.faults.contains(Fault::CurrentMissing) { Ending::NoMotion } else { Ending::Obstructed }
        })
    }

    /// True outside the band in which the loop leaves a vane alone.
    fn is_off(&mut self, settings: &Settings, error: f32) -> bool {
        let is_off = libm::fabsf(error) > settings.position.rest_band * settings.position.wake_factor;
        if !is_off {
            self.furthest = None;
        }
        is_off
    }

    /// True where the lever has come further toward its goal than ever since that lies where it does.
    fn makes_way(&mut self, settings: &Settings, quiet: f32, error: f32) -> bool {
        let way = libm::copysignf(1.0, error);
        let gained = self.furthest.filter(|far| far.way == way).map(|far| (quiet - far.opening) * way);
        let makes_way = gained.is_none_or(|gained| gained >= settings.position.rest_band);
        if makes_way {
            self.furthest = Some(Furthest { opening: quiet, way });
        }
        makes_way
    }
}

/// The loop pushes toward the goal with all that its integral, the current limit and the supply allow.
fn is_all_there_is(settings: &Settings, seen: &Seen, error: f32) -> bool {
    if seen.duty.get() * error <= 0.0 {
        return false;
    }
    let actuator = &settings.actuator;
    let by_current = actuator.max_current.0 * actuator.winding_resistance_ohm;
    let by_supply = actuator.max_duty.get() * seen.supply.0;
    let full = smaller(smaller(by_current, by_supply), settings.position.integral_max_v);
    let volts = libm::fabsf(seen.duty.get()) * larger(seen.supply.0, 0.0);
    seen.limits.meets(HELD_BACK) || volts >= FULL_SHARE * full
}
