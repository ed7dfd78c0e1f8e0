//! Packs samples for the line. In: one point per tick. Out: self-contained batches of up to
//! [`BATCH_POINTS`] points with the state they share. Refused at the reader: counts, widths or lengths
//! that do not fit together.

use heapless::Vec;
use serde::{Deserialize, Serialize};

use super::point::{BATCH_POINTS, BadBatch, CHANNELS, MAX_PACKED, Point, pack, rounded, unpack};
use super::state::StreamState;
use crate::faults::LimitSet;
use crate::units::{Celsius, Tick, Volt};

/// Samples of consecutive ticks under one state. Readable on its own: nothing refers to another batch.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Batch {
    /// Tick of the first point.
    pub first: Tick,
    /// State of all points.
    pub state: StreamState,
    /// Every limit that acted on at least one point.
    pub limits: LimitSet,
    /// Lowest supply over the points, mV; 65 535 where it was never a number.
    pub supply_mv: u16,
    /// Housing temperature at the first point, 0.1 °C, where it is measured.
    pub temperature_tenths: Option<i16>,
    /// Number of points, 1 to 32.
    count: u8,
    /// The points, packed channel by channel.
    #[serde(serialize_with = "as_one_run")]
    packed: Vec<u8, MAX_PACKED>,
}

/// The same bytes on the line as one by one, at a tenth of the instructions.
fn as_one_run<S: serde::Serializer>(packed: &Vec<u8, MAX_PACKED>, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_bytes(packed)
}

impl Batch {
    /// The points, oldest first; the first one stands at [`Batch::first`].
    ///
    /// # Errors
    /// [`BadBatch`] when count, widths and length do not fit together.
    pub fn points(&self) -> Result<Vec<Point, BATCH_POINTS>, BadBatch> {
        let count = usize::from(self.count);
        let mut points: Vec<Point, BATCH_POINTS> = Vec::new();
        points.resize(count, Point::default()).map_err(|_| BadBatch)?;
        let mut rest = self.packed.as_slice();
        for channel in 0..CHANNELS {
            rest = unpack(channel, rest, &mut points)?;
        }
        if rest.is_empty() && count > 0 { Ok(points) } else { Err(BadBatch) }
    }

    /// Number of ticks that the batch says it covers.
    #[must_use]
    pub fn ticks(&self) -> u32 {
        u32::from(self.count)
    }

    /// Lowest supply over the points, where it was a number.
    #[must_use]
    pub fn supply(&self) -> Option<Volt> {
        (self.supply_mv != u16::MAX).then(|| Volt(f32::from(self.supply_mv) / 1000.0))
    }

    /// Housing temperature, where it is measured.
    #[must_use]
    pub fn temperature(&self) -> Option<Celsius> {
        self.temperature_tenths.map(|tenths| Celsius(f32::from(tenths) / 10.0))
    }
}

/// What the points of a batch share. The points themselves go their own way to where they are packed: collecting costs a
/// tick next to nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct BatchHead {
    first: Tick,
    state: StreamState,
    limits: LimitSet,
    supply_mv: u16,
    temperature_tenths: Option<i16>,
    count: u8,
}

/// What stands beside a point but not in it.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Around {
    /// State in this tick.
    pub state: StreamState,
    /// Limits that acted in this tick.
    pub limits: LimitSet,
    /// Supply in this tick.
    pub supply: Volt,
    /// Temperature in this tick.
    pub temperature: Option<Celsius>,
}

impl BatchHead {
    /// True when a point with this tick and state belongs to the batch; to one without points any does.
    #[must_use]
    pub fn accepts(&self, tick: Tick, state: StreamState) -> bool {
        self.count == 0
            || (!self.is_full() && self.state == state && tick == self.first.after(u32::from(self.count)))
    }

    /// True when no further point fits.
    #[must_use]
    pub fn is_full(&self) -> bool {
        usize::from(self.count) >= BATCH_POINTS
    }

    /// Number of points.
    #[must_use]
    pub fn count(&self) -> u8 {
        self.count
    }

    /// Takes another point into account; the caller has asked [`BatchHead::accepts`].
    pub fn join(&mut self, tick: Tick, around: &Around) {
        if self.count == 0 {
            let tenths = |t: Celsius| rounded(t.0 * 10.0) as i16;
            *self = Self {
                first: tick,
                state: around.state,
                limits: LimitSet::NONE,
                supply_mv: u16::MAX,
                temperature_tenths: around.temperature.filter(|t| t.is_finite()).map(tenths),
                count: 0,
            };
        }
        self.limits = self.limits.union(around.limits);
        if around.supply.is_finite() {
            self.supply_mv = (rounded(around.supply.0 * 1000.0) as u32).min(u32::from(self.supply_mv)) as u16;
        }
        self.count = self.count.saturating_add(1);
    }

    /// A batch without points.
    pub fn clear(&mut self) {
        self.count = 0;
    }

    #[inline]
    fn pack(&self, points: &[Point]) -> Option<Batch> {
        let mut packed = Vec::new();
        for channel in 0..CHANNELS {
            pack(channel, points, &mut packed)?;
        }
        Some(Batch {
            first: self.first,
            state: self.state,
            limits: self.limits,
            supply_mv: self.supply_mv,
            temperature_tenths: self.temperature_tenths,
            count: u8::try_from(points.len()).ok()?,
            packed,
        })
    }
}

/// Points on their way into frames: gives one batch, or two where their noise fills the frame.
#[derive(Debug, Clone, Default)]
pub struct Packing {
    head: BatchHead,
    points: Vec<Point, BATCH_POINTS>,
}

impl Packing {
    /// Takes a batch's points, as many as fit, in place of what is left.
    #[inline]
    pub fn load(&mut self, head: BatchHead, points: impl IntoIterator<Item = Point>) {
        self.head = head;
        self.points.clear();
        self.points.extend(points.into_iter().take(BATCH_POINTS));
    }

    /// Points of consecutive ticks, all in the same surroundings.
    #[must_use]
    pub fn of(first: Tick, around: &Around, points: &[Point]) -> Self {
        let mut head = BatchHead::default();
        for _ in points {
            head.join(first, around);
        }
        let mut packing = Self::default();
        packing.load(head, points.iter().copied());
        packing
    }
}

impl Iterator for Packing {
    type Item = Batch;

    /// All that is left, or its first half where that does not fit a frame.
    #[inline]
    fn next(&mut self) -> Option<Batch> {
        let count = self.points.len();
        if count == 0 {
            return None;
        }
        let half = self.points.get(..(count / 2).max(1)).unwrap_or_default();
        let batch = self.head.pack(&self.points).or_else(|| self.head.pack(half));
        let used = batch.as_ref().map_or(count, |batch| usize::from(batch.count));
        self.head.first = self.head.first.after(u32::try_from(used).unwrap_or(u32::MAX));
        self.points.rotate_left(used);
        self.points.truncate(count.saturating_sub(used));
        batch
    }
}

#[cfg(test)]
#[allow(clippy::indexing_slicing, clippy::arithmetic_side_effects)]
mod tests;
