//! Calibrations survive power loss at every single write and erase.
//!
//! Outside check: the guarantee stated by crate sequential-storage 8.0.2 ("power-fail safe: the system is
//! always fine or fully recoverable"), held against a flash with a device's own rules.

#[path = "store/flash.rs"]
mod flash;

use std::ops::Range;

use embassy_futures::block_on;
use firmware_core::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use firmware_core::held::{Held, Origin, OriginTag, Standing};
use firmware_core::settings::SettingsHash;
use firmware_core::store::{Store, StoreError};
use firmware_core::units::{Opening, Tick, Volt};
use flash::{Cut, Flash, PAGE, SIZE};

/// Random sequences of saves, cuts and restarts.
const SEQUENCES: u64 = 10_000;
/// Saves that fill both pages several times over.
const SAVES: u64 = 60;

const SETUPS: [Setup; 3] = [Setup::Free, Setup::Attached, Setup::OnEngine];

fn record(setup: Setup, number: u64) -> Held {
    let at = |counts: f32| LearnedStop {
        zero_push_counts: counts + number as f32,
        pressed_counts: counts + number as f32 + 20.0,
        released_counts: counts + number as f32 + 9.0,
        compliance_counts_per_a: 18.0,
        repeat_range_counts: 0.5,
        contact: Contact::MinimumFlow,
    };
    let calibration = Calibration {
        closed: at(13_300.0),
        open: at(2600.0),
        setup,
        warmth: Warmth::Cold,
        supply: Volt(12.0),
        temperature: None,
        clearance: Opening::saturating(0.01, Opening::CLOSED),
    };
    // The longest that each can be on flash.
    let origin = Origin { tag: OriginTag(u64::MAX), settings: SettingsHash(u32::MAX), tick: Tick(u32::MAX) };
    Held { relearns: number as u16, ..Held::of_full_learn(calibration, Standing::Accepted, origin) }
}

fn open(flash: Flash) -> Store<Flash> {
    Store::try_new(flash, 0..SIZE).expect("four pages hold the store")
}

/// The flash after `saves` undisturbed saves, cycling through the setups, and what it holds.
fn filled(saves: u64) -> (Flash, [Option<Held>; 3]) {
    let mut store = open(Flash::erased());
    let mut held = [None; 3];
    for number in 0..saves {
        let slot = (number % 3) as usize;
        let record = record(SETUPS[slot], number);
        block_on(store.save(&record)).expect("power is on");
        held[slot] = Some(record);
    }
    (store.into_flash(), held)
}

fn load_all(store: &mut Store<Flash>, context: &str) -> [Option<Held>; 3] {
    SETUPS.map(|setup| block_on(store.load(setup)).unwrap_or_else(|error| panic!("{context}: {error:?}")))
}

#[test]
fn power_lost_in_any_operation_leaves_the_old_or_the_new_record() {
    let mut cuts = 0;
    for saves in 0..SAVES {
        let (before, held) = filled(saves);
        let slot = (saves % 3) as usize;
        let new = record(SETUPS[slot], saves);
        let mut whole = open(before.clone());
        block_on(whole.save(&new)).unwrap();
        let operations = whole.into_flash().operations - before.operations;
        for after in 0..operations {
            for cut in [Cut::Clean, Cut::Half, Cut::Ragged(0x5A5A_F00F_3CC3_9669)] {
                let context = format!("after {saves} saves, operation {after} of {operations}, {cut:?}");
                let mut flash = before.clone();
                flash.cut_after(after, cut);
                let mut store = open(flash);
                assert_eq!(block_on(store.save(&new)), Err(StoreError::Flash), "{context}: power was on");
                let mut flash = store.into_flash();
                flash.power_up();
                let mut store = open(flash);
                let found = load_all(&mut store, &context);
                for other in 0..3 {
                    let is_new = other == slot && found[other] == Some(new);
                    assert!(found[other] == held[other] || is_new, "{context}: {:?}", found[other]);
                }
                block_on(store.save(&new)).unwrap_or_else(|error| panic!("{context}, again: {error:?}"));
                assert_eq!(block_on(store.load(SETUPS[slot])), Ok(Some(new)), "{context}");
                assert_eq!(store.into_flash().rule_broken, None, "{context}");
                cuts += 1;
            }
        }
    }
    assert!(cuts > 2000, "only {cuts} cuts were tried");
}

/// A plain 64-bit mixer (splitmix64, S. Vigna, public domain), so that the sequences are fixed.
struct Mixer(u64);

impl Mixer {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn below(&mut self, bound: u64) -> u64 {
        self.next() % bound
    }
}

#[test]
fn ten_thousand_random_sequences_of_cuts_never_lose_or_mix_a_record() {
    for sequence in 0..SEQUENCES {
        let mut random = Mixer(sequence);
        let mut flash = Flash::erased();
        let mut held: [Option<Held>; 3] = [None; 3];
        for number in 0..12 {
            let slot = random.below(3) as usize;
            let new = record(SETUPS[slot], number);
            let cut = match random.below(3) {
                0 => Cut::Clean,
                1 => Cut::Half,
                _ => Cut::Ragged(random.next()),
            };
            if random.below(2) == 0 {
                flash.cut_after(random.below(150), cut);
            }
            let mut store = open(flash);
            let saved = block_on(store.save(&new)).is_ok();
            flash = store.into_flash();
            flash.power_up();
            let mut store = open(flash);
            let context = format!("sequence {sequence}, save {number}, {cut:?}");
            let found = load_all(&mut store, &context);
            for other in 0..3 {
                let is_new = other == slot && found[other] == Some(new);
                let is_old = found[other] == held[other] && !(other == slot && saved);
                assert!(is_old || is_new, "{context}: found {:?}", found[other]);
            }
            held = found;
            flash = store.into_flash();
            assert_eq!(flash.rule_broken, None, "{context}");
        }
    }
}

#[test]
fn a_range_that_holds_no_two_maps_is_refused() {
    for range in [0..2 * PAGE as u32, 8..SIZE, 0..SIZE - 8, Range { start: SIZE, end: 0 }] {
        assert!(matches!(Store::try_new(Flash::erased(), range), Err(StoreError::Range)));
    }
}

#[test]
fn each_setup_keeps_its_own_calibration() {
    let (flash, held) = filled(7);
    assert_eq!(load_all(&mut open(flash), "undisturbed"), held);
}
