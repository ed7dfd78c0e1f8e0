//! Turns raw readings into values that may be calculated with, or says which sensor is wrong.
//!
//! A wrong reading is bridged with the last sound one while it is debounced, then the sensor is at fault
//! and its value is gone (`None`, or a stated substitute) until it has been sound for the healing time.
//! NaN and infinity end here. A reading that is no longer converted is old, whatever it says: it is gone too.

mod air;
mod channel;
mod freshness;
mod repeats;
mod vetted;

use crate::faults::{Fault, FaultSet};
use crate::sample::{BridgeLine, Request, Sample};
use crate::settings::Settings;
use crate::units::{Ampere, Counts, Volt, is_within};
use channel::{Channel, Frozen, ReadingState, Window};
use freshness::Freshness;
use repeats::Repeats;

pub use freshness::FROZEN_TICKS;
pub use vetted::{Air, Vetted};

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
}

#[cfg(test)]
mod tests;
