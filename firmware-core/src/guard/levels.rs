//! Whether a level is near or passed: trip = limit − lag margin − rate × reaction time.

use super::GuardCause;
use crate::plausibility::Air;
use crate::settings::{GuardLimits, GuardSettings};
use crate::tables::Place;
use crate::units::{Kilopascal, larger, smaller};

/// How near.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Nearness {
    /// Within the ease band below a trip level.
    Ease(GuardCause),
    /// At or over a trip level.
    Trip(GuardCause),
}

/// Memory of the levels.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Levels {
    boost: Trend,
    speed: Trend,
    estimated_speed: Trend,
    exhaust: Trend,
    over: u16,
    near: u16,
}

/// Time constant of a rate's filter, ticks.
const RATE_FILTER_TICKS: f32 = 10.0;

/// Filtered rate of one quantity; starts afresh after a gap, or the gap would count as a rise.
#[derive(Debug, Clone, Copy, Default)]
struct Trend {
    last: Option<f32>,
    per_tick: f32,
}

impl Trend {
    /// Where the quantity will be after `ticks`, were it to rise on; falling counts as standing.
    fn ahead(&mut self, value: f32, ticks: f32) -> f32 {
        let raw = self.last.map_or(0.0, |last| value - last);
        self.last = Some(value);
        self.per_tick += (raw - self.per_tick) / RATE_FILTER_TICKS;
        value + larger(self.per_tick, 0.0) * ticks
    }
}

impl Levels {
    pub(super) fn tick(
        &mut self,
        settings: &GuardSettings,
        air: &Air,
        target: Option<Kilopascal>,
    ) -> Option<Nearness> {
        let (used, cause) = self.worst(settings, air, target);
        let stages = &settings.stages;
        let was_near = self.near >= stages.debounce_ticks;
        let near_at = 1.0 - stages.ease_band - if was_near { stages.hysteresis } else { 0.0 };
        self.over = if used >= 1.0 { self.over.saturating_add(1) } else { 0 };
        self.near = if used >= near_at { self.near.saturating_add(1) } else { 0 };
        if self.over >= stages.debounce_ticks {
            Some(Nearness::Trip(cause))
        } else if self.near >= stages.debounce_ticks {
            Some(Nearness::Ease(cause))
        } else {
            None
        }
    }

    /// The quantity nearest to its trip level, as a fraction of it.
    fn worst(
        &mut self,
        settings: &GuardSettings,
        air: &Air,
        target: Option<Kilopascal>,
    ) -> (f32, GuardCause) {
        let limits = &settings.limits;
        let reaction = f32::from(settings.stages.reaction_ticks);
        let mut worst = (0.0, GuardCause::Boost);
        let mut consider = |value: f32, level: f32, cause| {
            // A level that margins have eaten up is passed by anything.
            let used = if level > 0.0 { value / level } else { f32::INFINITY };
            if used > worst.0 {
                worst = (used, cause);
            }
        };
        if let Some(boost) = air.boost.or(air.boost_floor) {
            let ahead = self.boost.ahead(boost.0, reaction);
            consider(ahead, boost_level(limits, air.barometer), GuardCause::Boost);
            // After a driver lifts off, target falls faster than boost can: falling boost is no excess.
            if let (Some(target), true) = (target, self.boost.per_tick >= 0.0) {
                consider(ahead, target.0 + limits.boost_over_target.0, GuardCause::BoostOverTarget);
            }
        } else {
            self.boost = Trend::default();
        }
        if air.boost_saturated {
            consider(2.0, 1.0, GuardCause::BoostSaturated);
        }
        let speed_level = limits.turbo_speed.0 - limits.turbo_speed_lag_margin.0;
        if let Some(speed) = air.turbo_speed {
            self.estimated_speed = Trend::default();
            consider(self.speed.ahead(speed.0, reaction), speed_level, GuardCause::TurboSpeed);
        } else if let Some(speed) = estimated_turbo_speed(limits, air) {
            self.speed = Trend::default();
            let ahead = self.estimated_speed.ahead(speed, reaction);
            consider(ahead, speed_level, GuardCause::TurboSpeedEstimated);
        } else {
            (self.speed, self.estimated_speed) = (Trend::default(), Trend::default());
        }
        if let Some(exhaust) = air.exhaust {
            let ahead = self.exhaust.ahead(exhaust.0, reaction);
            consider(ahead, limits.exhaust.0 - limits.exhaust_lag_margin.0, GuardCause::Exhaust);
        } else {
            self.exhaust = Trend::default();
        }
        worst
    }
}

/// Boost's trip level: thin air lowers it, because the turbo must run faster for the same boost.
fn boost_level(limits: &GuardLimits, barometer: Kilopascal) -> f32 {
    smaller(limits.boost.0, limits.boost_ratio * barometer.0) - limits.boost_lag_margin.0
}

/// The highest speed that the pressure ratio allows.
fn estimated_turbo_speed(limits: &GuardLimits, air: &Air) -> Option<f32> {
    let ratio = air.boost.or(air.boost_floor)?.0 / air.barometer.0;
    let place = Place::on(&limits.speed_estimate_ratio, ratio);
    Some(place.along(&limits.speed_estimate_rpm))
}
