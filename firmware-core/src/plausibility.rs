//! Turns raw readings into values that may be calculated with, or says which sensor is wrong.
//!
//! A wrong reading is bridged with the last sound one while it is debounced, then the sensor is at fault
//! and its value is gone (`None`, or a stated substitute) until it has been sound for the healing time.
//! NaN and infinity end here. A reading that is no longer converted is old, whatever it says: it is gone too.

mod channel;
mod freshness;
mod repeats;

use crate::faults::{Fault, FaultSet};
use crate::sample::{BridgeLine, EngineDemand, Mode, Request, Sample};
use crate::settings::{PlausibilitySettings, Settings};
use crate::tables::Place;
use crate::units::{Ampere, Counts, Kilopascal, Load, Rpm, Tick, Volt, is_within};
use channel::{Channel, Frozen, ReadingJudged, ReadingState, Window};
use freshness::Freshness;
use repeats::{BoostMovers, Repeats};

pub use freshness::FROZEN_TICKS;

/// Readings that may be calculated with.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Vetted {
    /// Number of this tick.
    pub tick: Tick,
    /// Position; `None` while it is lost.
    pub position: Option<Counts>,
    /// Supply; the nominal one while its reading is wrong.
    pub supply: Volt,
    /// Motor current; `None` while its reading is wrong.
    pub motor_current: Option<Ampere>,
    /// Air path, when an engine asks.
    pub air: Option<Air>,
    /// Sensors at fault.
    pub faults: FaultSet,
}

/// Readings of the air path and the engine's demand.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Air {
    /// Boost; `None` while it is not to be trusted. A saturated sensor gives the top of its range.
    pub boost: Option<Kilopascal>,
    /// What an untrusted reading still shows: true boost is no lower, for the reading is judged too low.
    pub boost_floor: Option<Kilopascal>,
    /// True boost is at or above the top of the sensor's range.
    pub boost_saturated: bool,
    /// Barometer; the last sound one while its reading is wrong, the lowest plausible one before any.
    pub barometer: Kilopascal,
    /// Exhaust pressure, where there is a sound sensor.
    pub exhaust: Option<Kilopascal>,
    /// Turbo speed, where there is a sound sensor.
    pub turbo_speed: Option<Rpm>,
    /// The demand; limp while it is not a number.
    pub demand: EngineDemand,
}

/// Whether the position loop was on its way in the last tick.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum LoopState {
    /// Near the wanted opening, or not in use.
    #[default]
    OnTarget,
    /// Away from it: the reading must change.
    UnderWay,
}

/// Memory of the stage.
#[derive(Debug, Clone, Copy, Default)]
pub struct Plausibility {
    freshness: Freshness,
    position: Channel,
    frozen: Frozen,
    supply: Channel,
    current: Channel,
    temperature: Channel,
    boost: Channel,
    boost_top: Channel,
    repeats: Repeats,
    barometer: Channel,
    exhaust: Channel,
    turbo_speed: Channel,
    demand: Channel,
    rest: Channel,
    stuck: Window,
    outrun: Channel,
    outpressed: Channel,
}

/// A real stall current cannot be passed by more than this: sensor tolerance, hot supply.
const CURRENT_HEADROOM: f32 = 1.5;
/// Below this engine speed the engine is at rest and boost must read the barometer, rpm.
const AT_REST_RPM: f32 = 50.0;
/// Pressure ratio from which only a turning compressor explains the boost.
const COMPRESSING_RATIO: f32 = 1.5;
/// Share of the highest speed at a ratio that a compressor has at the least. Pressure rises with the square
/// of speed, so a quarter gives a sixteenth of the rise: common practice, no source.
const LEAST_SPEED_SHARE: f32 = 0.25;
/// Load from which exhaust pressure is held against boost: below it the pipe's own pressures count for too much.
const LOADED: f32 = 0.3;
/// Highest engine speed and boost target that are numbers and not noise, rpm and kPa.
const DEMAND_MAX: f32 = 20_000.0;

impl Plausibility {
    /// Judges one sample.
    pub fn tick(
        &mut self,
        settings: &Settings,
        sample: &Sample,
        request: &Request,
        errand: LoopState,
    ) -> Vetted {
        let mut faults = FaultSet::NONE;
        faults.assign(Fault::BridgeFault, sample.bridge == BridgeLine::Fault);
        let position = self.position(settings, sample, errand, &mut faults);
        let supply = self.supply(settings, sample, &mut faults);
        let motor_current = self.current(settings, sample, &mut faults);
        self.temperature(settings, sample, &mut faults);
        let air = match request {
            Request::Engine(demand) => Some(self.air(settings, sample, demand, &mut faults)),
            Request::Release | Request::Bench(_) => None,
        };
        let mut vetted = Vetted { tick: sample.tick, position, supply, motor_current, air, faults };
        if !self.freshness.is_all_fresh(&sample.conversions) {
            self.drop_old(settings, &mut vetted);
        }
        vetted
    }

    /// Takes away what is no longer converted; the engine's sensors only count while an engine asks.
    #[inline(never)]
    fn drop_old(&self, settings: &Settings, vetted: &mut Vetted) {
        let [position, current, supply, engine] = self.freshness.old();
        if position {
            vetted.position = None;
        }
        if current {
            vetted.motor_current = None;
        }
        if supply {
            vetted.supply = settings.actuator.nominal_supply;
        }
        let air = vetted.air.as_mut().filter(|_| engine);
        let is_any_needed = position || current || supply || air.is_some();
        if let Some(air) = air {
            *air = Air {
                boost: None,
                boost_floor: None,
                boost_saturated: false,
                exhaust: None,
                turbo_speed: None,
                ..*air
            };
        }
        vetted.faults.assign(Fault::ConverterFrozen, is_any_needed);
    }

    fn position(
        &mut self,
        settings: &Settings,
        sample: &Sample,
        errand: LoopState,
        faults: &mut FaultSet,
    ) -> Option<Counts> {
        let actuator = &settings.actuator;
        let in_range = actuator.sensor_min <= sample.position && sample.position <= actuator.sensor_max;
        let reading = sample.position.as_f32();
        let step = settings.plausibility.position_step_counts;
        let judged = self.position.judge(reading, in_range, step, &settings.plausibility);
        faults.assign(Fault::PositionRange, judged.verdict == ReadingState::OutOfRange);
        faults.assign(Fault::PositionJump, judged.verdict == ReadingState::Jumped);
        let is_frozen = self.frozen.is_frozen(sample.position, errand, &settings.plausibility);
        faults.assign(Fault::PositionFrozen, is_frozen);
        // A held reading came from an i16 and goes back into one.
        judged.value.filter(|_| !is_frozen).map(|counts| Counts(counts as i32 as i16))
    }

    fn supply(&mut self, settings: &Settings, sample: &Sample, faults: &mut FaultSet) -> Volt {
        let limits = &settings.plausibility;
        let in_range = is_within(sample.supply.0, limits.supply_min.0, limits.supply_max.0);
        let judged = self.supply.judge_range(sample.supply.0, in_range, limits);
        faults.assign(Fault::SupplyRange, judged.is_fault());
        judged.value.map_or(settings.actuator.nominal_supply, Volt)
    }

    fn current(&mut self, settings: &Settings, sample: &Sample, faults: &mut FaultSet) -> Option<Ampere> {
        let stall = settings.plausibility.supply_max.0 / settings.actuator.winding_resistance_ohm;
        let (reading, most) = (sample.motor_current.0, CURRENT_HEADROOM * stall);
        // A hard short reads more than any winding draws: told as the most that is believed, never as nothing.
        let reading = if libm::fabsf(reading) > most { libm::copysignf(most, reading) } else { reading };
        let judged = self.current.judge_range(reading, !reading.is_nan(), &settings.plausibility);
        faults.assign(Fault::CurrentRange, judged.is_fault());
        judged.value.map(Ampere)
    }

    fn temperature(&mut self, settings: &Settings, sample: &Sample, faults: &mut FaultSet) {
        let limits = &settings.plausibility;
        if let Some(reading) = sample.temperature {
            let in_range = is_within(reading.0, limits.temperature_min.0, limits.temperature_max.0);
            let judged = self.temperature.judge_range(reading.0, in_range, limits);
            faults.assign(Fault::TemperatureRange, judged.is_fault());
        }
    }

    fn air(
        &mut self,
        settings: &Settings,
        sample: &Sample,
        demand: &EngineDemand,
        faults: &mut FaultSet,
    ) -> Air {
        let demand = self.demand(settings, demand, faults);
        let barometer = self.barometer(settings, sample, faults);
        let (boost, boost_saturated) = self.boost(settings, sample, &demand, barometer, faults);
        let turbo_speed = self.turbo_speed(settings, sample, boost.zip(barometer), faults);
        let is_outrun = self.is_outrun(settings, sample, turbo_speed, barometer);
        faults.assign(Fault::BoostSpeedMismatch, is_outrun);
        let exhaust = self.exhaust(settings, sample, faults);
        let pressed = exhaust.filter(|_| turbo_speed.is_none());
        let is_outpressed = self.is_outpressed(&settings.plausibility, sample.boost, &demand, pressed);
        faults.assign(Fault::BoostExhaustMismatch, is_outpressed);
        let is_too_low = !boost_saturated && (is_outrun || is_outpressed);
        let (boost, boost_floor) = if is_too_low { (None, boost) } else { (boost, None) };
        Air {
            boost,
            boost_floor,
            boost_saturated,
            barometer: Kilopascal(
                self.barometer.last_sound().unwrap_or(settings.plausibility.barometer_min.0),
            ),
            exhaust,
            turbo_speed,
            demand,
        }
    }

    fn demand(&mut self, settings: &Settings, demand: &EngineDemand, faults: &mut FaultSet) -> EngineDemand {
        let is_number = is_within(demand.engine_speed.0, 0.0, DEMAND_MAX)
            && is_within(demand.boost_target.0, 0.0, DEMAND_MAX);
        let judged = self.demand.judge_range(demand.engine_speed.0, is_number, &settings.plausibility);
        faults.assign(Fault::DemandRange, judged.is_fault());
        if is_number && !judged.is_fault() {
            return *demand;
        }
        EngineDemand {
            mode: Mode::Limp,
            boost_target: Kilopascal(0.0),
            engine_speed: Rpm(judged.value.unwrap_or(0.0)),
            load: Load::MIN,
        }
    }

    fn barometer(
        &mut self,
        settings: &Settings,
        sample: &Sample,
        faults: &mut FaultSet,
    ) -> Option<Kilopascal> {
        let limits = &settings.plausibility;
        let reading = sample.barometer.0;
        let in_range = is_within(reading, limits.barometer_min.0, limits.barometer_max.0);
        let judged = self.barometer.judge_range(reading, in_range, limits);
        faults.assign(Fault::BarometerRange, judged.is_fault());
        judged.value.map(Kilopascal)
    }

    fn boost(
        &mut self,
        settings: &Settings,
        sample: &Sample,
        demand: &EngineDemand,
        barometer: Option<Kilopascal>,
        faults: &mut FaultSet,
    ) -> (Option<Kilopascal>, bool) {
        let limits = &settings.plausibility;
        let top = limits.boost_saturated.0;
        let at_top = sample.boost.0 >= top;
        let reading = if at_top { top } else { sample.boost.0 };
        let judged = self.boost.judge(reading, reading >= limits.boost_min.0, limits.boost_step.0, limits);
        faults.assign(Fault::BoostRange, judged.verdict == ReadingState::OutOfRange);
        faults.assign(Fault::BoostJump, judged.verdict == ReadingState::Jumped);

        let saturated = self.boost_top.judge_range(0.0, !at_top, limits).is_fault();
        faults.assign(Fault::BoostSaturated, saturated);

        let mismatch = self.rest_mismatch(settings, reading, demand, barometer);
        faults.assign(Fault::BoostBarometerMismatch, mismatch);
        let stuck = judged.value.is_some_and(|boost| self.stuck.is_stuck(boost, demand.load.get(), limits));
        // A reading at the top of its range may well stand still.
        let load = if demand.mode == Mode::Boost && !at_top { demand.load.get() } else { 0.0 };
        let movers = BoostMovers { vanes: sample.position, load };
        let is_stuck = self.repeats.is_frozen(reading, movers, limits) || stuck;
        faults.assign(Fault::BoostStuck, is_stuck);

        let trusted = judged.value.filter(|_| !mismatch && !is_stuck).map(Kilopascal);
        (if saturated { Some(Kilopascal(top)) } else { trusted }, saturated)
    }

    /// Judged only with the engine at rest; the verdict stays while it runs.
    fn rest_mismatch(
        &mut self,
        settings: &Settings,
        boost: f32,
        demand: &EngineDemand,
        barometer: Option<Kilopascal>,
    ) -> bool {
        let limits = &settings.plausibility;
        let at_rest = demand.engine_speed.0 < AT_REST_RPM && demand.mode == Mode::Idle;
        if let (true, Some(barometer)) = (at_rest, barometer) {
            let agrees = libm::fabsf(boost - barometer.0) <= limits.rest_mismatch.0;
            // The manifold empties slowly after a stop, so both verdicts take the healing time.
            self.rest.judge_slowly(agrees, limits.heal_ticks);
        }
        self.rest.is_fault()
    }

    /// The turbo turns faster than any flow through it allows at this boost.
    fn is_outrun(
        &mut self,
        settings: &Settings,
        sample: &Sample,
        turbo_speed: Option<Rpm>,
        barometer: Option<Kilopascal>,
    ) -> bool {
        if let (Some(speed), Some(barometer)) = (turbo_speed, barometer) {
            let limits = &settings.guard.limits;
            let ratio = Place::on(&limits.speed_estimate_ratio, sample.boost.0 / barometer.0);
            let highest = ratio.along(&limits.speed_estimate_rpm);
            let is_possible = speed.0 <= highest * (1.0 + settings.plausibility.boost_speed_excess);
            // Boost follows speed as the manifold fills, so both verdicts take the healing time.
            self.outrun.judge_slowly(is_possible, settings.plausibility.heal_ticks);
        }
        self.outrun.is_fault()
    }

    /// Exhaust pressure stands further over boost than a sound engine under load keeps it. Judged without turbo speed,
    /// which knows better; the verdict stays while the engine runs, for vanes held open hide what led to it.
    fn is_outpressed(
        &mut self,
        limits: &PlausibilitySettings,
        boost: Kilopascal,
        demand: &EngineDemand,
        exhaust: Option<Kilopascal>,
    ) -> bool {
        let is_over = exhaust.is_some_and(|exhaust| exhaust.0 > limits.exhaust_over_boost * boost.0)
            && demand.mode == Mode::Boost
            && demand.load.get() >= LOADED;
        if !is_over && self.outpressed.is_calm() {
            return false;
        }
        if !self.outpressed.is_fault() || demand.engine_speed.0 < AT_REST_RPM {
            self.outpressed.judge_slowly(!is_over, limits.heal_ticks);
        }
        self.outpressed.is_fault()
    }

    fn exhaust(&mut self, settings: &Settings, sample: &Sample, faults: &mut FaultSet) -> Option<Kilopascal> {
        let limits = &settings.plausibility;
        let reading = sample.exhaust?.0;
        let in_range = is_within(reading, limits.boost_min.0, limits.exhaust_max.0);
        let judged = self.exhaust.judge_range(reading, in_range, limits);
        faults.assign(Fault::ExhaustRange, judged.is_fault());
        judged.value.map(Kilopascal)
    }

    /// `pressed` is boost and barometer, while both are believed.
    fn turbo_speed(
        &mut self,
        settings: &Settings,
        sample: &Sample,
        pressed: Option<(Kilopascal, Kilopascal)>,
        faults: &mut FaultSet,
    ) -> Option<Rpm> {
        let limits = &settings.plausibility;
        let reading = sample.turbo_speed?.0;
        let least = pressed.map_or(0.0, |(boost, barometer)| least_speed(settings, boost.0 / barometer.0));
        let in_range = is_within(reading, least, limits.turbo_speed_max.0);
        let judged: ReadingJudged =
            self.turbo_speed.judge(reading, in_range, limits.turbo_speed_step.0, limits);
        faults.assign(Fault::TurboSpeedRange, judged.is_fault());
        judged.value.map(Rpm)
    }
}

/// Lowest turbo speed at which a compressor can hold this pressure ratio: a dead sensor reads less.
fn least_speed(settings: &Settings, ratio: f32) -> f32 {
    if ratio < COMPRESSING_RATIO {
        return 0.0;
    }
    let limits = &settings.guard.limits;
    LEAST_SPEED_SHARE * Place::on(&limits.speed_estimate_ratio, ratio).along(&limits.speed_estimate_rpm)
}

#[cfg(test)]
mod tests;
