//! A command in, duty out: position loop, current loop or plain duty, all through the same limits.
//!
//! Refused by name, with the drive off: a position command without position or calibration, a current
//! that is not a number.

use crate::calibration::Calibration;
use crate::command::Command;
use crate::faults::{FaultSet, Limit, LimitSet};
use crate::limits::{DriveNow, LimitMemory, Push};
use crate::plausibility::Vetted;
use crate::position::regulator::OutputRange;
use crate::position::speed::Speed;
use crate::position::{Errand, PositionLoop};
use crate::settings::Settings;
use crate::units::{Ampere, Duty, Opening, Volt};

/// Memory of the loops and the limits.
#[derive(Debug, Clone, Default)]
pub(super) struct Actuation {
    position: PositionLoop,
    speed: Speed,
    limits: LimitMemory,
    /// Volts that the current loop has added to its feed-forward.
    current_rest_v: f32,
}

/// What was done in a tick.
#[derive(Debug, Clone, Copy)]
pub(super) struct Actuated {
    pub(super) duty: Duty,
    /// Opening that the position loop follows, where it runs.
    pub(super) target: Option<Opening>,
    pub(super) limits: LimitSet,
    pub(super) faults: FaultSet,
}

/// Duty before the limits.
struct DutyAsked {
    duty: Duty,
    push: Push,
    target: Option<Opening>,
    limits: LimitSet,
}

impl Actuation {
    /// One tick. `place` is the measured opening with its calibration, while both are known; `share` of the largest
    /// current may flow.
    pub(super) fn tick(
        &mut self,
        settings: &Settings,
        vetted: &Vetted,
        place: Option<(f32, &Calibration)>,
        command: Command,
        push: Push,
        share: f32,
    ) -> Actuated {
        let drive = DriveNow {
            supply: vetted.supply,
            back_emf: self.back_emf(settings, vetted),
            motor_current: vetted.motor_current,
            position: vetted.position,
            max_current: Ampere(settings.actuator.max_current.0 * share),
        };
        let plain = |duty| DutyAsked { duty, push, target: None, limits: LimitSet::NONE };
        let refused = |limit| DutyAsked { limits: LimitSet::only(limit), ..plain(Duty::ZERO) };
        let pull = match (command, place) {
            (Command::Opening(wanted), Some((measured, calibration))) => {
                self.current_rest_v = 0.0;
                self.follow_opening(settings, &drive, calibration, wanted, measured, push)
            }
            (Command::Current(wanted), _) if wanted.is_finite() => {
                self.position.reset();
                plain(self.follow_current(settings, &drive, wanted))
            }
            (Command::Duty(duty), _) => {
                self.rest();
                plain(duty)
            }
            (Command::Release, _) => {
                self.rest();
                plain(Duty::ZERO)
            }
            (Command::Opening(_), None) => {
                self.rest();
                refused(Limit::NoPosition)
            }
            (Command::Current(_), _) => {
                self.rest();
                refused(Limit::NotANumber)
            }
        };
        let limited = self.limits.tick(settings, &drive, pull.duty, pull.push);
        if matches!(command, Command::Current(_)) {
            // What the limits took away must not wind up behind them.
            self.current_rest_v += (limited.duty.get() - pull.duty.get()) * drive.supply.0;
        }
        Actuated {
            duty: limited.duty,
            target: pull.target,
            limits: pull.limits.union(limited.limits),
            faults: limited.faults,
        }
    }

    pub(super) fn heat_share(&self, settings: &Settings) -> f32 {
        self.limits.heat_share(settings)
    }

    /// Both loops forget; heat and stall are remembered.
    pub(super) fn rest(&mut self) {
        self.position.reset();
        self.current_rest_v = 0.0;
    }

    /// Back-EMF from lever speed, positive when opening; never more than the supply could have made.
    fn back_emf(&mut self, settings: &Settings, vetted: &Vetted) -> Volt {
        let actuator = &settings.actuator;
        let counts_per_s = self.speed.tick(vetted.position) * actuator.counts_direction.sign();
        let supply = symmetric(vetted.supply.0);
        Volt(supply.hold(counts_per_s * actuator.back_emf_v_per_count_per_s))
    }

    fn follow_opening(
        &mut self,
        settings: &Settings,
        drive: &DriveNow,
        calibration: &Calibration,
        wanted: Opening,
        measured: f32,
        push: Push,
    ) -> DutyAsked {
        let actuator = &settings.actuator;
        let wanted = calibration.inside_clearance(wanted);
        let room = drive.max_current.0 * actuator.winding_resistance_ohm;
        let most = symmetric(drive.supply.0 * actuator.max_duty.get());
        let range =
            OutputRange { low: most.hold(drive.back_emf.0 - room), high: most.hold(drive.back_emf.0 + room) };
        let span = libm::fabsf(calibration.span_counts());
        let errand = Errand {
            wanted: wanted.get(),
            measured,
            back_emf_v_per_opening_per_s: actuator.back_emf_v_per_count_per_s * span,
            range,
        };
        let pull = self.position.tick(&settings.position, &errand);
        let duty = Duty::saturating(pull.volts / drive.supply.0, Duty::ZERO);
        let push = if presses_into_stop(measured, duty) {
            Push::IntoStop
        } else if pull.is_resting {
            Push::Holding
        } else {
            push
        };
        DutyAsked { duty, push, target: Some(wanted), limits: LimitSet::NONE }
    }

    /// Winding resistance and back-EMF are fed forward, an integral takes care of the rest.
    fn follow_current(&mut self, settings: &Settings, drive: &DriveNow, wanted: Ampere) -> Duty {
        let resistance = settings.actuator.winding_resistance_ohm;
        let wanted = symmetric(drive.max_current.0).hold(wanted.0);
        let supply = symmetric(drive.supply.0);
        if let Some(current) = drive.motor_current {
            let step = settings.limits.current_loop_gain * resistance * (wanted - current.0);
            self.current_rest_v = supply.hold(self.current_rest_v + step);
        }
        let ahead = wanted * resistance + drive.back_emf.0;
        let volts = supply.hold(ahead + self.current_rest_v);
        self.current_rest_v = volts - ahead;
        Duty::saturating(volts / drive.supply.0, Duty::ZERO)
    }
}

/// The position loop pushes a lever that already stands at a stop.
fn presses_into_stop(measured: f32, duty: Duty) -> bool {
    (measured <= 0.0 && duty < Duty::ZERO) || (measured >= 1.0 && duty > Duty::ZERO)
}

fn symmetric(most: f32) -> OutputRange {
    OutputRange { low: -most, high: most }
}
