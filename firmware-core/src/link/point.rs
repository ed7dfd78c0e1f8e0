//! One tick as fixed-point numbers, and the packing of many.
//!
//! A channel is its first value and then differences, all in the fewest bits that hold the channel's
//! largest difference. A quiet channel costs nothing, and even noise over the whole range fits the line.

use heapless::Vec;

use super::state::Drive;
use crate::units::{Ampere, Counts, Duty, Opening};

/// Points in a full batch.
pub const BATCH_POINTS: usize = 32;
/// Channels of a point.
pub(super) const CHANNELS: usize = 4;
/// Most bytes of packed points that leave room for the rest of the frame at its longest.
pub(super) const MAX_PACKED: usize = 218;
/// Wire steps in full duty and in full opening: 0.01 % each, finer than a 10-bit PWM can drive.
const STEPS_PER_UNIT: f32 = 10_000.0;
/// Wire steps in an ampere: 1 mA, ±32.7 A.
const STEPS_PER_AMPERE: f32 = 1000.0;
/// Wire value of a reading that is not a number.
pub const NOT_A_NUMBER: i16 = i16::MIN;

/// One tick on the wire: fixed-point numbers of 16 bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Point {
    /// Raw position, counts.
    pub position: i16,
    /// Duty, 0.01 %.
    pub duty: i16,
    /// Motor current, mA.
    pub current: i16,
    /// What was commanded: 0.01 % of opening or duty, or mA, as [`crate::link::StreamState::drive`] says; 0 when released.
    pub target: i16,
}

impl Point {
    /// Duty as the drive got it.
    #[must_use]
    pub fn duty(&self) -> f32 {
        from_wire(self.duty, STEPS_PER_UNIT)
    }

    /// Raw position.
    #[must_use]
    pub fn position(&self) -> Counts {
        Counts(self.position)
    }

    /// Motor current; NaN where the board had none.
    #[must_use]
    pub fn current(&self) -> Ampere {
        Ampere(from_wire(self.current, STEPS_PER_AMPERE))
    }

    /// Commanded opening, duty or current in its own unit; `None` when the drive was released.
    #[must_use]
    pub fn target(&self, drive: Drive) -> Option<f32> {
        match drive {
            Drive::Released => None,
            Drive::Duty | Drive::Opening => Some(from_wire(self.target, STEPS_PER_UNIT)),
            Drive::Current => Some(from_wire(self.target, STEPS_PER_AMPERE)),
        }
    }

    fn channels(self) -> [i16; CHANNELS] {
        [self.position, self.duty, self.current, self.target]
    }

    fn set_channel(&mut self, channel: usize, value: i16) {
        match channel {
            0 => self.position = value,
            1 => self.duty = value,
            2 => self.current = value,
            _ => self.target = value,
        }
    }
}

/// Duty in wire steps.
#[must_use]
pub fn duty_steps(duty: Duty) -> i16 {
    to_wire(duty.get(), STEPS_PER_UNIT)
}

/// Opening in wire steps.
#[must_use]
pub fn opening_steps(opening: Opening) -> i16 {
    to_wire(opening.get(), STEPS_PER_UNIT)
}

/// Current in wire steps.
#[must_use]
pub fn current_steps(current: Ampere) -> i16 {
    to_wire(current.0, STEPS_PER_AMPERE)
}

fn to_wire(value: f32, steps: f32) -> i16 {
    if value.is_nan() {
        return NOT_A_NUMBER;
    }
    // −32768 is kept for "not a number". The processor turns floats into 32-bit numbers in one step, 16-bit ones take ten.
    const LOWEST: i32 = NOT_A_NUMBER as i32 + 1;
    (rounded(value * steps) as i32).clamp(LOWEST, i32::from(i16::MAX)) as i16
}

/// Half away from zero, as `libm::roundf`, for a value that is turned into a whole number next: that cuts off the
/// fraction.
#[inline(always)]
pub(super) fn rounded(value: f32) -> f32 {
    /// The largest value below a half: added to the value below a half, a half would give one.
    const BELOW_HALF: f32 = 0.5 - 0.25 * f32::EPSILON;
    value + libm::copysignf(BELOW_HALF, value)
}

fn from_wire(value: i16, steps: f32) -> f32 {
    if value == NOT_A_NUMBER { f32::NAN } else { f32::from(value) / steps }
}

/// A batch whose parts do not fit together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BadBatch;

#[inline]
fn zigzag(difference: i16) -> u16 {
    ((difference << 1) ^ (difference >> 15)).cast_unsigned()
}

#[inline]
fn unzigzag(code: u16) -> i16 {
    (code >> 1).cast_signed() ^ (code & 1).cast_signed().wrapping_neg()
}

#[inline]
fn values(channel: usize, points: &[Point]) -> impl Iterator<Item = i16> {
    points.iter().map(move |point| point.channels().get(channel).copied().unwrap_or_default())
}

#[inline]
fn codes(channel: usize, points: &[Point]) -> impl Iterator<Item = u16> {
    let later = values(channel, points).skip(1);
    values(channel, points).zip(later).map(|(before, after)| zigzag(after.wrapping_sub(before)))
}

/// Appends one channel: first value (2 bytes, low first), width in bits, differences from bit 0 up.
#[inline]
pub(super) fn pack(channel: usize, points: &[Point], out: &mut Vec<u8, MAX_PACKED>) -> Option<()> {
    let first = values(channel, points).next()?;
    let widest = codes(channel, points).fold(0, |all, code| all | code);
    let width = u16::BITS.saturating_sub(widest.leading_zeros());
    out.extend_from_slice(&first.to_le_bytes()).ok()?;
    out.push(u8::try_from(width).ok()?).ok()?;
    let (mut held, mut bits) = (0u32, 0u32);
    for code in codes(channel, points) {
        held |= u32::from(code) << bits;
        bits = bits.saturating_add(width);
        while bits >= u8::BITS {
            out.push((held & 0xFF) as u8).ok()?;
            held >>= u8::BITS;
            bits = bits.saturating_sub(u8::BITS);
        }
    }
    if bits > 0 {
        out.push((held & 0xFF) as u8).ok()?;
    }
    Some(())
}

/// Reads one channel into the points; gives back the bytes after it.
pub(super) fn unpack<'a>(
    channel: usize,
    bytes: &'a [u8],
    points: &mut [Point],
) -> Result<&'a [u8], BadBatch> {
    let ([low, high, width], rest) = bytes.split_first_chunk::<3>().ok_or(BadBatch)?;
    let width = u32::from(*width);
    if width > u16::BITS {
        return Err(BadBatch);
    }
    let (mut rest, mut held, mut bits) = (rest, 0u32, 0u32);
    let mut value = i16::from_le_bytes([*low, *high]);
    for (index, point) in points.iter_mut().enumerate() {
        if index > 0 {
            while bits < width {
                let (byte, after) = rest.split_first().ok_or(BadBatch)?;
                held |= u32::from(*byte) << bits;
                bits = bits.saturating_add(u8::BITS);
                rest = after;
            }
            let code = held & (1u32 << width).saturating_sub(1);
            held >>= width;
            bits = bits.saturating_sub(width);
            value = value.wrapping_add(unzigzag((code & 0xFFFF) as u16));
        }
        point.set_channel(channel, value);
    }
    Ok(rest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn fixed_point_is_within_half_a_step(value in -1.0f32..=1.0, amps in -32.0f32..=32.0) {
            let point = Point { duty: duty_steps(Duty::try_new(value).unwrap()), current: current_steps(Ampere(amps)), ..Point::default() };
            prop_assert!((point.duty() - value).abs() <= 0.51e-4);
            prop_assert!((point.current().0 - amps).abs() <= 0.51e-3);
        }

        #[test]
        fn any_current_has_a_wire_value_and_only_nan_is_nan(bits in any::<u32>()) {
            let amps = f32::from_bits(bits);
            let back = Point { current: current_steps(Ampere(amps)), ..Point::default() }.current().0;
            prop_assert_eq!(back.is_nan(), amps.is_nan());
        }

        #[test]
        fn differences_zigzag_and_back(difference in any::<i16>()) {
            prop_assert_eq!(unzigzag(zigzag(difference)), difference);
        }
    }

    #[test]
    fn small_differences_of_either_sign_have_small_codes() {
        assert_eq!([0, -1, 1, -2, 2].map(zigzag), [0, 1, 2, 3, 4]);
    }
}
