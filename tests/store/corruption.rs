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
/// A sector's head, and again its tail.
const FRAME: usize = (SECTOR_BYTES_MIN as usize - 2 * SLOT) / 2;
/// Of each kind, 20 000 in all. No failure in 4000 of a kind: at most 1 in 1085 fails; none in 20 000: at most 1 in 5422
/// (exact two-sided 95 %, Clopper and Pearson, Biometrika 26, 1934). That chance gives a slot of noise the right check
/// takes one slot in 4 300 million, by the check's width; these runs could not see it.
const EACH: u64 = 4000;
/// Seeds that were first looked at after the store's last change.
const FIRST_SEED: u64 = 1_000_000;
/// Restarts after damage within which a save must succeed, with one try before and one after.
const RESTARTS: usize = 1;
/// Restarts without the safeguard after which a store counts as lost.
const MANY_RESTARTS: usize = 12;

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
            let head = flash.bytes[sector * SECTOR..][..FRAME].to_vec();
            for page in 0..SECTOR / PAGE {
                flash.half_erase(sector * SECTOR / PAGE + page, bits);
            }
            // The worst of it: a head that says that all is well.
            if random.below(2) == 0 {
                flash.damage(sector * SECTOR, &head);
            }
        }
        Kind::Noise => {
            let noise: Vec<u8> = (0..SIZE).map(|_| place(256) as u8).collect();
            flash.damage(0, &noise);
        }
        Kind::SwappedSlots => {
            let mut slot = || (place(2) * SECTOR) + FRAME + place(SLOTS as usize) * SLOT;
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

/// Takes away what a refused save leaves for the next start.
fn without_safeguard(mut flash: Small) -> Small {
    for sector in [0, SECTOR] {
        flash.damage(sector + SECTOR - FRAME, &[0xFF; FRAME]);
    }
    flash
}

/// Starts, tries one save, starts again …; how many restarts it took, and the flash.
pub fn save_at_last(flash: Small, most: usize, between: fn(Small) -> Small) -> Result<(usize, Small), Small> {
    let mut flash = flash;
    for restarts in 0..=most {
        let mut store = start(flash);
        let is_saved = store.save(&kept(DIFFERENT - 1)).is_ok();
        flash = between(store.into_flash());
        if is_saved {
            return Ok((restarts, flash));
        }
    }
    Err(flash)
}

fn check(kind: Kind) {
    let mut at_once = 0;
    let mut lost_without = 0;
    for seed in FIRST_SEED..FIRST_SEED + EACH {
        let mut random = Mixer(seed);
        let context = format!("{kind:?}, seed {seed}");
        let (mut flash, saved, newest) = history(&mut random);
        let before = flash.bytes.clone();
        damage(&mut flash, kind, &mut random);
        let is_newest_whole = flash.bytes[newest.clone()] == before[newest];
        let mut store = start(flash.clone());
        let is = found(&mut store);
        assert!(saved.contains(&is), "{context}: never saved: {is:?}");
        assert!(
            !is_newest_whole || Some(&is) == saved.last(),
            "{context}: the newest is whole and not found"
        );
        lost_without += u64::from(save_at_last(flash.clone(), MANY_RESTARTS, without_safeguard).is_err());
        let (restarts, flash) = save_at_last(flash, RESTARTS, |flash| flash)
            .unwrap_or_else(|_| panic!("{context}: no save in {RESTARTS} restarts"));
        at_once += u64::from(restarts == 0);
        assert_eq!(found(&mut start(flash)), kept(DIFFERENT - 1), "{context}: after a restart");
    }
    println!(
        "{kind:?}: {EACH} savable again, {at_once} at once; without the safeguard {lost_without} never again"
    );
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
