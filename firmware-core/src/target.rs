//! Engine demand and boost error in, wanted opening out.
//!
//! Feed-forward comes from a map over engine speed and load; in boost mode a [`Law`] adds a correction for boost
//! error. Below the map of least openings closing further loses boost (the gain changes sign), so whatever the law says
//! the opening stays above it. Every change of mode starts the law from the opening that stands, so the wanted opening
//! has no bump.

mod built_in;
mod fixed_gain;
mod law;
mod map_trim;
mod model_trim;
mod reversal;
mod trim;

use crate::faults::{Limit, LimitSet};
use crate::plausibility::Air;
use crate::position::regulator::OutputRange;
use crate::sample::Mode;
use crate::settings::{ModeSettings, TargetSettings, TrimSettings};
use crate::tables::Place;
use crate::units::{Kilopascal, Opening, TICK_SECONDS, larger, smaller};
pub use built_in::BuiltInLaw;
pub use law::{Aim, Forward, Law};
use reversal::GainReversal;

/// What the engine wants of the vanes.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Wanted {
    /// Opening.
    pub opening: Opening,
    /// Boost target after rate shaping and barometer correction, where boost is controlled.
    pub boost_target: Option<Kilopascal>,
    /// The trim closes as far as it may.
    pub is_at_minimum: bool,
    /// Limits that hold the opening.
    pub limits: LimitSet,
}

/// Memory of the stage.
#[derive(Debug, Clone, Copy)]
pub struct TargetMemory<L = BuiltInLaw> {
    law: L,
    boost_target: Option<f32>,
    /// Boost without the sensor's noise.
    quiet_boost: f32,
    /// Boost control ran in the last tick.
    is_trimming: bool,
    reversal: GainReversal,
}

/// How far a law may correct in a tick.
struct Room {
    range: OutputRange,
    /// False where lack of a turbo speed sensor ends the law's reach first: the reversal is still far.
    may_search: bool,
}

/// Places on the maps for one tick.
#[derive(Clone, Copy)]
struct MapPlace {
    speed: Place,
    feed_forward: f32,
    minimum: f32,
}

impl Default for TargetMemory {
    fn default() -> Self {
        Self::under(BuiltInLaw::default())
    }
}

impl<L: Law> TargetMemory<L> {
    /// The stage under this law.
    #[inline]
    pub fn under(law: L) -> Self {
        Self {
            law,
            boost_target: None,
            quiet_boost: 0.0,
            is_trimming: false,
            reversal: GainReversal::default(),
        }
    }

    /// The wanted opening in `mode`, with every least opening raised by `raise`; `standing` is the opening that was
    /// commanded in the last tick.
    pub fn tick(
        &mut self,
        settings: &TargetSettings,
        air: &Air,
        mode: Mode,
        raise: f32,
        standing: Opening,
    ) -> Wanted {
        let point = MapPlace::find(settings, air, raise);
        match (mode, air.boost) {
            (Mode::Boost, Some(boost)) => self.boost(settings, air, point, boost, standing),
            (Mode::Idle, _) => self.untrimmed(point.feed_forward),
            (Mode::Brake, _) => self.brake(&settings.modes, air, raise),
            (Mode::Limp, _) | (Mode::Boost, None) => {
                let least = settings.modes.limp_opening.get();
                self.untrimmed(larger(point.feed_forward, least))
            }
        }
    }

    /// Something else has the vanes: the law starts afresh from the opening that stands when it lets go.
    pub fn interrupt(&mut self) {
        self.is_trimming = false;
    }

    fn untrimmed(&mut self, opening: f32) -> Wanted {
        self.is_trimming = false;
        self.boost_target = None;
        Wanted {
            opening: Opening::saturating(opening, Opening::OPEN),
            boost_target: None,
            is_at_minimum: false,
            limits: LimitSet::NONE,
        }
    }

    /// Closed as far as exhaust pressure and engine speed allow.
    fn brake(&mut self, settings: &ModeSettings, air: &Air, raise: f32) -> Wanted {
        if air.demand.engine_speed.0 > settings.brake_speed_max.0 {
            return self.untrimmed(1.0);
        }
        let over = air.exhaust.map(|exhaust| exhaust.0 - settings.brake_exhaust.0);
        let opening = match over {
            Some(over) => settings.brake_opening.get() + settings.brake_gain_per_kpa * larger(over, 0.0),
            None => settings.brake_opening_unmeasured.get(),
        };
        let mut wanted = self.untrimmed(opening + raise);
        if over.is_none_or(|over| over < -BRAKE_SHORT_KPA) {
            wanted.limits.insert(Limit::Brake);
        }
        wanted
    }

    fn boost(
        &mut self,
        settings: &TargetSettings,
        air: &Air,
        point: MapPlace,
        boost: Kilopascal,
        standing: Opening,
    ) -> Wanted {
        let target = self.shaped(&settings.modes, air, boost);
        let starts = self.quieten(&settings.trim, boost.0);
        let aim = point.aim(settings, air, target, self.quiet_boost);
        let forward = self.law.forward(settings, &aim);
        let room = self.room(settings, &aim, forward);
        let range = room.range;
        if starts {
            self.law.start(settings, &aim, range.hold(standing.get() - forward.opening));
        }
        let output = range.hold(self.law.tick(settings, &aim, range));
        let is_at_minimum = output <= range.low;
        if starts {
            self.reversal.forget();
        } else if room.may_search && output <= range.low + HOVERS {
            self.reversal.tick(self.quiet_boost);
        } else {
            self.reversal.leave();
        }
        Wanted {
            opening: Opening::saturating(forward.opening + output, Opening::OPEN),
            boost_target: Some(Kilopascal(target)),
            is_at_minimum,
            limits: LimitSet::NONE,
        }
    }

    /// Takes the sensor's noise from boost; true in the first tick of boost control.
    #[inline(always)]
    fn quieten(&mut self, trim: &TrimSettings, boost: f32) -> bool {
        let starts = !self.is_trimming;
        if starts {
            self.quiet_boost = boost;
            self.is_trimming = true;
        } else {
            self.quiet_boost += (boost - self.quiet_boost) * TICK_SECONDS / (trim.filter_s + TICK_SECONDS);
        }
        starts
    }

    /// How far the law may correct in this tick.
    #[inline(always)]
    fn room(&self, settings: &TargetSettings, aim: &Aim<'_>, forward: Forward) -> Room {
        let least = aim.minimum - forward.opening;
        let (closes, may_search) = if aim.air.turbo_speed.is_some() {
            (forward.closes, true)
        } else {
            let closes = smaller(forward.closes, settings.trim.unseen_authority);
            (closes, least >= -closes)
        };
        let low = larger(least, -closes) + self.reversal.raise();
        let high = smaller(1.0 - forward.opening, forward.opens);
        // A map may leave no room below (minimum above feed-forward plus authority): then low rules.
        Room { range: OutputRange { low, high: larger(low, high) }, may_search }
    }

    /// Boost target after barometer correction, approached at the allowed rate.
    fn shaped(&mut self, settings: &ModeSettings, air: &Air, boost: Kilopascal) -> f32 {
        let wanted = settings.boost_target_at(air.demand.boost_target, air.barometer).0;
        let step = settings.boost_target_rate_kpa_per_s * TICK_SECONDS;
        let last = self.boost_target.unwrap_or(boost.0);
        let next = OutputRange { low: last - step, high: last + step }.hold(wanted);
        self.boost_target = Some(next);
        next
    }
}

/// Opening by which a law hovers over its least one while boost gains slowly: the integral stands, the rest falls.
const HOVERS: f32 = 0.01;
/// Exhaust pressure this far below what the brake should hold is short, kPa.
const BRAKE_SHORT_KPA: f32 = 10.0;

impl MapPlace {
    fn find(settings: &TargetSettings, air: &Air, raise: f32) -> Self {
        let speed = Place::on(&settings.axes.engine_speed_rpm, air.demand.engine_speed.0);
        let load = Place::on(&settings.axes.load, air.demand.load.get());
        let minimum = speed.over(load, &settings.minimum_opening.0) + raise;
        let feed_forward = larger(speed.over(load, &settings.feed_forward.0), minimum);
        Self { speed, feed_forward, minimum }
    }

    #[inline(always)]
    fn aim<'a>(&self, settings: &TargetSettings, air: &'a Air, target: f32, boost: f32) -> Aim<'a> {
        Aim {
            target,
            boost,
            feed_forward: self.feed_forward,
            minimum: self.minimum + over_soft(&settings.modes, air, boost),
            gain_factor: self.speed.along(&settings.trim.gain_factor),
            air,
        }
    }
}

/// By how much exhaust pressure over its soft limit, or too far over boost, raises the least opening.
fn over_soft(settings: &ModeSettings, air: &Air, boost: f32) -> f32 {
    air.exhaust.map_or(0.0, |exhaust| {
        let soft = smaller(boost + settings.pumping_soft.0, settings.exhaust_soft.0);
        larger(exhaust.0 - soft, 0.0) * settings.exhaust_soft_per_kpa
    })
}

#[cfg(test)]
mod tests;
