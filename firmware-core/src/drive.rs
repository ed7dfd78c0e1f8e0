//! Duty in, bridge pins out, through `embedded-hal`.
//!
//! Two common bridges: one PWM with a direction pin, and one PWM for each half bridge; each with an enable pin. Pin
//! errors come back as [`DriveError`], with the bridge off, since duty 0 may not have been written.

use core::marker::PhantomData;

use embedded_hal::digital::OutputPin;
use embedded_hal::pwm::SetDutyCycle;

use crate::link::state::Arming;
use crate::units::Duty;

/// Why a duty did not reach the bridge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum DriveError {
    /// The PWM refused the duty.
    Pwm,
    /// The direction pin refused its level.
    DirectionPin,
    /// The enable pin refused its level.
    EnablePin,
}

/// What the motor's terminals see at duty 0 of an enabled bridge. One that is not enabled lets the motor coast.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum AtDutyZero {
    /// All switches off: the current dies through the diodes.
    Coast,
    /// Winding shorted through two switches: the motor brakes itself.
    Brake,
}

/// What a board says and can do of its bridge without holding it.
pub trait SafeOff {
    /// Brake or coast.
    const AT_DUTY_ZERO: AtDutyZero;

    /// Takes enable and duty away: from the loop, any interrupt, a panic or a processor fault, at any time and twice in a
    /// row. Registers only, no lock, no state, no wait; it cannot fail. The motor coasts from then on, until
    /// [`Bridge::enable`].
    fn force_off();
}

/// Something that a duty can be given to.
pub trait Bridge: SafeOff {
    /// Lets the bridge drive, at duty 0. Only ever called when a person has armed a drive that was off, so it may clear
    /// what the board has latched of a fault that is gone.
    ///
    /// # Errors
    /// [`DriveError`] when a pin refuses.
    fn enable(&mut self) -> Result<(), DriveError>;

    /// Outputs a duty, −1 to 1 of the supply; positive opens the vanes.
    ///
    /// # Errors
    /// [`DriveError`] when a pin refuses.
    fn set(&mut self, duty: Duty) -> Result<(), DriveError>;
}

/// A bridge that drives only while the drive is armed.
#[derive(Debug)]
pub struct Gate<B> {
    bridge: B,
    /// Whether the bridge is enabled.
    arming: Arming,
    /// Why it is off although the drive is armed.
    refused: Option<DriveError>,
}

impl<B: Bridge> Gate<B> {
    /// A gate before a bridge that is off.
    pub const fn new(bridge: B) -> Self {
        Self { bridge, arming: Arming::Disarmed, refused: None }
    }

    /// Puts a tick's outcome on the bridge: enabled when the drive has been armed, off while it is not. Call it after each
    /// tick. A bridge that has switched itself off, or whose pin has refused, is not enabled again before the drive was
    /// disarmed.
    ///
    /// # Errors
    /// [`DriveError`] when a pin refuses; the bridge is off then.
    #[inline]
    pub fn drive(&mut self, arming: Arming, duty: Duty) -> Result<(), DriveError> {
        let driven = match (self.refused, self.arming, arming) {
            (_, _, Arming::Disarmed) => {
                B::force_off();
                Ok(())
            }
            (Some(error), _, Arming::Armed) => Err(error),
            (None, Arming::Disarmed, Arming::Armed) => {
                self.bridge.enable().and_then(|()| self.bridge.set(duty))
            }
            (None, Arming::Armed, Arming::Armed) => self.bridge.set(duty),
        };
        (self.arming, self.refused) = (arming, driven.err());
        driven.inspect_err(|_| B::force_off())
    }
}

/// One PWM and a direction pin, high to open; `S` switches it off.
#[derive(Debug)]
pub struct PwmAndDirection<P, D, E, S> {
    /// PWM of the whole bridge.
    pub pwm: P,
    /// Direction, high to open.
    pub direction: D,
    /// Enable, high to drive.
    pub enable: E,
    /// Who switches it off.
    pub safe_off: PhantomData<S>,
}

/// One PWM for each half bridge; the other one rests at 0. `S` switches both off.
#[derive(Debug)]
pub struct TwoPwm<P, E, S> {
    /// Drives toward open.
    pub open: P,
    /// Drives toward closed.
    pub close: P,
    /// Enable, high to drive.
    pub enable: E,
    /// Who switches it off.
    pub safe_off: PhantomData<S>,
}

impl<P, D, E, S: SafeOff> SafeOff for PwmAndDirection<P, D, E, S> {
    const AT_DUTY_ZERO: AtDutyZero = S::AT_DUTY_ZERO;

    fn force_off() {
        S::force_off();
    }
}

impl<P, E, S: SafeOff> SafeOff for TwoPwm<P, E, S> {
    const AT_DUTY_ZERO: AtDutyZero = S::AT_DUTY_ZERO;

    fn force_off() {
        S::force_off();
    }
}

impl<P: SetDutyCycle, D: OutputPin, E: OutputPin, S: SafeOff> Bridge for PwmAndDirection<P, D, E, S> {
    fn enable(&mut self) -> Result<(), DriveError> {
        self.enable.set_high().map_err(|_| DriveError::EnablePin)
    }

    fn set(&mut self, duty: Duty) -> Result<(), DriveError> {
        // The level changes only at a moving duty, so rest does not wear the bridge's input.
        if duty != Duty::ZERO {
            let level = if duty > Duty::ZERO { self.direction.set_high() } else { self.direction.set_low() };
            level.map_err(|_| DriveError::DirectionPin)?;
        }
        set_magnitude(&mut self.pwm, duty)
    }
}

impl<P: SetDutyCycle, E: OutputPin, S: SafeOff> Bridge for TwoPwm<P, E, S> {
    fn enable(&mut self) -> Result<(), DriveError> {
        self.enable.set_high().map_err(|_| DriveError::EnablePin)
    }

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
    extern crate std;
    use super::*;
    use embedded_hal_mock::eh1::MockError;
    use embedded_hal_mock::eh1::digital::{Mock as Pin, State, Transaction as PinStep};
    use embedded_hal_mock::eh1::pwm::{Mock as Pwm, Transaction as PwmStep};
    use std::cell::Cell;
    use std::io::ErrorKind;

    std::thread_local! {
        static SWITCHED_OFF: Cell<u32> = const { Cell::new(0) };
    }

    /// Counts how often it switched off.
    struct Counted;

    impl SafeOff for Counted {
        const AT_DUTY_ZERO: AtDutyZero = AtDutyZero::Brake;

        fn force_off() {
            SWITCHED_OFF.set(SWITCHED_OFF.get().saturating_add(1));
        }
    }

    fn duty(value: f32) -> Duty {
        Duty::try_new(value).unwrap()
    }

    #[test]
    fn a_direction_bridge_gets_its_direction_before_its_duty() {
        let steps = [PwmStep::max_duty_cycle(1000), PwmStep::set_duty_cycle(250)];
        let pwm = Pwm::new(&steps);
        let direction = Pin::new(&[PinStep::set(State::Low)]);
        let enable = Pin::new(&[]);
        let mut bridge =
            PwmAndDirection::<_, _, _, Counted> { pwm, direction, enable, safe_off: PhantomData };
        bridge.set(duty(-0.25)).unwrap();
        bridge.pwm.done();
        bridge.direction.done();
        bridge.enable.done();
    }

    fn half_bridges(open: &[PwmStep], close: &[PwmStep], enable: &[PinStep]) -> TwoPwm<Pwm, Pin, Counted> {
        let (open, close, enable) = (Pwm::new(open), Pwm::new(close), Pin::new(enable));
        TwoPwm { open, close, enable, safe_off: PhantomData }
    }

    fn done(mut bridge: TwoPwm<Pwm, Pin, Counted>) {
        bridge.open.done();
        bridge.close.done();
        bridge.enable.done();
    }

    #[test]
    fn two_half_bridges_never_drive_at_once() {
        let open = [PwmStep::max_duty_cycle(1000), PwmStep::set_duty_cycle(500)];
        let mut bridge = half_bridges(&open, &[PwmStep::set_duty_cycle(0)], &[]);
        bridge.set(duty(0.5)).unwrap();
        done(bridge);
    }

    #[test]
    fn a_drive_is_enabled_once_when_it_is_armed_and_off_while_it_is_not() {
        let off = |times| assert_eq!(SWITCHED_OFF.get(), times);
        let thrice = |steps: &[PwmStep]| (0..3).flat_map(|_| steps.to_vec()).collect::<std::vec::Vec<_>>();
        let open = thrice(&[PwmStep::max_duty_cycle(1000), PwmStep::set_duty_cycle(500)]);
        let enable = [PinStep::set(State::High), PinStep::set(State::High)];
        let mut gate = Gate::new(half_bridges(&open, &thrice(&[PwmStep::set_duty_cycle(0)]), &enable));
        gate.drive(Arming::Disarmed, Duty::ZERO).unwrap();
        off(1);
        gate.drive(Arming::Armed, duty(0.5)).unwrap();
        gate.drive(Arming::Armed, duty(0.5)).unwrap();
        off(1);
        gate.drive(Arming::Disarmed, Duty::ZERO).unwrap();
        off(2);
        gate.drive(Arming::Armed, duty(0.5)).unwrap();
        off(2);
        done(gate.bridge);
    }

    #[test]
    fn a_pin_that_refuses_switches_the_bridge_off_and_is_asked_again_when_it_is_armed_anew() {
        let refused = PinStep::set(State::High).with_error(MockError::Io(ErrorKind::Other));
        let open = [PwmStep::max_duty_cycle(1000), PwmStep::set_duty_cycle(500)];
        let bridge =
            half_bridges(&open, &[PwmStep::set_duty_cycle(0)], &[refused, PinStep::set(State::High)]);
        let mut gate = Gate::new(bridge);
        assert_eq!(gate.drive(Arming::Armed, duty(0.5)), Err(DriveError::EnablePin));
        assert_eq!(SWITCHED_OFF.get(), 1);
        assert_eq!(gate.drive(Arming::Armed, duty(0.5)), Err(DriveError::EnablePin));
        assert_eq!(SWITCHED_OFF.get(), 2);
        assert_eq!(gate.drive(Arming::Disarmed, Duty::ZERO), Ok(()));
        assert_eq!(gate.drive(Arming::Armed, duty(0.5)), Ok(()));
        done(gate.bridge);
    }
}
