//! What the board finds out about itself before it says its first word; the core refuses to arm when any of it failed.

use firmware_core::link::self_test::{SelfCheck, SelfTest};

use crate::converters::{CONVERTER, Converters, NO_CODE};
use crate::inputs::{BoardSensors, Scales};
use crate::raw::{gpiob, image_check, image_parts};

/// The chip's own reference: 1.18 to 1.24 V (data sheet, from memory), and 5 % for the converter's supply.
const REFERENCE_V: core::ops::RangeInclusive<f32> = 1.12..=1.30;
/// Offset of shunt amplifier and converter, A.
const OFF_CURRENT_A: f32 = 0.5;
/// The sensor's 5 V, 5 %.
const RAIL_V: core::ops::RangeInclusive<f32> = 4.75..=5.25;
/// PWM periods that are looked at: 20 ms, each channel converted many times over.
const LOOKS: u32 = 400;

/// Sets up what is only looked at: PB14, the emergency stop's second contact, closed to ground while the stop is out.
pub fn start() {
    gpiob().pupdr().modify(|_, w| w.pupdr14().pull_up());
}

/// Looks at everything, the bridge off; gives the sensors, the current's zero as it was found.
pub fn run(mut converters: Converters) -> (BoardSensors, SelfTest) {
    let (mut current, mut rail, mut reference) = (NO_CODE, NO_CODE, NO_CODE);
    for _ in 0..LOOKS {
        if !converters.wait() {
            break;
        }
        let (in_step, beside) = (converters.in_step(), converters.beside());
        (current, rail) = (in_step.current, in_step.rail);
        // One look in three.
        reference = if beside.reference == NO_CODE { reference } else { beside.reference };
    }
    let of_middle = Scales::new(CONVERTER.full_code / 2);
    let found = SelfTest {
        converter_references: passed(REFERENCE_V.contains(&of_middle.pin.read(reference).0)),
        bridge_off_current: passed(of_middle.current.read(current).0.abs() < OFF_CURRENT_A),
        sensor_rails: passed(RAIL_V.contains(&of_middle.sensor.read(rail).0)),
        image_crc: passed(is_image_whole()),
        emergency_stop_line: passed(gpiob().idr().read().idr14().is_low()),
    };
    (BoardSensors { converters, scales: Scales::new(current) }, found)
}

/// Check and length are those that the image was built with. Some 50 ms.
fn is_image_whole() -> bool {
    let parts = image_parts();
    let bytes: usize = parts.iter().map(|part| part.len()).sum();
    [crc32(parts.iter().copied().flatten()), bytes as u32] == image_check()
}

/// CRC-32 as in gzip (RFC 1952, 8), bit by bit: speed does not matter here, a table would.
fn crc32<'a>(bytes: impl Iterator<Item = &'a u8>) -> u32 {
    const POLYNOMIAL: u32 = 0xEDB8_8320;
    let end = bytes.fold(u32::MAX, |crc, byte| {
        (0..u8::BITS)
            .fold(crc ^ u32::from(*byte), |crc, _| (crc >> 1) ^ if crc & 1 == 0 { 0 } else { POLYNOMIAL })
    });
    !end
}

/// A reading that is no number lies in no range, so it fails.
fn passed(is_right: bool) -> SelfCheck {
    if is_right { SelfCheck::Passed } else { SelfCheck::Failed }
}
