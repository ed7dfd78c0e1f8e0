//! Packs samples for the line. In: one point per tick. Out: self-contained batches of up to
//! [`BATCH_POINTS`] points with the state they share. Refused at the reader: counts, widths or lengths
//! that do not fit together.

use heapless::{Deque, Vec};
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

/// Points that can wait for the line: a quarter of a second.
pub const WAITING_POINTS: usize = 256;
/// Batches that can wait for the line; one whose state changes at once is a batch of a single point.
const WAITING_BATCHES: usize = 24;

/// What the points of a batch share.
#[derive(Debug, Clone, Copy, Default)]
struct BatchHead {
    first: Tick,
    state: StreamState,
    limits: LimitSet,
    supply_mv: u16,
    temperature_tenths: Option<i16>,
    count: u16,
}

/// Collects points until state, tick or room ends the batch, and keeps closed batches until the line asks for them.
/// Collecting and closing cost next to nothing; the packing is done on the way out.
#[derive(Debug, Clone, Default)]
pub struct BatchBuilder {
    points: Deque<Point, WAITING_POINTS>,
    closed: Deque<BatchHead, WAITING_BATCHES>,
    open: BatchHead,
}

/// No further point or batch can wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NoRoom;

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
    fn begin(tick: Tick, around: &Around) -> Self {
        let tenths = |t: Celsius| rounded(t.0 * 10.0) as i16;
        Self {
            first: tick,
            state: around.state,
            limits: LimitSet::NONE,
            supply_mv: u16::MAX,
            temperature_tenths: around.temperature.filter(|t| t.is_finite()).map(tenths),
            count: 0,
        }
    }

    fn join(&mut self, around: &Around) {
        self.limits = self.limits.union(around.limits);
        if around.supply.is_finite() {
            self.supply_mv = (rounded(around.supply.0 * 1000.0) as u32).min(u32::from(self.supply_mv)) as u16;
        }
        self.count = self.count.saturating_add(1);
    }

    fn ticks(&self) -> u32 {
        u32::from(self.count)
    }

    /// Takes the first `count` points off the batch.
    fn skip(&mut self, count: usize) {
        self.first = self.first.after(u32::try_from(count).unwrap_or(u32::MAX));
        self.count = self.count.saturating_sub(u16::try_from(count).unwrap_or(u16::MAX));
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

impl BatchBuilder {
    /// True when a point with this tick and state can join the open batch.
    #[must_use]
    pub fn accepts(&self, tick: Tick, state: StreamState) -> bool {
        let open = &self.open;
        open.count == 0 || (!self.is_full() && open.state == state && tick == open.first.after(open.ticks()))
    }

    /// True when no further point fits into the open batch.
    #[must_use]
    pub fn is_full(&self) -> bool {
        usize::from(self.open.count) >= BATCH_POINTS
    }

    /// First tick of the open batch and the number of its points.
    #[must_use]
    pub fn open(&self) -> (Tick, u32) {
        (self.open.first, self.open.ticks())
    }

    /// Adds a point; the caller has asked [`BatchBuilder::accepts`] and closed the batch if it must be.
    ///
    /// # Errors
    /// [`NoRoom`]; the point is not taken.
    pub fn push(&mut self, tick: Tick, around: &Around, point: Point) -> Result<(), NoRoom> {
        self.points.push_back(point).map_err(|_| NoRoom)?;
        if self.open.count == 0 {
            self.open = BatchHead::begin(tick, around);
        }
        self.open.join(around);
        Ok(())
    }

    /// Closes the open batch, which then waits for [`BatchBuilder::take`].
    ///
    /// # Errors
    /// [`NoRoom`]; the batch stays open.
    pub fn close(&mut self) -> Result<(), NoRoom> {
        if self.open.count > 0 {
            // Field by field: as a whole it is copied byte by byte.
            let BatchHead { first, state, limits, supply_mv, temperature_tenths, count } = self.open;
            let StreamState { source, drive, stage, faults } = state;
            let state = StreamState { source, drive, stage, faults };
            self.closed
                .push_back(BatchHead { first, state, limits, supply_mv, temperature_tenths, count })
                .map_err(|_| NoRoom)?;
            self.open.count = 0;
        }
        Ok(())
    }

    /// Forgets the open batch.
    pub fn discard(&mut self) {
        for _ in 0..self.open.count {
            self.points.pop_back();
        }
        self.open.count = 0;
    }

    /// The oldest closed batch, packed: a whole one, or the next half of one whose noise fills the frame.
    #[inline]
    pub fn take(&mut self) -> Option<Batch> {
        let head = self.closed.front_mut()?;
        let count = usize::from(head.count).min(BATCH_POINTS);
        let mut points: Vec<Point, BATCH_POINTS> = self.points.iter().take(count).copied().collect();
        let batch = head.pack(&points).or_else(|| {
            points.truncate((count / 2).max(1));
            head.pack(&points)
        });
        head.skip(points.len());
        if head.count == 0 {
            self.closed.pop_front();
        }
        for _ in 0..points.len() {
            self.points.pop_front();
        }
        batch
    }

    /// True when the open batch can be closed.
    #[must_use]
    pub fn has_room(&self) -> bool {
        !self.closed.is_full()
    }

    /// Number of closed batches that wait.
    #[must_use]
    pub fn waiting(&self) -> usize {
        self.closed.len()
    }

    /// Forgets everything.
    pub fn clear(&mut self) {
        self.points.clear();
        self.closed.clear();
        self.open.count = 0;
    }
}

#[cfg(test)]
#[allow(clippy::indexing_slicing, clippy::arithmetic_side_effects)]
mod tests {
    extern crate std;
    use super::*;
    use crate::link::codec::{Decoder, MAX_WIRE, encode};
    use crate::link::message::ToHost;
    use crate::link::talk::Talk;
    use proptest::prelude::*;
    use std::vec::Vec as List;

    /// A state and numbers that take the most bytes a batch can.
    fn widest_around() -> Around {
        Around {
            state: StreamState { faults: crate::faults::FaultSet(u32::MAX), ..StreamState::default() },
            limits: LimitSet(u16::MAX),
            supply: Volt(60.0),
            temperature: Some(Celsius(-3000.0)),
        }
    }

    fn close(first: Tick, around: &Around, points: &[Point]) -> List<Batch> {
        let mut builder = BatchBuilder::default();
        for (index, point) in points.iter().enumerate() {
            let tick = first.after(index as u32);
            assert!(builder.accepts(tick, around.state));
            builder.push(tick, around, *point).unwrap();
        }
        builder.close().unwrap();
        core::iter::from_fn(|| builder.take()).collect()
    }

    fn any_point() -> impl Strategy<Value = Point> {
        any::<[i16; 4]>().prop_map(|[position, duty, current, target]| Point {
            position,
            duty,
            current,
            target,
        })
    }

    #[test]
    fn a_batch_of_quiet_channels_is_short() {
        let batches = close(Tick(0), &widest_around(), &[Point::default(); BATCH_POINTS]);
        assert_eq!(batches.len(), 1);
        assert_eq!(batches[0].packed.len(), 4 * 3, "first value and width of four channels, no differences");
    }

    #[test]
    fn a_new_state_or_a_missing_tick_ends_the_batch() {
        let around = widest_around();
        let mut builder = BatchBuilder::default();
        builder.push(Tick(5), &around, Point::default()).unwrap();
        assert!(builder.accepts(Tick(6), around.state));
        assert!(!builder.accepts(Tick(7), around.state));
        assert!(!builder.accepts(Tick(6), StreamState::default()));
    }

    #[test]
    fn parts_that_do_not_fit_together_are_refused() {
        let sound = close(
            Tick(0),
            &widest_around(),
            &[Point { position: 300, ..Point::default() }, Point::default()],
        )
        .remove(0);
        assert!(sound.points().is_ok());
        assert_eq!(Batch { count: 0, ..sound.clone() }.points(), Err(BadBatch));
        assert_eq!(Batch { count: 33, ..sound.clone() }.points(), Err(BadBatch));
        assert_eq!(Batch { count: 31, ..sound.clone() }.points(), Err(BadBatch));
        let mut wide = sound.clone();
        wide.packed[2] = 17;
        assert_eq!(wide.points(), Err(BadBatch));
        let mut long = sound;
        long.packed.push(0).unwrap();
        assert_eq!(long.points(), Err(BadBatch));
    }

    proptest! {
        #[test]
        fn any_points_survive_the_line_in_at_most_two_frames(
            first in any::<u32>(), points in prop::collection::vec(any_point(), 1..=BATCH_POINTS),
        ) {
            let batches = close(Tick(first), &widest_around(), &points);
            prop_assert!(batches.len() <= 2);
            let mut back = List::new();
            for batch in batches {
                prop_assert_eq!(batch.first, Tick(first).after(back.len() as u32));
                let wire = encode(Talk::LAST, u16::MAX, &ToHost::Samples(batch.clone())).unwrap();
                prop_assert!(wire.len() <= MAX_WIRE);
                let mut decoder = Decoder::new();
                let content = wire.iter().find_map(|byte| decoder.push(*byte)).unwrap().unwrap();
                prop_assert_eq!(content.message::<ToHost>(), Ok(ToHost::Samples(batch.clone())));
                back.extend(batch.points().unwrap());
            }
            prop_assert_eq!(back, points);
        }
    }
}
