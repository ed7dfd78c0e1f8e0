//! What happens to a world in a tick, in parts: alone they follow one another, in lanes other worlds come between.

use firmware_core::sample::BridgeLine;
use firmware_core::units::Duty;

use super::{ACTUATOR_STEP_S, ACTUATOR_STEPS, Diverged, EngineState, TICK_S, World};
use crate::actuator::{BridgeIdle, WindingDrive};
use crate::airpath::{AirState, AirStepInput, Vanes};

impl World {
    /// Advances by one tick with this duty on the bridge.
    ///
    /// # Errors
    /// [`Diverged`], with the time.
    pub fn step(&mut self, duty: Duty, engine: &EngineState) -> Result<(), Diverged> {
        self.begin(duty);
        self.move_actuator();
        self.note_pushes();
        if let Some(run) = self.begin_air(engine) {
            let arrived = run.after(self.engine.model(), TICK_S);
            self.finish_air(&run, arrived)?;
        }
        self.finish()
    }

    /// Faults that set in or end, and the bridge.
    pub(super) fn begin(&mut self, duty: Duty) {
        let time_s = self.time_s();
        if time_s >= self.next_event_s {
            // Every combination of faults was tried when the world was made.
            let _ = self.apply_faults(time_s);
        }
        self.drive = self.drive_for(duty);
    }

    /// Gas torque on the ring as the actuator counts angles, N m.
    pub(super) fn gas_on_ring_nm(&self) -> f64 {
        self.config.opening.sign() * self.gas_torque_nm
    }

    pub(super) fn move_actuator(&mut self) {
        let gas_nm = self.gas_on_ring_nm();
        self.actuator.run(self.drive, gas_nm, ACTUATOR_STEP_S, ACTUATOR_STEPS);
    }

    /// What the ring's push has changed of stops and debris.
    pub(super) fn note_pushes(&mut self) {
        self.note_loose_stop();
        let Some(debris) = &mut self.debris else { return };
        if debris.give_way(self.actuator.state().ring_rad) {
            let obstruction = debris.obstruction();
            // Only the angle moves, between valid ones.
            let _ = self.actuator.change(|params| params.ring.obstruction = Some(obstruction));
        }
    }

    fn note_loose_stop(&mut self) {
        let Some(loose) = &mut self.loose else { return };
        if let Some(offset_rad) = loose.moved(self.actuator.state().ring_rad, &mut self.rng) {
            let (end, base) = (loose.end, loose.base_rad);
            // A loose stop stays within a few degrees of its place, so the pair stays valid.
            let _ = self.actuator.change(|params| {
                if let Some(stop) = params.ring.stops.at_mut(end) {
                    stop.angle_rad = base + offset_rad;
                }
            });
        }
    }

    /// What the air path is to run through; nothing with the engine standing.
    pub(super) fn begin_air(&mut self, engine: &EngineState) -> Option<AirStepInput> {
        let EngineState::Running(inputs) = engine else {
            self.stand();
            return None;
        };
        self.running = true;
        self.opening_now = self.opening();
        Some(self.engine.begin(inputs, self.opening_now, self.hose, TICK_S))
    }

    /// The engine stands: ambient pressure at once, and a turbo that ran runs down.
    fn stand(&mut self) {
        /// Time constant of the run-down, s. Invented.
        const RUN_DOWN_S: f64 = 1.0;
        if self.running {
            self.run_down_rad_s = self.engine.state()[2];
        }
        self.run_down_rad_s -= self.run_down_rad_s * (TICK_S / RUN_DOWN_S);
        self.engine.stand(self.run_down_rad_s);
        (self.running, self.gas_torque_nm) = (false, 0.0);
    }

    // Not a call: its arguments would be written down and read back in wider pieces, which stalls.
    #[inline(always)]
    pub(super) fn finish_air(
        &mut self,
        run: &AirStepInput,
        arrived: (AirState, Vanes),
    ) -> Result<(), Diverged> {
        let time_s = self.time_s();
        self.engine.finish(arrived, run, self.hose, TICK_S).map_err(|air| Diverged::Air { time_s, air })?;
        let over_vanes_pa = self.engine.state()[1] - self.engine.model().ambient().pressure_pa;
        let stroke_pa = over_vanes_pa * self.engine.stroke_share();
        self.gas_torque_nm = self.gas.toward_open_nm(stroke_pa, self.opening_now);
        self.follow_ring_heat();
        Ok(())
    }

    /// Tells the actuator of its ring's friction at the present temperature, where that has moved.
    pub(super) fn follow_ring_heat(&mut self) {
        const WORTH_TELLING: f64 = 0.005;
        let (now, told) = (self.engine.ring_heat_factor(), self.ring_heat_factor);
        if (now - told).abs() > WORTH_TELLING {
            self.ring_heat_factor = now;
            // A positive factor on sound friction leaves it sound.
            let _ = self.actuator.change(|params| {
                params.ring.friction = params.ring.friction.scaled(now / told);
            });
        }
    }

    /// Counts the tick, and stops a world that ran away.
    pub(super) fn finish(&mut self) -> Result<(), Diverged> {
        let time_s = self.time_s();
        // A backward step has exactly this lag on a ramp.
        let share = TICK_S / (self.config.sensors.boost_lag_s + TICK_S);
        self.lagged_boost_pa += share * (self.boost_at_tap_pa() - self.lagged_boost_pa);
        self.ticks += 1;
        let state = self.actuator.state();
        const FURTHEST_RAD: f64 = 100.0;
        if state.lever_rad.abs() < FURTHEST_RAD && state.current_a.is_finite() {
            return Ok(());
        }
        let (lever_rad, current_a) = (state.lever_rad, state.current_a);
        Err(Diverged::Actuator { time_s, lever_rad, current_a })
    }

    fn drive_for(&self, duty: Duty) -> WindingDrive {
        let duty = f64::from(duty.get());
        let supply_v = self.supply_v;
        let is_off = self.bridge == BridgeLine::Fault || supply_v <= 0.0;
        if is_off || duty == 0.0 && self.sound.bridge.idle == BridgeIdle::Open {
            return WindingDrive::Off { supply_v };
        }
        WindingDrive::Bridge { duty: self.drive_sign * duty, supply_v }
    }
}
