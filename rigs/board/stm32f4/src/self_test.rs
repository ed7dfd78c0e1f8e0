//! What the board finds out about itself before it says its first word; the core refuses to arm when any of it failed.

use firmware_core::link::self_test::{SelfCheck, SelfTest};

use crate::converters::Converters;
use crate::inputs::{current, rail, reference};
use crate::raw::gpiob;

/// The chip's own reference: 1.18 to 1.24 V (data sheet, from memory), and 5 % for the converter's supply.
const REFERENCE_V: core::ops::RangeInclusive<f32> = 1.12..=1.30;
/// Offset of shunt amplifier and converter, A.
const OFF_CURRENT_A: f32 = 0.5;
/// The sensor's 5 V, 5 %.
const RAIL_V: core::ops::RangeInclusive<f32> = 4.75..=5.25;
/// Looks at the converter: each channel is converted several times over. Some 20 ms.
const LOOKS: u32 = 20_000;

/// Sets up what is only looked at: PB14, the emergency stop's second contact, closed to ground while the stop is out.
pub fn start() {
    gpiob().pupdr().modify(|_, w| w.pupdr14().pull_up());
}

/// Looks at everything, the bridge off.
pub fn run(converters: &mut Converters) -> SelfTest {
    let (mut references, mut currents, mut rails) = (SelfCheck::Failed, SelfCheck::Failed, SelfCheck::Failed);
    for _ in 0..LOOKS {
        let (in_step, beside) = (converters.in_step(), converters.beside());
        // What was not converted since the last look is NaN: neither passed nor failed.
        judge(&mut references, reference(&beside).0, |volts| REFERENCE_V.contains(&volts));
        judge(&mut currents, current(&in_step).0, |amperes| amperes.abs() < OFF_CURRENT_A);
        judge(&mut rails, rail(&in_step).0, |volts| RAIL_V.contains(&volts));
    }
    SelfTest {
        converter_references: references,
        bridge_off_current: currents,
        sensor_rails: rails,
        image_crc: SelfCheck::NotFitted,
        emergency_stop_line: passed(gpiob().idr().read().idr14().is_low()),
    }
}

/// The newest reading decides.
fn judge(check: &mut SelfCheck, reading: f32, is_right: impl Fn(f32) -> bool) {
    if !reading.is_nan() {
        *check = passed(is_right(reading));
    }
}

fn passed(is_right: bool) -> SelfCheck {
    if is_right { SelfCheck::Passed } else { SelfCheck::Failed }
}
