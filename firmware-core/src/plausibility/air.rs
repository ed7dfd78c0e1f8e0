//! Readings of the air path, each also held against the others.

use super::channel::{ReadingJudged, ReadingState};
use super::repeats::BoostMovers;
use super::{Air, Plausibility};
use crate::faults::{Fault, FaultSet};
use crate::sample::{EngineDemand, Mode, Sample};
use crate::settings::{PlausibilitySettings, Settings};
use crate::tables::Place;
use crate::units::{Kilopascal, Load, Rpm, is_within};

/// Below this engine speed the engine is at rest and boost must read the barometer, rpm.
pub(super) const AT_REST_RPM: f32 = 50.0;
/// Pressure ratio from which only a turning compressor explains the boost.
const COMPRESSING_RATIO: f32 = 1.5;
/// Share of the highest speed at a ratio that a compressor has at the least. Pressure rises with the square
/// of speed, so a quarter gives a sixteenth of the rise: common practice, no source.
pub(super) const LEAST_SPEED_SHARE: f32 = 0.25;
/// Load from which exhaust pressure is held against boost: below it the pipe's own pressures count for too much.
const LOADED: f32 = 0.3;
/// Highest engine speed and boost target that are numbers and not noise, rpm and kPa.
pub(super) const DEMAND_MAX: f32 = 20_000.0;

impl Plausibility {
    pub(super) fn air(
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
