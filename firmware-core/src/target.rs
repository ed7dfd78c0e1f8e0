//! Engine demand and boost error in, wanted opening out.
//!
//! Feed-forward comes from a map over engine speed and load; in boost mode a trim on boost error is
//! added. Below the map of least openings closing further loses boost (the gain changes sign), so the
//! opening stays above it and the trim's integral stands still there. Every change of mode starts the
//! trim from the opening that stands, so the wanted opening has no bump.

use crate::plausibility::Air;
use crate::position::regulator::{Integral, OutputRange, Regulator, RegulatorGains};
use crate::sample::Mode;
use crate::settings::{ModeSettings, TargetSettings};
use crate::tables::Place;
use crate::units::{Kilopascal, Opening, TICK_SECONDS, larger, smaller};

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
}

/// Memory of the stage.
#[derive(Debug, Clone, Copy, Default)]
pub struct TargetMemory {
    trim: Regulator,
    boost_target: Option<f32>,
    /// Boost without the sensor's noise.
    quiet_boost: f32,
    /// Boost control ran in the last tick.
    is_trimming: bool,
}

/// Places on the maps for one tick.
#[derive(Clone, Copy)]
struct MapPlace {
    speed: Place,
    feed_forward: f32,
    minimum: f32,
}

impl TargetMemory {
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
            (Mode::Brake, _) => self.untrimmed(brake(&settings.modes, air) + raise),
            (Mode::Limp, _) | (Mode::Boost, None) => {
                let least = settings.modes.limp_opening.get();
                self.untrimmed(larger(point.feed_forward, least))
            }
        }
    }

    /// The guard holds the vanes: the trim starts afresh from the opening that stands when it lets go.
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
        }
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
        let trim = &settings.trim;
        let gains = RegulatorGains {
            // Closing raises boost: the gain is negative.
            proportional: -trim.gain_per_kpa * point.speed.along(&trim.gain_factor),
            integral_time_s: trim.integral_time_s,
            derivative_time_s: trim.derivative_time_s,
            derivative_filter_s: DERIVATIVE_FILTER_S,
        };
        let low = larger(point.minimum - point.feed_forward, -trim.authority);
        let high = smaller(1.0 - point.feed_forward, trim.authority);
        // A map may leave no room below (minimum above feed-forward plus authority): then low rules.
        let range = OutputRange { low, high: larger(low, high) };
        if self.is_trimming {
            self.quiet_boost += (boost.0 - self.quiet_boost) * TICK_SECONDS / (trim.filter_s + TICK_SECONDS);
        } else {
            self.quiet_boost = boost.0;
            let error = target - boost.0;
            self.trim.reset();
            self.trim.preset(range.hold(standing.get() - point.feed_forward) - gains.proportional * error);
            self.is_trimming = true;
        }
        let is_still = libm::fabsf(target - self.quiet_boost) <= trim.still_kpa;
        let integral = if is_still { Integral::Holds } else { Integral::Runs };
        let output = self.trim.tick(&gains, target, self.quiet_boost, range, integral);
        Wanted {
            opening: Opening::saturating(point.feed_forward + output, Opening::OPEN),
            boost_target: Some(Kilopascal(target)),
            is_at_minimum: output <= low,
        }
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

/// Filter of the trim's derivative, s: a twentieth of the air path's time constant.
const DERIVATIVE_FILTER_S: f32 = 0.03;

impl MapPlace {
    fn find(settings: &TargetSettings, air: &Air, raise: f32) -> Self {
        let speed = Place::on(&settings.axes.engine_speed_rpm, air.demand.engine_speed.0);
        let load = Place::on(&settings.axes.load, air.demand.load.get());
        let minimum = speed.over(load, &settings.minimum_opening.0) + raise;
        let feed_forward = larger(speed.over(load, &settings.feed_forward.0), minimum);
        Self { speed, feed_forward, minimum }
    }
}

/// Closed as far as exhaust pressure and engine speed allow.
fn brake(settings: &ModeSettings, air: &Air) -> f32 {
    if air.demand.engine_speed.0 > settings.brake_speed_max.0 {
        return 1.0;
    }
    match air.exhaust {
        Some(exhaust) => {
            let over = larger(exhaust.0 - settings.brake_exhaust.0, 0.0);
            settings.brake_opening.get() + settings.brake_gain_per_kpa * over
        }
        None => settings.brake_opening_unmeasured.get(),
    }
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
}
