//! Makes the world as its faults have it.
//!
//! In: the sound parameters and the faults present at a moment. Out: changed actuator, hoses, supply and
//! sensors, and the time of the next change. Refuses a fault that makes a parameter impossible.

use firmware_core::sample::BridgeLine;

use super::debris::Debris;
use super::loose_stop::LooseStop;
use super::sensors::ConverterState;
use super::{Fault, FaultKind, StopFault, World};
use crate::actuator::{ActuatorParams, LeverJoint, StopParams, TravelEnd};
use crate::airpath::HoseState;
use crate::check::BadParameter;
use crate::sensor::Signal;

/// Air flow at which a blocked hose's loss is stated, kg/s.
const HOSE_REFERENCE_KG_S: f64 = 0.06;
/// Resistance of a broken winding, Ω.
const BROKEN_WINDING_OHM: f64 = 1e7;

impl World {
    /// Tries the faults of every moment at which one sets in or ends, so that none can fail later.
    pub(super) fn check_faults(&mut self) -> Result<(), BadParameter> {
        let faults = self.config.faults.clone();
        let times = faults.iter().flat_map(|fault| [Some(fault.at_s), fault.until_s]).flatten();
        for time_s in times {
            self.apply_faults(time_s)?;
        }
        Ok(())
    }

    /// Makes everything as the faults present at `time_s` have it, starting from the sound parameters.
    pub(super) fn apply_faults(&mut self, time_s: f64) -> Result<(), BadParameter> {
        let faults = core::mem::take(&mut self.config.faults);
        let result = self.apply(&faults, time_s);
        self.config.faults = faults;
        result
    }

    fn apply(&mut self, faults: &[Fault], time_s: f64) -> Result<(), BadParameter> {
        let mut actuator = self.sound;
        actuator.ring.friction = actuator.ring.friction.scaled(self.ring_heat_factor);
        self.hose = HoseState::default();
        self.supply_v = self.sound.bridge.supply_v;
        self.drive_sign = self.config.opening.sign();
        self.engine.set_fuel_response(self.config.engine.fuel_response);
        self.sensors.clear_faults();
        self.converter = ConverterState::Converting;
        self.bridge = BridgeLine::Quiet;
        self.loose = None;
        let pushed_rad = self.debris.take().map_or(0.0, |debris| debris.moved_rad());
        for fault in faults.iter().filter(|fault| fault.is_present(time_s)) {
            self.apply_one(fault, &mut actuator);
            if let FaultKind::Debris(params) = fault.what {
                let debris = Debris::new(params, pushed_rad);
                actuator.ring.obstruction = Some(debris.obstruction());
                self.debris = Some(debris);
            }
        }
        self.actuator.change(|params| *params = actuator).map_err(|e| e.within("faults: actuator"))?;
        let loose = faults.iter().filter(|fault| fault.is_present(time_s));
        self.loose = loose.filter_map(|fault| LooseStop::new(loose_ring_stop(fault.what)?, &actuator)).next();
        let later = faults.iter().flat_map(|fault| [Some(fault.at_s), fault.until_s]).flatten();
        self.next_event_s = later.filter(|at_s| *at_s > time_s).fold(f64::INFINITY, f64::min);
        Ok(())
    }

    fn apply_one(&mut self, fault: &Fault, actuator: &mut ActuatorParams) {
        let ring = &mut actuator.ring;
        let mut disturb = |signal, what| self.sensors.channels.add_fault(signal, what, fault.at_s);
        match fault.what {
            FaultKind::PositionSensor(what) => {
                if let Some(what) = self.sensors.position.add_fault(what) {
                    disturb(Signal::Position, what);
                }
            }
            FaultKind::CurrentSensor(what) => disturb(Signal::Current, what),
            FaultKind::BoostSensor(what) => disturb(Signal::Boost, what),
            FaultKind::ExhaustSensor(what) => disturb(Signal::Exhaust, what),
            FaultKind::Barometer(what) => disturb(Signal::Barometer, what),
            FaultKind::TurboSpeedSensor(what) => disturb(Signal::TurboSpeed, what),
            FaultKind::Supply(volts) => self.supply_v = volts,
            FaultKind::SupplyResistance(ohm) => actuator.bridge.source_resistance_ohm += ohm,
            FaultKind::WindingOpen => actuator.motor.resistance_ohm = BROKEN_WINDING_OHM,
            FaultKind::ConverterFrozen => self.converter = ConverterState::Frozen,
            FaultKind::Bridge => self.bridge = BridgeLine::Fault,
            FaultKind::MotorReversed => self.drive_sign = -self.drive_sign,
            FaultKind::SpringBroken => actuator.spring = None,
            FaultKind::Ring(condition) => ring.friction = ring.friction.in_condition(condition),
            FaultKind::SootPatch(patch) => ring.soot_patch = Some(patch),
            FaultKind::Obstruction(obstruction) => ring.obstruction = Some(obstruction),
            FaultKind::RingStop(end, fault) => change_stop(ring.stops.at_mut(end), end, fault),
            FaultKind::LeverStop(end, fault) => change_stop(actuator.lever_stops.at_mut(end), end, fault),
            FaultKind::JointPlayDeg(degrees) => actuator.linkage = LeverJoint::with_play_deg(degrees),
            FaultKind::RodOff => actuator.linkage = LeverJoint::Detached,
            FaultKind::HoseLeakMm2(area) => self.hose.leak_area_m2 += area * 1e-6,
            FaultKind::HoseBlockedKpa(loss) => {
                self.hose.loss_pa_per_kg2_s2 += loss * 1e3 / (HOSE_REFERENCE_KG_S * HOSE_REFERENCE_KG_S);
            }
            // Needs to know how far it was pushed.
            FaultKind::Debris(_) => {}
            FaultKind::Fuel(response) => self.engine.set_fuel_response(response),
        }
    }
}

fn loose_ring_stop(what: FaultKind) -> Option<(TravelEnd, f64, f64)> {
    let FaultKind::RingStop(end, StopFault::Loose { play_rad, drift_rad }) = what else { return None };
    Some((end, play_rad, drift_rad))
}

fn change_stop(stop: &mut Option<StopParams>, end: TravelEnd, fault: StopFault) {
    match fault {
        StopFault::Changed(condition) => *stop = stop.map(|s| s.in_condition(condition, end)),
        StopFault::Missing => *stop = None,
        StopFault::Loose { .. } => {}
    }
}
