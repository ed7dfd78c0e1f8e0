//! Damage of five kinds: the store can be saved to again, and never gives a record that was not saved.

use std::ops::Range;

use firmware_core::store::{Kept, SAVE_BYTES_MAX, SECTOR_BYTES_MIN};

use super::records::{DIFFERENT, Mixer, kept};
use super::{Small, found, start};

const PAGE: usize = 2048;
const SECTOR: usize = 4096;
const SIZE: usize = 2 * SECTOR;
const SLOT: usize = SAVE_BYTES_MAX as usize;
const SLOTS: u64 = 2;
/// A sector's head.
const HEAD: usize = SECTOR_BYTES_MIN as usize - 2 * SLOT;
/// Of each kind: 20 000 in all. No failure in 4000 says that at most one in 1300 of a kind fails, in 20 000 that at
/// most one in 6600 of all does, each at 95 % (rule of three). That chance gives a slot of noise the right check takes
/// one slot in 4 300 million, by the check's width; these runs could not see it.
const EACH: u64 = 4000;

#[derive(Debug, Clone, Copy)]
enum Kind {
    BitFlips,
    TornWords,
    HalfErased,
    Noise,
    SwappedSlots,
}

fn damage(flash: &mut Small, kind: Kind, random: &mut Mixer) {
    let mut place = |bound: usize| random.below(bound as u64) as usize;
    match kind {
        Kind::BitFlips => {
            for _ in 0..1 + place(64) {
                let at = place(SIZE);
                let flipped = flash.bytes[at] ^ 1 << place(8);
                flash.damage(at, &[flipped]);
            }
        }
        Kind::TornWords => {
            for _ in 0..1 + place(32) {
                let at = place(SIZE / 8) * 8;
                let torn = [0; 8].map(|_: u8| place(256) as u8);
                flash.damage(at, if place(2) == 0 { &torn } else { &torn[..4] });
            }
        }
        Kind::HalfErased => {
            let bits = random.next();
            let sector = random.below(2) as usize;
            for page in 0..SECTOR / PAGE {
                flash.half_erase(sector * SECTOR / PAGE + page, bits);
            }
        }
        Kind::Noise => {
            let noise: Vec<u8> = (0..SIZE).map(|_| place(256) as u8).collect();
            flash.damage(0, &noise);
        }
        Kind::SwappedSlots => {
            let mut slot = || (place(2) * SECTOR) + HEAD + place(SLOTS as usize) * SLOT;
            let (one, other) = (slot(), slot());
            let first = flash.bytes[one..one + SLOT].to_vec();
            let second = flash.bytes[other..other + SLOT].to_vec();
            flash.damage(other, &first);
            if place(2) == 0 {
                flash.damage(one, &second);
            }
        }
    }
}

/// Saves with restarts between. Gives the flash, what was saved, and where the last record lies.
fn history(random: &mut Mixer) -> (Small, Vec<Kept>, Range<usize>) {
    let mut store = start(Small::erased());
    let mut saved = vec![Kept::NOTHING];
    let mut newest = 0..0;
    for number in 0..random.below(9) {
        let new = kept(random.below(DIFFERENT / 16 - 1) * 16 + number);
        let flash = start(store.into_flash()).into_flash();
        let before = flash.bytes.clone();
        store = start(flash);
        store.save(&new).expect("undamaged");
        saved.push(new);
        let flash = store.into_flash();
        let is_changed = |at: &usize| flash.bytes[*at] != before[*at];
        let first = (0..SIZE).find(is_changed).expect("a save changes bytes");
        newest = first..SIZE - (0..SIZE).rev().position(|at| is_changed(&at)).expect("as above");
        store = start(flash);
    }
    (store.into_flash(), saved, newest)
}

/// Saves that may fail on words that only look blank, before a format must help.
const TRIES: usize = 4;

fn check(kind: Kind) {
    let mut formats = 0;
    for seed in 0..EACH {
        let mut random = Mixer(seed);
        let context = format!("{kind:?}, seed {seed}");
        let (mut flash, saved, newest) = history(&mut random);
        let before = flash.bytes.clone();
        damage(&mut flash, kind, &mut random);
        let is_newest_whole = flash.bytes[newest.clone()] == before[newest];
        let mut store = start(flash);
        let is = found(&mut store);
        assert!(saved.contains(&is), "{context}: never saved: {is:?}");
        assert!(
            !is_newest_whole || Some(&is) == saved.last(),
            "{context}: the newest is whole and not found"
        );
        let new = kept(DIFFERENT - 1);
        if !(0..TRIES).any(|_| store.save(&new).is_ok()) {
            formats += 1;
            store.format().unwrap_or_else(|fault| panic!("{context}: no format: {fault:?}"));
            store.save(&new).unwrap_or_else(|fault| panic!("{context}: no save after a format: {fault:?}"));
        }
        let mut store = start(store.into_flash());
        assert_eq!(found(&mut store), new, "{context}: after a restart");
    }
    println!("{kind:?}: {EACH} times savable again, {formats} of them after a format");
}

#[test]
fn bit_flips() {
    check(Kind::BitFlips);
}

#[test]
fn torn_words() {
    check(Kind::TornWords);
}

#[test]
fn half_erased_sector() {
    check(Kind::HalfErased);
}

#[test]
fn noise_in_all_pages() {
    check(Kind::Noise);
}

#[test]
fn swapped_and_duplicated_slots() {
    check(Kind::SwappedSlots);
}
