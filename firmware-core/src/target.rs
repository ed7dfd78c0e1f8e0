//! Engine demand and boost error in, wanted opening out.
//!
//! Feed-forward comes from a map over engine speed and load; in boost mode a [`Law`] adds a correction for boost
//! error. Below the map of least openings closing further loses boost (the gain changes sign), so whatever the law says
//! the opening stays above it. Every change of mode starts the law from the opening that stands, so the wanted opening
//! has no bump.

mod built_in;
mod law;
mod map_trim;
mod reversal;

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
    /// False where the law's own reach ends first: the reversal is still far.
    is_near_reversal: bool,
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
            self.reversal.forget();
        }
        let output = range.hold(self.law.tick(settings, &aim, range));
        let is_at_minimum = output <= range.low;
        if is_at_minimum && room.is_near_reversal {
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
        let closes = if aim.air.turbo_speed.is_some() {
            forward.closes
        } else {
            smaller(forward.closes, settings.trim.unseen_authority)
        };
        let least = aim.minimum - forward.opening;
        let low = larger(least + self.reversal.raise(), -closes);
        let high = smaller(1.0 - forward.opening, forward.opens);
        // A map may leave no room below (minimum above feed-forward plus authority): then low rules.
        Room { range: OutputRange { low, high: larger(low, high) }, is_near_reversal: least >= -closes }
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
            minimum: self.minimum + over_soft(&settings.modes, air),
            gain_factor: self.speed.along(&settings.trim.gain_factor),
            air,
        }
    }
}

/// By how much exhaust pressure over its soft limit raises the least opening.
fn over_soft(settings: &ModeSettings, air: &Air) -> f32 {
    air.exhaust.map_or(0.0, |exhaust| {
        larger(exhaust.0 - settings.exhaust_soft.0, 0.0) * settings.exhaust_soft_per_kpa
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::EngineDemand;
    use crate::units::{Load, Rpm};
    use proptest::prelude::*;

    fn air(mode: Mode, speed: f32, load: f32, boost: f32) -> Air {
        let demand = EngineDemand {
            mode,
            boost_target: Kilopascal(180.0),
            engine_speed: Rpm(speed),
            load: Load::saturating(load, Load::MIN),
        };
        Air {
            boost: Some(Kilopascal(boost)),
            boost_floor: None,
            boost_saturated: false,
            barometer: Kilopascal(101.325),
            exhaust: None,
            turbo_speed: None,
            demand,
        }
    }

    fn opening(target: &mut TargetMemory, settings: &TargetSettings, air: &Air) -> f32 {
        target.tick(settings, air, air.demand.mode, 0.0, Opening::OPEN).opening.get()
    }

    proptest! {
        #[test]
        fn a_rising_map_gives_a_rising_opening(
            mut entries in prop::collection::vec(0.0f32..1.0, 36), speed in 500.0f32..4000.0, a in 0.0f32..=1.0, b in 0.0f32..=1.0,
        ) {
            let mut settings = TargetSettings::default();
            entries.sort_by(f32::total_cmp);
            for (place, entry) in settings.feed_forward.0.iter_mut().flatten().zip(entries) {
                *place = entry;
            }
            settings.minimum_opening.0 = Default::default();
            let (low, high) = if a < b { (a, b) } else { (b, a) };
            let mut target = TargetMemory::default();
            let at_low = opening(&mut target, &settings, &air(Mode::Idle, speed, low, 101.0));
            let at_high = opening(&mut target, &settings, &air(Mode::Idle, speed, high, 101.0));
            prop_assert!(at_high >= at_low - 1.0e-6, "{at_low} then {at_high}");
        }

        #[test]
        fn the_trim_keeps_its_authority_and_the_least_opening(
            boosts in prop::collection::vec(90.0f32..300.0, 1..200), speed in 800.0f32..3600.0, load in 0.0f32..=1.0,
        ) {
            let settings = TargetSettings::default();
            let mut target = TargetMemory::default();
            let place = MapPlace::find(&settings, &air(Mode::Boost, speed, load, 101.0), 0.0);
            for boost in boosts {
                let opening = opening(&mut target, &settings, &air(Mode::Boost, speed, load, boost));
                prop_assert!(opening >= place.minimum - 1.0e-6);
                prop_assert!((opening - place.feed_forward).abs() <= settings.trim.authority + 1.0e-6);
            }
        }
    }

    #[test]
    fn boost_short_at_the_least_opening_does_not_wind_up() {
        let settings = TargetSettings::default();
        let mut target = TargetMemory::default();
        for _ in 0..60_000 {
            opening(&mut target, &settings, &air(Mode::Boost, 2000.0, 0.625, 120.0));
        }
        // A minute short; once boost arrives above its target the vanes leave the minimum within 0.1 s.
        let least = opening(&mut target, &settings, &air(Mode::Boost, 2000.0, 0.625, 120.0));
        let after = (0..100)
            .map(|_| opening(&mut target, &settings, &air(Mode::Boost, 2000.0, 0.625, 185.0)))
            .fold(0.0, f32::max);
        assert!(after > least + 0.02, "still at {after} from {least}");
    }

    #[test]
    fn the_brake_opens_over_its_exhaust_pressure_and_speed() {
        let settings = TargetSettings::default();
        let mut target = TargetMemory::default();
        let mut braking = air(Mode::Brake, 2500.0, 0.0, 120.0);
        braking.exhaust = Some(Kilopascal(settings.modes.brake_exhaust.0 - 10.0));
        assert_eq!(opening(&mut target, &settings, &braking), settings.modes.brake_opening.get());
        braking.exhaust = Some(Kilopascal(settings.modes.brake_exhaust.0 + 50.0));
        assert!(opening(&mut target, &settings, &braking) > settings.modes.brake_opening.get() + 0.4);
        braking.demand.engine_speed = Rpm(settings.modes.brake_speed_max.0 + 1.0);
        assert_eq!(opening(&mut target, &settings, &braking), 1.0);
    }

    #[test]
    fn a_brake_says_when_it_cannot_hold_what_it_should() {
        let settings = TargetSettings::default();
        let asked = settings.modes.brake_exhaust.0;
        for (exhaust, is_held) in [(Some(asked), true), (Some(asked - 20.0), false), (None, false)] {
            let mut braking = air(Mode::Brake, 2500.0, 0.0, 120.0);
            braking.exhaust = exhaust.map(Kilopascal);
            let wanted = TargetMemory::default().tick(&settings, &braking, Mode::Brake, 0.0, Opening::OPEN);
            assert_eq!(wanted.limits.contains(Limit::Brake), !is_held, "{exhaust:?}");
        }
    }

    #[test]
    fn exhaust_pressure_over_its_soft_limit_raises_the_least_opening() {
        let settings = TargetSettings::default();
        let short = |exhaust: f32| {
            let mut short = air(Mode::Boost, 2000.0, 0.625, 120.0);
            (short.exhaust, short.turbo_speed) = (Some(Kilopascal(exhaust)), Some(Rpm(100_000.0)));
            let mut target = TargetMemory::default();
            (0..2000).map(|_| opening(&mut target, &settings, &short)).fold(1.0, f32::min)
        };
        let soft = settings.modes.exhaust_soft.0;
        assert_eq!(short(soft), short(200.0));
        let raised = short(soft + 30.0) - short(200.0);
        assert!((raised - 30.0 * settings.modes.exhaust_soft_per_kpa).abs() < 1.0e-6, "{raised}");
    }

    #[test]
    fn the_trim_closes_less_far_while_no_turbo_speed_is_seen() {
        let settings = TargetSettings::default();
        let least = |turbo_speed: Option<Rpm>| {
            let mut short = air(Mode::Boost, 2000.0, 0.625, 120.0);
            short.turbo_speed = turbo_speed;
            let mut target = TargetMemory::default();
            (0..2000).map(|_| opening(&mut target, &settings, &short)).fold(1.0, f32::min)
        };
        let forward = settings.feed_forward.0[3][3];
        assert!((least(None) - (forward - settings.trim.unseen_authority)).abs() < 1.0e-6);
        assert!(least(Some(Rpm(100_000.0))) < least(None));
    }
}
