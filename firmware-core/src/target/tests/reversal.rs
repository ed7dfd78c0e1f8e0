//! The search for the reversal, step by step, counted by hand: a look each 250 ticks, 0.08 of opening a second on the way
//! open, half as fast on the way back.

use crate::target::reversal::GainReversal;

const LOOK: u32 = 250;
const OPENS: f32 = 8.0e-5;
const CLOSES: f32 = 4.0e-5;

fn run(search: &mut GainReversal, boost: f32, ticks: u32) -> f32 {
    (0..ticks).for_each(|_| search.tick(boost));
    search.raise()
}

/// On its way open: the first look has nothing to compare, the second finds boost standing still.
fn opening() -> GainReversal {
    let mut search = GainReversal::default();
    assert_eq!(run(&mut search, 150.0, 2 * LOOK), 0.0);
    search
}

fn is_near(raise: f32, expected: f32) {
    assert!((raise - expected).abs() < 1.0e-5, "{raise}, expected {expected}");
}

#[test]
fn boost_that_is_on_its_way_is_waited_for() {
    let mut search = GainReversal::default();
    for look in 0..20_u8 {
        assert_eq!(run(&mut search, 150.0 + 0.4 * f32::from(look), LOOK), 0.0);
    }
}

#[test]
fn it_opens_while_boost_gains_and_turns_at_a_loss() {
    let mut search = opening();
    for look in 1..=8_u8 {
        is_near(run(&mut search, 150.0 + 0.2 * f32::from(look), LOOK), f32::from(look) * 0.02);
    }
    // The look that sees the loss ends the way open.
    is_near(run(&mut search, 151.0, LOOK), 9.0 * 0.02);
    is_near(run(&mut search, 151.0, 100), 9.0 * 0.02 - 100.0 * CLOSES);
}

#[test]
fn four_looks_without_a_gain_end_the_way_open_and_the_way_back_ends_where_it_began() {
    let mut search = opening();
    is_near(run(&mut search, 150.0, 4 * LOOK), 1000.0 * OPENS);
    is_near(run(&mut search, 150.0, LOOK), 1000.0 * OPENS - 250.0 * CLOSES);
    let back = run(&mut search, 150.0, 7 * LOOK);
    assert!(back < 1.0e-4, "{back}");
    is_near(run(&mut search, 150.0, 9000), back);
}

#[test]
fn a_way_back_that_gains_goes_on_until_it_gains_no_more_and_rests_before_that() {
    let mut search = opening();
    run(&mut search, 150.0, 4 * LOOK);
    let from = search.raise();
    // It gains once, so that it closes; two looks without a gain end that.
    is_near(run(&mut search, 150.5, LOOK), from - 250.0 * CLOSES);
    is_near(run(&mut search, 150.5, LOOK), from - 500.0 * CLOSES);
    // A second of the way back was too much.
    let rests = run(&mut search, 150.5, LOOK);
    is_near(rests, from - 750.0 * CLOSES + 0.04);
    assert_eq!(run(&mut search, 150.5, 9999), rests);
    // Then it waits, and looks again.
    run(&mut search, 150.5, 1 + LOOK);
    assert!(run(&mut search, 150.5, 10) > rests);
}

#[test]
fn with_room_to_close_what_was_found_fades_and_the_search_begins_anew() {
    let mut search = opening();
    let from = run(&mut search, 150.0, 100);
    (0..50).for_each(|_| search.leave());
    is_near(search.raise(), from - 50.0 * 2.0e-5);
    let faded = search.raise();
    // Two looks pass before it opens again.
    assert_eq!(run(&mut search, 150.0, 2 * LOOK), faded);
    assert!(run(&mut search, 150.0, 1) > faded);
    (0..10_000).for_each(|_| search.leave());
    assert_eq!(search.raise(), 0.0);
}

#[test]
fn a_search_that_has_found_nothing_begins_anew_with_room_too() {
    let mut search = GainReversal::default();
    run(&mut search, 150.0, 2 * LOOK - 1);
    search.leave();
    assert_eq!(run(&mut search, 150.0, LOOK + 100), 0.0);
}
