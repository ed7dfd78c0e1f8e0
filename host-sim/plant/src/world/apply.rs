//! Makes the world as its faults have it.
//!
//! In: the sound parameters and the faults present at a moment. Out: changed actuator, hoses, supply and
//! sensors, and the time of the next change. Refuses a fault that makes a parameter impossible.

use super::loose_stop::LooseStop;
use super::{Fault, FaultKind, World};
use crate::airpath::HoseState;
use crate::check::BadParameter;

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
        self.hose = HoseState::default();
        self.supply_v = self.sound.bridge.supply_v;
        self.drive_sign = self.config.opening.sign();
        self.engine.set_fuel_response(self.config.engine.fuel_response);
        self.sensors.clear_faults();
        self.loose = None;
        for fault in faults.iter().filter(|fault| fault.is_present(time_s)) {
            fault.what.change_actuator(&mut actuator);
            fault.what.change_hose(&mut self.hose);
            self.sensors.add_fault(fault);
            match fault.what {
                FaultKind::Supply(volts) => self.supply_v = volts,
                FaultKind::MotorReversed => self.drive_sign = -self.drive_sign,
                FaultKind::Fuel(response) => self.engine.set_fuel_response(response),
                _ => {}
            }
        }
        self.actuator.change(|params| *params = actuator).map_err(|e| e.within("faults: actuator"))?;
        let loose = faults.iter().filter(|fault| fault.is_present(time_s));
        self.loose =
            loose.filter_map(|fault| LooseStop::new(fault.what.loose_ring_stop()?, &actuator)).next();
        let later = faults.iter().flat_map(|fault| [Some(fault.at_s), fault.until_s]).flatten();
        self.next_event_s = later.filter(|at_s| *at_s > time_s).fold(f64::INFINITY, f64::min);
        Ok(())
    }
}
