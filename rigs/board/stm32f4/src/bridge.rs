//! The H-bridge on timer 1: two PWM pins at 20 kHz, an enable pin, and the bridge's fault at the break input.
//!
//! | pin | what |
//! | --- | --- |
//! | PB13 | enable, high to drive; 10 kΩ to ground makes every reset mean off |
//! | PA8, PA9 | timer 1, channels 1 and 2: opens, closes |
//! | PB12 | break input, low on a fault |
//!
//! The break takes the outputs off in hardware, and nothing but [`Bridge::enable`] ever sets them on again.
//! Registers: RM0090 rev 19, 17.4 and 8.4.

use core::convert::Infallible;
use core::marker::PhantomData;

use embedded_hal::digital::{self, OutputPin};
use embedded_hal::pwm::{self, SetDutyCycle};
use firmware_core::drive::{AtDutyZero, Bridge, DriveError, SafeOff, TwoPwm};
use firmware_core::sample::BridgeLine;
use firmware_core::units::Duty;

use crate::clock::CoreClock;
use crate::raw::{gpioa, gpiob, rcc, tim1};

const PWM_HZ: u32 = 20_000;
/// Clocks before the middle of the pulse at which the converter starts.
const BEFORE_MIDDLE: u16 = 1;

/// One half of the bridge.
pub struct Half {
    channel: usize,
    top: u16,
}

/// The bridge; off until it is enabled.
pub struct BreakBridge(TwoPwm<Half, BreakEnable, BreakCutoff>);

/// The enable pin, with the timer's main output behind it.
pub struct BreakEnable;
/// Off, from wherever the processor is.
pub struct BreakCutoff;

/// The first thing that the image does: enable low, driven.
pub fn hold_off() {
    rcc().ahb1enr().modify(|_, w| w.gpioaen().enabled().gpioben().enabled());
    gpiob().bsrr().write(|w| w.br13().set_bit());
    gpiob().moder().modify(|_, w| w.moder13().output());
}

/// Off, from wherever the processor is: panic, fault and watch call this first. Writes only.
pub fn force_off() {
    gpiob().bsrr().write(|w| w.br13().set_bit());
    tim1().bdtr().write(|w| w.moe().disabled_idle().ossi().idle_level().ossr().idle_level());
    tim1().ccr1().write(|w| w.ccr().set(0));
    tim1().ccr2().write(|w| w.ccr().set(0));
}

impl BreakBridge {
    /// Sets timer 1 up: break first, outputs idle low, PWM running behind them, a pulse's middle to the converter.
    pub fn start(clock: &CoreClock) -> Self {
        // A PWM period is up and down; far below 2^16 at every clock.
        let top = (clock.hz / (2 * PWM_HZ)) as u16;
        rcc().apb2enr().modify(|_, w| w.tim1en().enabled());
        let timer = tim1();
        // Locked until the next reset: nothing can take the break away again or let it re-arm.
        timer.bdtr().write(|w| {
            let w = w.moe().disabled_idle().aoe().manual().bke().enabled().bkp().active_low();
            w.ossi().idle_level().ossr().idle_level().lock().level1()
        });
        timer.arr().write(|w| w.arr().set(top));
        timer.ccr1().write(|w| w.ccr().set(0));
        timer.ccr2().write(|w| w.ccr().set(0));
        timer.ccr4().write(|w| w.ccr().set(BEFORE_MIDDLE));
        timer
            .ccmr1_output()
            .write(|w| w.oc1m().pwm_mode1().oc1pe().enabled().oc2m().pwm_mode1().oc2pe().enabled());
        timer.ccmr2_output().write(|w| w.oc4m().pwm_mode1().oc4pe().enabled());
        timer.ccer().write(|w| w.cc1e().set_bit().cc2e().set_bit());
        timer.cr2().write(|w| w.mms().compare_oc4());
        timer.egr().write(|w| w.ug().update());
        timer.cr1().write(|w| w.cms().center_aligned1().arpe().enabled().cen().enabled());
        gpiob().pupdr().modify(|_, w| w.pupdr12().pull_up());
        gpiob().afrh().modify(|_, w| w.afrh12().af1());
        gpiob().moder().modify(|_, w| w.moder12().alternate());
        gpioa().afrh().modify(|_, w| w.afrh8().af1().afrh9().af1());
        gpioa().moder().modify(|_, w| w.moder8().alternate().moder9().alternate());
        Self(TwoPwm {
            open: Half { channel: 0, top },
            close: Half { channel: 1, top },
            enable: BreakEnable,
            safe_off: PhantomData,
        })
    }
}

/// What the break input has seen since the last look; a line that is still low sets it again (RM0090, 17.4.5).
pub fn fault_line() -> BridgeLine {
    // Cleared only when seen: what comes between a read and a write must not get lost.
    if tim1().sr().read().bif().bit_is_clear() {
        return BridgeLine::Quiet;
    }
    tim1().sr().write(|w| w.bif().clear());
    BridgeLine::Fault
}

impl SafeOff for BreakBridge {
    /// Both low sides conduct at duty 0.
    const AT_DUTY_ZERO: AtDutyZero = AtDutyZero::Brake;

    fn force_off() {
        force_off();
    }
}

impl SafeOff for BreakCutoff {
    const AT_DUTY_ZERO: AtDutyZero = BreakBridge::AT_DUTY_ZERO;

    fn force_off() {
        force_off();
    }
}

impl Bridge for BreakBridge {
    fn enable(&mut self) -> Result<(), DriveError> {
        self.0.enable()
    }

    fn set(&mut self, duty: Duty) -> Result<(), DriveError> {
        self.0.set(duty)
    }
}

impl digital::ErrorType for BreakEnable {
    type Error = Infallible;
}

impl OutputPin for BreakEnable {
    fn set_low(&mut self) -> Result<(), Infallible> {
        force_off();
        Ok(())
    }

    /// Lets the duty out, by software: the break never re-arms by itself.
    fn set_high(&mut self) -> Result<(), Infallible> {
        tim1().bdtr().modify(|_, w| w.moe().enabled());
        gpiob().bsrr().write(|w| w.bs13().set_bit());
        Ok(())
    }
}

impl pwm::ErrorType for Half {
    type Error = Infallible;
}

impl SetDutyCycle for Half {
    fn max_duty_cycle(&self) -> u16 {
        self.top
    }

    fn set_duty_cycle(&mut self, duty: u16) -> Result<(), Infallible> {
        tim1().ccr(self.channel).write(|w| w.ccr().set(duty));
        Ok(())
    }
}
