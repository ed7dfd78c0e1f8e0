//! Whether the current that flows is the one that duty, supply and speed call for.
//!
//! In: what was put on the motor in the last tick, and the reading that came of it. Out: a current that is
//! missing, one that a sound winding cannot draw, a reading that cannot be; and how far the drive is cut
//! back until the reading keeps the limit. Nothing is said where a sound unit could read the same.

use super::DriveNow;
use crate::faults::{Fault, FaultSet};
use crate::settings::Settings;
use crate::units::{Ampere, larger, smaller};

/// Share of the supply that a sound bridge may lose to dead time: common practice, no source.
const DEAD_TIME_SHARE: f32 = 0.04;
/// Winding at 170 °C (copper 0.393 %/K: 1.59 times that at 20 °C), made 10 % over its nominal resistance.
const MOST_RESISTANCE: f32 = 1.75;
/// Torque constant 10 % over nominal, and as much again for a speed that the filter still follows.
const MOST_BACK_EMF: f32 = 1.2;
/// Share of the largest current below which an absence is not told from the reading's offset.
const JUDGED_FROM: f32 = 0.1;
/// Share of the current that must flow, below which it does not.
const MISSING_SHARE: f32 = 0.2;
/// Ticks of that before it is a fault: many times the winding's time constant and the speed filter's.
const MISSING_TICKS: u16 = 100;
/// Share of the nominal resistance that only a short goes below: at −40 °C copper has 0.76 of it, made 10 %
/// under nominal 0.69.
const SHORTED_SHARE: f32 = 0.5;
/// Share of the largest current below which a reading's offset may look like a short.
const JUDGED_SHORT_FROM: f32 = 0.5;
/// Change of the filtered speed in a tick, times this, is what the filter has still to follow: one and its
/// time constant in ticks.
const SPEED_LAG: f32 = 4.0;
/// Share of the resistance that bridge and leads alone pass: what still reads over the limit is no current.
const LEADS_SHARE: f32 = 1.0 / 64.0;
/// What a cut gives back in a tick: all of it in half a second, so that it stands at what the winding takes.
const RECOVERY: f32 = 0.002;

/// Memory of the check.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Flow {
    /// Motor volts of the last tick.
    volts: f32,
    /// Back-EMF of the last tick, V.
    back_emf: f32,
    /// Share of the winding's resistance by which the reading has cut the drive back, 0 to 1.
    cut: f32,
    missing: u16,
    shorted: u16,
    impossible: u16,
    /// The reading is at fault.
    is_ignored: bool,
}

impl Flow {
    /// Judges the reading that the last tick's volts made; gives it back where it may be believed.
    pub(super) fn tick(&mut self, settings: &Settings, drive: &DriveNow) -> Option<Ampere> {
        let reading = drive.motor_current.filter(|_| !self.is_impossible(settings, drive));
        let Some(measured) = reading else {
            (self.cut, self.missing, self.shorted) = (0.0, 0, 0);
            return None;
        };
        let size = libm::fabsf(measured.0);
        self.watch_missing(settings, drive, size);
        self.watch_excess(settings, drive, size);
        self.back_emf = drive.back_emf.0;
        Some(measured)
    }

    /// Remembers what is put on the motor in this tick.
    pub(super) fn drive_with(&mut self, volts: f32) {
        self.volts = volts;
    }

    /// Share of the winding's nominal resistance that the drive may count on.
    pub(super) fn resistance_share(&self) -> f32 {
        1.0 - self.cut
    }

    /// What stands.
    pub(super) fn faults(&self) -> FaultSet {
        let mut faults = FaultSet::NONE;
        faults.assign(Fault::CurrentMissing, self.missing >= MISSING_TICKS);
        faults.assign(Fault::OverCurrent, self.shorted >= MISSING_TICKS);
        faults.assign(Fault::CurrentRange, self.is_ignored);
        faults
    }

    /// Cuts the drive back to the resistance that the reading shows, and counts what only a short shows.
    fn watch_excess(&mut self, settings: &Settings, drive: &DriveNow, size: f32) {
        let actuator = &settings.actuator;
        let most = actuator.max_current.0;
        let seen = self.surely_driving(drive) / (size * actuator.winding_resistance_ohm);
        let share = smaller(self.resistance_share() + RECOVERY, 1.0);
        self.cut = 1.0 - if size > drive.max_current.0 { smaller(share, seen) } else { share };
        // Before an actuator is known every reading is over the limit of none.
        let is_judged = most > 0.0 && size > JUDGED_SHORT_FROM * most;
        let is_shorted = is_judged && seen < SHORTED_SHARE;
        self.shorted = if is_shorted { self.shorted.saturating_add(1) } else { 0 };
    }

    /// The most volts that can have been left over for the winding: the back-EMF is uncertain by its
    /// constant, and by what the speed filter has still to follow.
    fn surely_driving(&self, drive: &DriveNow) -> f32 {
        let back_emf = drive.back_emf.0;
        let uncertain = (MOST_BACK_EMF - 1.0) * libm::fabsf(back_emf);
        libm::fabsf(self.volts - back_emf) + uncertain + SPEED_LAG * libm::fabsf(back_emf - self.back_emf)
    }

    fn watch_missing(&mut self, settings: &Settings, drive: &DriveNow, size: f32) {
        if self.volts == 0.0 {
            // A bridge that is off carries nothing, whatever turns the motor.
            self.missing = 0;
            return;
        }
        let surely = self.surely_flowing(settings, drive);
        if surely > JUDGED_FROM * settings.actuator.max_current.0 {
            let is_missing = size < MISSING_SHARE * surely;
            self.missing = if is_missing { self.missing.saturating_add(1) } else { 0 };
        }
    }

    /// The least current that a sound unit draws, A: hot winding, strong magnets, slow switches. Braking
    /// current is left out, for not every bridge carries it; so is a vane whose speed is unknown.
    fn surely_flowing(&self, settings: &Settings, drive: &DriveNow) -> f32 {
        if drive.position.is_none() {
            return 0.0;
        }
        let along = libm::copysignf(1.0, self.volts);
        let opposing = larger(drive.back_emf.0 * along, 0.0) * MOST_BACK_EMF;
        let left = libm::fabsf(self.volts) - opposing - DEAD_TIME_SHARE * drive.supply.0;
        left / (MOST_RESISTANCE * settings.actuator.winding_resistance_ohm)
    }

    /// True while the reading is over the limit although next to nothing drives the motor or turns it: a
    /// reading like that must not take the drive away for ever.
    fn is_impossible(&mut self, settings: &Settings, drive: &DriveNow) -> bool {
        let Some(reading) = drive.motor_current else { return false };
        let most = settings.actuator.max_current.0;
        let behind = libm::fabsf(self.volts) + libm::fabsf(drive.back_emf.0);
        let is_idle = behind < LEADS_SHARE * most * settings.actuator.winding_resistance_ohm;
        let is_over = libm::fabsf(reading.0) > most;
        let (against, ticks) = if self.is_ignored {
            (!is_over, settings.plausibility.heal_ticks)
        } else {
            (is_over && is_idle, settings.plausibility.debounce_ticks)
        };
        self.impossible = if against { self.impossible.saturating_add(1) } else { 0 };
        if self.impossible >= ticks {
            (self.is_ignored, self.impossible) = (!self.is_ignored, 0);
        }
        self.is_ignored
    }
}

#[cfg(test)]
mod tests;
