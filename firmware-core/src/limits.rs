//! What no command may pass: duty, current, winding heat, stall, end stops.
//!
//! Every source of commands (engine, motion profile, learner) ends here. A limit only ever takes away:
//! the duty it leaves lies between zero and what was asked for.

use crate::faults::{Fault, FaultSet, Limit, LimitSet};
use crate::settings::Settings;
use crate::units::{Ampere, Counts, Duty, TICK_SECONDS, Volt};

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
pub struct Drive {
    /// Supply.
    pub supply: Volt,
    /// Back-EMF, positive when opening.
    pub back_emf: Volt,
    /// Measured current, where sound.
    pub motor_current: Option<Ampere>,
    /// Position, while it is known.
    pub position: Option<Counts>,
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
pub struct Limits {
    /// Mean square current, A².
    heat: f32,
    /// Current that flowed in the last tick, A: measured, or estimated from duty.
    current: f32,
    /// Ticks in which the current that should flow did not.
    missing: u16,
    stall: Stall,
}

/// Heat, as a fraction of what the winding can take for ever, at which the current is faded down.
const FADE_FROM: f32 = 0.7;

/// Share of the current that duty and back-EMF call for, below which it does not flow.
const MISSING_SHARE: f32 = 0.2;
/// Ticks of that before it is a fault: many times the winding's time constant and the speed filter's.
const MISSING_TICKS: u16 = 100;

impl Limits {
    /// Takes away from `wanted` what must not be.
    pub fn tick(&mut self, settings: &Settings, drive: &Drive, wanted: Duty, push: Push) -> Limited {
        let mut limits = LimitSet::NONE;
        self.heat_up(settings, drive);
        let stalled = self.stall.tick(settings, drive, self.current, wanted, push);
        let mut allowed = settings.actuator.max_current.0;
        let mut acting = Limit::Current;
        let by_heat = self.current_by_heat(settings);
        if by_heat < allowed {
            (allowed, acting) = (by_heat, Limit::Heat);
        }
        if stalled && settings.limits.stalled_current.0 < allowed {
            (allowed, acting) = (settings.limits.stalled_current.0, Limit::Stall);
        }
        let resistance = settings.actuator.winding_resistance_ohm;
        let room = allowed * resistance;
        let (low, high) = (drive.back_emf.0 - room, drive.back_emf.0 + room);
        let mut duty = wanted.get();
        let volts = duty * drive.supply.0;
        if volts > high || volts < low {
            limits.insert(acting);
            let held = libm::fminf(libm::fmaxf(volts, low), high) / drive.supply.0;
            duty = toward_zero(duty, held);
        }
        let most = match push {
            Push::Normal | Push::Holding | Push::BreakAway => settings.actuator.max_duty.get(),
            Push::IntoStop => {
                libm::fminf(settings.limits.end_stop_duty.get(), settings.actuator.max_duty.get())
            }
        };
        if libm::fabsf(duty) > most {
            limits.insert(if push == Push::IntoStop { Limit::EndStop } else { Limit::Duty });
            duty = libm::copysignf(most, duty);
        }
        self.current = estimated_current(duty, drive, resistance);
        let mut faults = FaultSet::NONE;
        faults.assign(Fault::Stalled, stalled);
        faults.assign(Fault::CurrentMissing, self.missing >= MISSING_TICKS);
        Limited { duty: Duty::saturating(duty, Duty::ZERO), limits, faults }
    }

    fn heat_up(&mut self, settings: &Settings, drive: &Drive) {
        if let Some(measured) = drive.motor_current {
            let is_missing = libm::fabsf(self.current) > settings.limits.stall_current.0
                && libm::fabsf(measured.0) < MISSING_SHARE * libm::fabsf(self.current);
            self.missing = if is_missing { self.missing.saturating_add(1) } else { 0 };
            self.current = measured.0;
        }
        let square = self.current * self.current;
        self.heat += (square - self.heat) * (TICK_SECONDS / settings.limits.heat_time_s);
    }

    /// Largest current that heat still allows: full below [`FADE_FROM`], continuous at the limit.
    fn current_by_heat(&self, settings: &Settings) -> f32 {
        let continuous = settings.limits.continuous_current.0;
        let most = settings.actuator.max_current.0;
        let used = self.heat / (continuous * continuous);
        if used <= FADE_FROM || most <= continuous {
            return most;
        }
        let faded = most + (continuous - most) * (used - FADE_FROM) / (1.0 - FADE_FROM);
        libm::fmaxf(faded, FADE_FROM * continuous)
    }
}

/// The held duty when it lies between zero and the wanted one, else the nearer of the two.
fn toward_zero(wanted: f32, held: f32) -> f32 {
    if wanted > 0.0 {
        libm::fminf(libm::fmaxf(held, 0.0), wanted)
    } else {
        libm::fmaxf(libm::fminf(held, 0.0), wanted)
    }
}

fn estimated_current(duty: f32, drive: &Drive, resistance: f32) -> f32 {
    (duty * drive.supply.0 - drive.back_emf.0) / resistance
}

/// Watches for push without travel.
#[derive(Debug, Clone, Copy, Default)]
struct Stall {
    anchor: Option<Counts>,
    ticks: u16,
    pulse: u16,
    heading: Heading,
}

/// Where a duty pushes; a push ends when the drive is let go, whichever way it went.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Heading {
    #[default]
    Off,
    Opening,
    Closing,
}

impl Heading {
    fn of(duty: Duty) -> Self {
        if duty > Duty::ZERO {
            Self::Opening
        } else if duty < Duty::ZERO {
            Self::Closing
        } else {
            Self::Off
        }
    }
}

impl Stall {
    /// True while the push must be taken back.
    fn tick(&mut self, settings: &Settings, drive: &Drive, current: f32, wanted: Duty, push: Push) -> bool {
        let limits = &settings.limits;
        let has_travelled = match (drive.position, self.anchor) {
            (Some(now), Some(anchor)) => {
                libm::fabsf(now.distance_from(anchor) as f32) > limits.stall_travel_counts
            }
            // Blind: time alone counts.
            (None, _) => false,
            (_, None) => true,
        };
        let heading = Heading::of(wanted);
        if has_travelled || heading != self.heading || push == Push::Holding {
            self.anchor = drive.position.or(self.anchor);
            self.ticks = 0;
            self.pulse = 0;
            self.heading = heading;
        }
        let is_stalled = self.ticks >= limits.stall_ticks;
        if libm::fabsf(current) > limits.stall_current.0 {
            self.ticks = self.ticks.saturating_add(1);
        }
        is_stalled && !self.is_pulsing(settings, push)
    }

    /// Full current for a pulse, then a pause, while the guard opens.
    fn is_pulsing(&mut self, settings: &Settings, push: Push) -> bool {
        let limits = &settings.limits;
        self.pulse = self.pulse.saturating_add(1);
        if self.pulse >= limits.break_away_ticks.saturating_add(limits.break_away_pause_ticks) {
            self.pulse = 0;
        }
        push == Push::BreakAway && self.pulse < limits.break_away_ticks
    }
}
