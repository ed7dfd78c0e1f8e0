//! Duty in, bridge pins out, through `embedded-hal`.
//!
//! Two common bridges: one PWM with a direction pin, and one PWM for each half bridge. Pin errors come
//! back as [`DriveError`]; the caller drops the bridge's enable line then, since duty 0 may not have
//! been written.

use embedded_hal::digital::OutputPin;
use embedded_hal::pwm::SetDutyCycle;

use crate::units::Duty;

/// Why a duty did not reach the bridge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum DriveError {
    /// The PWM refused the duty.
    Pwm,
    /// The direction pin refused its level.
    DirectionPin,
}

/// Something that a duty can be given to.
pub trait Bridge {
    /// Outputs a duty; positive opens the vanes.
    ///
    /// # Errors
    /// [`DriveError`] when a pin refuses.
    fn set(&mut self, duty: Duty) -> Result<(), DriveError>;
}

/// One PWM and a direction pin, high to open.
#[derive(Debug)]
pub struct PwmAndDirection<P, D> {
    /// PWM of the whole bridge.
    pub pwm: P,
    /// Direction, high to open.
    pub direction: D,
}

/// One PWM for each half bridge; the other one rests at 0.
#[derive(Debug)]
pub struct TwoPwm<P> {
    /// Drives toward open.
    pub open: P,
    /// Drives toward closed.
    pub close: P,
}

impl<P: SetDutyCycle, D: OutputPin> Bridge for PwmAndDirection<P, D> {
    fn set(&mut self, duty: Duty) -> Result<(), DriveError> {
        // The level changes only at a moving duty, so rest does not wear the bridge's input.
        if duty != Duty::ZERO {
            let level = if duty > Duty::ZERO { self.direction.set_high() } else { self.direction.set_low() };
            level.map_err(|_| DriveError::DirectionPin)?;
        }
        set_magnitude(&mut self.pwm, duty)
    }
}

impl<P: SetDutyCycle> Bridge for TwoPwm<P> {
    fn set(&mut self, duty: Duty) -> Result<(), DriveError> {
        // The half that rests is switched off first: never both at once.
        let (resting, driving) = if duty >= Duty::ZERO {
            (&mut self.close, &mut self.open)
        } else {
            (&mut self.open, &mut self.close)
        };
        resting.set_duty_cycle_fully_off().map_err(|_| DriveError::Pwm)?;
        set_magnitude(driving, duty)
    }
}

fn set_magnitude<P: SetDutyCycle>(pwm: &mut P, duty: Duty) -> Result<(), DriveError> {
    let most = f32::from(pwm.max_duty_cycle());
    // Below 2^16 by construction; the cast saturates anyway.
    pwm.set_duty_cycle(libm::roundf(libm::fabsf(duty.get()) * most) as u16).map_err(|_| DriveError::Pwm)
}

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_hal_mock::eh1::digital::{Mock as Pin, State, Transaction as PinStep};
    use embedded_hal_mock::eh1::pwm::{Mock as Pwm, Transaction as PwmStep};

    fn duty(value: f32) -> Duty {
        Duty::try_new(value).unwrap()
    }

    #[test]
    fn a_direction_bridge_gets_its_direction_before_its_duty() {
        let steps = [PwmStep::max_duty_cycle(1000), PwmStep::set_duty_cycle(250)];
        let pwm = Pwm::new(&steps);
        let direction = Pin::new(&[PinStep::set(State::Low)]);
        let mut bridge = PwmAndDirection { pwm, direction };
        bridge.set(duty(-0.25)).unwrap();
        bridge.pwm.done();
        bridge.direction.done();
    }

    #[test]
    fn two_half_bridges_never_drive_at_once() {
        let open = Pwm::new(&[PwmStep::max_duty_cycle(1000), PwmStep::set_duty_cycle(500)]);
        let close = Pwm::new(&[PwmStep::set_duty_cycle(0)]);
        let mut bridge = TwoPwm { open, close };
        bridge.set(duty(0.5)).unwrap();
        bridge.open.done();
        bridge.close.done();
    }
}
