//! Batches, there and back.

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
    Packing::of(first, around, points).collect()
}

fn any_point() -> impl Strategy<Value = Point> {
    any::<[i16; 4]>().prop_map(|[position, duty, current, target]| Point { position, duty, current, target })
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
    let mut head = BatchHead::default();
    head.join(Tick(5), &around);
    assert!(head.accepts(Tick(6), around.state));
    assert!(!head.accepts(Tick(7), around.state));
    assert!(!head.accepts(Tick(6), StreamState::default()));
}

#[test]
fn parts_that_do_not_fit_together_are_refused() {
    let sound =
        close(Tick(0), &widest_around(), &[Point { position: 300, ..Point::default() }, Point::default()])
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
