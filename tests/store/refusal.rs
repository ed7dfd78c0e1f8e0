//! A sector that looks as it should and takes no writes: disturbed cells, or an erase that power cut short.

use firmware_core::store::StoreFault;

use super::corruption::save_at_last;
use super::flash::Cut;
use super::records::{DIFFERENT, kept};
use super::{Small, found, start};

const PAGES: usize = 2;
const SECTORS: usize = 2;
/// Saves before: each half full, half full and fresh.
const SAVES: std::ops::Range<u64> = 0..9;

/// After so many saves; these sectors take no more writes before their next erase.
fn refusing(saves: u64, sectors: &[usize]) -> Small {
    let mut store = start(Small::erased());
    for number in 1..=saves {
        store = start(store.into_flash());
        store.save(&kept(number)).expect("undamaged");
    }
    let mut flash = start(store.into_flash()).into_flash();
    for page in sectors.iter().flat_map(|sector| sector * PAGES..(sector + 1) * PAGES) {
        flash.half_erase(page, 0);
    }
    flash
}

#[test]
fn one_sector_that_refuses_costs_one_save_and_one_restart() {
    for (saves, sector) in SAVES.flat_map(|saves| (0..SECTORS).map(move |sector| (saves, sector))) {
        let context = format!("after {saves} saves, sector {sector}");
        let flash = refusing(saves, &[sector]);
        if saves > 0 {
            assert_eq!(found(&mut start(flash.clone())), kept(saves), "{context}");
        }
        let (restarts, flash) =
            save_at_last(flash, 1, |flash| flash).unwrap_or_else(|_| panic!("{context}: never savable"));
        assert_eq!(found(&mut start(flash)), kept(DIFFERENT - 1), "{context}, {restarts} restarts");
    }
}

/// What the note cannot help with: nothing can be noted anywhere.
#[test]
fn where_both_sectors_refuse_every_save_says_so_and_the_last_record_stays() {
    for saves in SAVES.skip(1) {
        let mut flash = refusing(saves, &[0, 1]);
        for _ in 0..4 {
            let mut store = start(flash);
            let refused = store.save(&kept(DIFFERENT - 1));
            assert_eq!(refused, Err(StoreFault::Flash), "after {saves} saves");
            assert_eq!(found(&mut store), kept(saves), "after {saves} saves");
            flash = store.into_flash();
        }
    }
}

#[test]
fn power_lost_in_a_refused_save_and_its_note_costs_one_more_restart_at_most() {
    const CUTS: [Cut; 4] = [Cut::Clean, Cut::Half, Cut::AllButFirst, Cut::Ragged(0x5A5A_F00F_3CC3_9669)];
    // A refused write, then the note's four words.
    const OPERATIONS: u64 = 6;
    for (saves, sector) in SAVES.skip(1).flat_map(|saves| (0..SECTORS).map(move |sector| (saves, sector))) {
        for (after, cut) in (0..OPERATIONS).flat_map(|after| CUTS.map(|cut| (after, cut))) {
            let context = format!("after {saves} saves, sector {sector}, operation {after}, {cut:?}");
            let mut flash = refusing(saves, &[sector]);
            flash.cut_after(after, cut);
            let mut store = start(flash);
            let is_saved = store.save(&kept(DIFFERENT - 2)).is_ok();
            let mut flash = store.into_flash();
            flash.power_up();
            let is = found(&mut start(flash.clone()));
            assert!(is == kept(saves) || (is_saved && is == kept(DIFFERENT - 2)), "{context}: found {is:?}");
            let (_, flash) =
                save_at_last(flash, 2, |flash| flash).unwrap_or_else(|_| panic!("{context}: never savable"));
            assert_eq!(found(&mut start(flash)), kept(DIFFERENT - 1), "{context}");
        }
    }
}
