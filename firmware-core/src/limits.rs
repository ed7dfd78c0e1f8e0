//! What no command may pass: duty, current, winding heat, stall, end stops.
//!
//! Every source of commands (engine, motion profile, learner) ends here. A limit only ever takes away:
//! the duty it leaves lies between zero and what was asked for.

mod flow;
mod stall;
#[cfg(test)]
mod tests;

use crate::faults::{Fault, FaultSet, Limit, LimitSet};
use crate::settings::Settings;
use crate::units::{Ampere, Counts, Duty, TICK_SECONDS, Volt, larger, smaller};
use flow::Flow;
use stall::Stall;

/// How much push is allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Push {
    /// As any command.
    Normal,
    /// The position loop rests where it is wanted: holding is no stall.
    Holding,
    /// The guard opens: pulses of full current past the stall limit.
    BreakAway,
    /// Position loop at a learned end stop, in the direction of this duty's sign.
    IntoStop,
}

/// The drive's state in one tick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DriveNow {
    /// Supply.
    pub supply: Volt,
    /// Back-EMF, positive when opening.
    pub back_emf: Volt,
    /// Measured current, where sound.
    pub motor_current: Option<Ampere>,
    /// Position, while it is known.
    pub position: Option<Counts>,
    /// Largest current that may flow now, never more than the settings allow at all.
    pub max_current: Ampere,
}

/// What the limits left.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Limited {
    /// Duty to output.
    pub duty: Duty,
    /// Limits that took something away.
    pub limits: LimitSet,
    /// Faults found.
    pub faults: FaultSet,
}

/// Memory of the limits.
#[derive(Debug, Clone, Copy, Default)]
pub struct LimitMemory {
    /// Mean square current, A².
    heat: f32,
    /// Current that flowed in the last tick, A: measured, or estimated from duty.
    current: f32,
    flow: Flow,
    stall: Stall,
}

/// Heat, as a fraction of what the winding can take for ever, at which the current is faded down.
const FADE_FROM: f32 = 0.7;

impl LimitMemory {
    /// Takes away from `wanted` what must not be.
    #[inline(always)]
    pub fn tick(&mut self, settings: &Settings, drive: &DriveNow, wanted: Duty, push: Push) -> Limited {
        let mut limits = LimitSet::NONE;
        self.heat_up(settings, drive);
        let stalled = self.stall.tick(settings, drive, self.current, wanted, push);
        let mut allowed = drive.max_current.0;
        let mut acting = Limit::Current;
        let by_heat = self.current_by_heat(settings);
        if by_heat < allowed {
            (allowed, acting) = (by_heat, Limit::Heat);
        }
        if stalled && settings.limits.stalled_current.0 < allowed {
            (allowed, acting) = (settings.limits.stalled_current.0, Limit::Stall);
        }
        let resistance = settings.actuator.winding_resistance_ohm;
        let room = allowed * resistance * self.flow.resistance_share();
        let (low, high) = (drive.back_emf.0 - room, drive.back_emf.0 + room);
        let mut duty = wanted.get();
        let volts = duty * drive.supply.0;
        if volts > high || volts < low {
            limits.insert(acting);
            let held = smaller(larger(volts, low), high) / drive.supply.0;
            duty = toward_zero(duty, held);
        }
        let most = match push {
            Push::Normal | Push::Holding | Push::BreakAway => settings.actuator.max_duty.get(),
            Push::IntoStop => smaller(settings.limits.end_stop_duty.get(), settings.actuator.max_duty.get()),
        };
        if libm::fabsf(duty) > most {
            limits.insert(if push == Push::IntoStop { Limit::EndStop } else { Limit::Duty });
            duty = libm::copysignf(most, duty);
        }
        self.current = estimated_current(duty, drive, resistance);
        self.flow.drive_with(duty * drive.supply.0);
        let mut faults = self.flow.faults();
        faults.assign(Fault::Stalled, stalled);
        Limited { duty: Duty::saturating(duty, Duty::ZERO), limits, faults }
    }

    #[inline(always)]
    fn heat_up(&mut self, settings: &Settings, drive: &DriveNow) {
        if let Some(measured) = self.flow.tick(settings, drive) {
            self.current = measured.0;
        }
        let square = self.current * self.current;
        self.heat += (square - self.heat) * (TICK_SECONDS / settings.limits.heat_time_s);
    }

    /// Heat as a fraction of what the winding can take for ever.
    #[inline]
    pub fn heat_share(&self, settings: &Settings) -> f32 {
        let continuous = settings.limits.continuous_current.0;
        self.heat / (continuous * continuous)
    }

    /// Largest current that heat still allows: full below [`FADE_FROM`], continuous at the limit.
    fn current_by_heat(&self, settings: &Settings) -> f32 {
        let continuous = settings.limits.continuous_current.0;
        let most = settings.actuator.max_current.0;
        let used = self.heat_share(settings);
        if used <= FADE_FROM || most <= continuous {
            return most;
        }
        let faded = most + (continuous - most) * (used - FADE_FROM) / (1.0 - FADE_FROM);
        larger(faded, FADE_FROM * continuous)
    }
}

/// The held duty when it lies between zero and the wanted one, else the nearer of the two.
fn toward_zero(wanted: f32, held: f32) -> f32 {
    if wanted > 0.0 { smaller(larger(held, 0.0), wanted) } else { larger(smaller(held, 0.0), wanted) }
}

fn estimated_current(duty: f32, drive: &DriveNow, resistance: f32) -> f32 {
    (duty * drive.supply.0 - drive.back_emf.0) / resistance
}
