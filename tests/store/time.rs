//! How long saves and starts take, how many there is room for, and how often a sector is erased.

use firmware_core::store::{SAVE_BYTES_MAX, StoreFault};

use super::flash::{ERASE_US_PER_SECTOR, PROGRAM_US_PER_WORD};
use super::records::kept;
use super::{Large, found, start};

/// A board's watchdog bites when nothing has fed it for so long (`rigs/board/src/watchdog.rs`).
const PATIENCE_US: u64 = 10_000;
const RESETS: u64 = 10;
const SAVES_PER_START: u64 = 5;
/// Slots of a 16 KB sector.
const SLOTS: u64 = 16_384 / SAVE_BYTES_MAX as u64;

#[test]
fn fifty_saves_over_ten_resets_are_kept_and_none_outlasts_the_watchdog() {
    let mut flash = Large::erased();
    let mut number = 0;
    let mut slowest = 0;
    for _ in 0..RESETS {
        // Before the watchdog runs.
        let before = flash.busy_us;
        let mut store = start(flash);
        if number > 0 {
            assert_eq!(found(&mut store), kept(number));
        }
        flash = store.into_flash();
        assert!(flash.busy_us - before <= ERASE_US_PER_SECTOR + 1000, "more than one erase");
        // Started again, nothing is left to do: what runs from here on is under the watchdog.
        let before = flash.operations;
        let mut store = start(flash);
        for _ in 0..SAVES_PER_START {
            number += 1;
            let began = store.flash().busy_us;
            store.save(&kept(number)).expect("room for a start's saves");
            slowest = slowest.max(store.flash().busy_us - began);
        }
        flash = store.into_flash();
        assert!(flash.operations > before);
    }
    assert_eq!(found(&mut start(flash)), kept(RESETS * SAVES_PER_START));
    println!("slowest save: {slowest} µs of programming");
    assert!(slowest <= PATIENCE_US, "a save of {slowest} µs: the watchdog bites");
    assert!(slowest <= u64::from(SAVE_BYTES_MAX) / 4 * PROGRAM_US_PER_WORD);
}

#[test]
fn a_full_store_says_so_and_a_restart_makes_room() {
    let mut store = start(Large::erased());
    for number in 1..=SLOTS {
        store.save(&kept(number)).expect("the first start erases one sector");
    }
    assert_eq!((store.save(&kept(SLOTS + 1)), store.condition().room), (Err(StoreFault::Full), 0));
    assert_eq!(found(&mut store), kept(SLOTS), "the newest is still there");
    for round in 1..20 {
        store = start(store.into_flash());
        let room = u64::from(store.condition().room);
        assert!(room >= SLOTS, "round {round}: room for {room}");
        for number in 0..room {
            let receipt = store.save(&kept(round * 100 + number)).expect("room was promised");
            assert_eq!(u64::from(receipt.room), room - number - 1);
        }
        assert_eq!(store.save(&kept(1)), Err(StoreFault::Full));
        assert_eq!(found(&mut store), kept(round * 100 + room - 1));
    }
}

#[test]
fn a_sector_is_erased_once_in_two_sectors_of_saves_and_never_by_a_start_alone() {
    const SAVES: u64 = 2000;
    let mut flash = Large::erased();
    for number in 1..=SAVES {
        let mut store = start(flash);
        store.save(&kept(number)).expect("room after each start");
        let erases = store.flash().erases;
        // Twice more, without a save.
        store = start(start(store.into_flash()).into_flash());
        assert!(store.flash().erases <= erases + 1);
        flash = store.into_flash();
    }
    assert!(flash.erases <= SAVES / SLOTS + 2, "{} erases for {SAVES} saves", flash.erases);
    let erases = flash.erases;
    let counted =
        start(flash).condition().erases.map(|count| u64::from(count.expect("both heads are whole")));
    // A sector without a head takes the other's count, here at its first erase.
    assert_eq!(counted.iter().sum::<u64>(), erases + 1, "the heads count the wear: {counted:?}");
    assert!(counted[0].abs_diff(counted[1]) <= 1, "both wear alike: {counted:?}");
}
