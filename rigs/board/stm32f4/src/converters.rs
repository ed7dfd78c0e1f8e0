//! The converter: four readings in step with the PWM, three beside it.
//!
//! | pin | channel | reads |
//! | --- | --- | --- |
//! | PA0 | 0 | motor current, shunt amplifier, mid supply at 0 A |
//! | PA1 | 1 | position sensor, half of 5 V |
//! | PA2 | 2 | supply, an eleventh |
//! | PA3 | 3 | the sensor's own 5 V, half |
//! | PA4 | 4 | boost |
//! | PA5 | 5 | barometer |
//! | – | 17 | the chip's own reference |
//!
//! Channels 0 to 3 are converted one after the other from the middle of a pulse of timer 1 on: above 6 % duty no edge of
//! the PWM falls into the current, which is read first, above 29 % into none of the four. The others follow, one a look. No tick waits: what was not converted since the last look
//! has no code. Registers: RM0090 rev 19, 13.13.

use firmware_core::sample::Conversions;
use firmware_core::scaling::Converter;
use firmware_core::units::Volt;

use crate::clock::comes_true;
use crate::raw::{adc_common, adc1, convert_in_step, convert_next, gpioa, rcc};

/// What codes mean at a pin: 12 bits, the board's own 3.3 V.
pub const CONVERTER: Converter = Converter { full_code: 4095, reference: Volt(3.3) };
/// In place of a code where there was no conversion: no scale has a reading for it.
pub const NO_CODE: u16 = u16::MAX;

const IN_STEP: [u8; 4] = [0, 1, 2, 3];
const BESIDE: [u8; 3] = [4, 5, 17];

/// Codes of channels 0 to 3.
#[derive(Debug, Clone, Copy)]
pub struct InStep {
    /// Motor current.
    pub current: u16,
    /// Position sensor.
    pub position: u16,
    /// Supply.
    pub supply: u16,
    /// The sensor's own supply.
    pub rail: u16,
}

/// Codes of the other channels.
#[derive(Debug, Clone, Copy)]
pub struct Beside {
    /// Boost sensor.
    pub boost: u16,
    /// Barometer.
    pub barometer: u16,
    /// The chip's own reference.
    pub reference: u16,
}

/// The converter, running.
pub struct Converters {
    beside: [u16; 3],
    turn: usize,
    counted: Conversions,
}

impl Converters {
    /// Switches the converter on; timer 1 starts each reading.
    pub fn start() -> Self {
        gpioa().moder().modify(|_, w| {
            let w = w.moder0().analog().moder1().analog().moder2().analog();
            w.moder3().analog().moder4().analog().moder5().analog()
        });
        rcc().apb2enr().modify(|_, w| w.adc1en().enabled());
        // 21 MHz of 84; the converter takes 30 at most, 36 above 2.4 V (data sheet, from memory).
        adc_common().ccr().write(|w| w.adcpre().div4().tsvrefe().enabled());
        adc1().smpr2().write(|w| {
            let w = w.smp0().cycles28().smp1().cycles28().smp2().cycles28().smp3().cycles28();
            w.smp4().cycles84().smp5().cycles84()
        });
        // The reference wants 10 µs (data sheet, from memory); 480 clocks are 23.
        adc1().smpr1().write(|w| w.smp17().cycles480());
        convert_in_step(IN_STEP);
        adc1().cr1().write(|w| w.scan().enabled());
        adc1().cr2().write(|w| {
            let w = w.adon().enabled().eocs().each_conversion();
            w.jextsel().tim1trgo().jexten().rising_edge()
        });
        Self { beside: [NO_CODE; 3], turn: 0, counted: Conversions::default() }
    }

    /// What was converted in step since the last look.
    pub fn in_step(&mut self) -> InStep {
        let is_new = adc1().sr().read().jeoc().bit_is_set();
        adc1().sr().write(|w| w.jeoc().clear_bit());
        if is_new {
            let count = self.counted.position.wrapping_add(1);
            self.counted = Conversions { engine: self.counted.engine, ..Conversions::all(count) };
        }
        let code = |place: usize| if is_new { adc1().jdr(place).read().jdata().bits() } else { NO_CODE };
        InStep { current: code(0), position: code(1), supply: code(2), rail: code(3) }
    }

    /// Waits for the next conversion in step, but not for ever; false where none comes.
    pub fn wait(&self) -> bool {
        comes_true(|| adc1().sr().read().jeoc().bit_is_set())
    }

    /// Conversions that came to their end.
    pub fn counted(&self) -> Conversions {
        self.counted
    }

    /// Takes the conversion that the last call started and starts the next; gives the newest of each channel.
    pub fn beside(&mut self) -> Beside {
        let is_new = adc1().sr().read().eoc().bit_is_set();
        let code = adc1().dr().read().data().bits();
        if let Some(place) = self.beside.get_mut(self.turn) {
            *place = if is_new { code } else { NO_CODE };
        }
        self.counted.engine = self.counted.engine.wrapping_add(u8::from(is_new));
        self.turn = (self.turn + 1) % BESIDE.len();
        if let Some(channel) = BESIDE.get(self.turn) {
            convert_next(*channel);
            adc1().cr2().modify(|_, w| w.swstart().start());
        }
        let [boost, barometer, reference] = self.beside;
        Beside { boost, barometer, reference }
    }
}
