//! The H-bridge's registers: enable, direction, PWM compare.
//!
//! AN386 has no PWM, so the three registers lie in the shared window, where the host can see at any time what
//! the drive is really told, a hung controller included.

use core::convert::Infallible;
use core::marker::PhantomData;

use embedded_hal::digital::{self, OutputPin};
use embedded_hal::pwm::{self, SetDutyCycle};
use firmware_core::drive::{AtDutyZero, PwmAndDirection, SafeOff};

use crate::raw::Register;

const BASE: usize = (lockstep::WINDOW_ADDRESS + lockstep::BRIDGE_AT) as usize;
const COMPARE: Register = Register::at(BASE, 0x00);
const DIRECTION: Register = Register::at(BASE, 0x04);
const ENABLE: Register = Register::at(BASE, 0x08);

/// The bridge.
pub type HBridge = PwmAndDirection<Pwm, Direction, Enable, WindowCutoff>;
/// The bridge's PWM.
pub struct Pwm;
/// The bridge's direction input, high to open.
pub struct Direction;
/// The bridge's enable input, high to drive.
pub struct Enable;
/// Off from wherever the processor is: panic, fault and watchdog handlers call it first.
pub struct WindowCutoff;

/// The bridge, off.
pub fn start() -> HBridge {
    WindowCutoff::force_off();
    PwmAndDirection { pwm: Pwm, direction: Direction, enable: Enable, safe_off: PhantomData }
}

impl SafeOff for WindowCutoff {
    /// As the world's bridge in `plant`.
    const AT_DUTY_ZERO: AtDutyZero = AtDutyZero::Brake;

    fn force_off() {
        ENABLE.write(0);
        COMPARE.write(0);
    }
}

impl pwm::ErrorType for Pwm {
    type Error = Infallible;
}

impl SetDutyCycle for Pwm {
    fn max_duty_cycle(&self) -> u16 {
        u16::MAX
    }

    fn set_duty_cycle(&mut self, duty: u16) -> Result<(), Infallible> {
        COMPARE.write(u32::from(duty));
        Ok(())
    }
}

impl digital::ErrorType for Direction {
    type Error = Infallible;
}

impl OutputPin for Direction {
    fn set_low(&mut self) -> Result<(), Infallible> {
        DIRECTION.write(0);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        DIRECTION.write(1);
        Ok(())
    }
}

impl digital::ErrorType for Enable {
    type Error = Infallible;
}

impl OutputPin for Enable {
    fn set_low(&mut self) -> Result<(), Infallible> {
        ENABLE.write(0);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        ENABLE.write(1);
        Ok(())
    }
}
