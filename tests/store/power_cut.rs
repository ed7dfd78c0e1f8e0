//! Power lost in any single operation of a start or a save.

use firmware_core::store::Kept;

use super::flash::{Cut, Flash};
use super::records::{DIFFERENT, Mixer, kept};
use super::{Small, Wide, found, start};

/// Saves before the cut: both sectors are filled and erased several times over.
const SAVES: u64 = 12;
/// Random sequences of saves, cuts and restarts: if one in 3000 lost a record, all would pass with a chance of 4 %.
const SEQUENCES: u64 = 10_000;
/// Operations of a start with an erase and a save, at most, in words of 8 bytes.
const OPERATIONS: u64 = 220;

const CUTS: [Cut; 4] = [Cut::Clean, Cut::Half, Cut::AllButFirst, Cut::Ragged(0x5A5A_F00F_3CC3_9669)];

/// The flash after saves 1 to `saves`, with a restart before each `per_start`-th.
fn filled<const W: usize, const P: usize, const S: usize>(saves: u64, per_start: u64) -> Flash<W, P, S> {
    let mut store = start(Flash::erased());
    for number in 1..=saves {
        if number % per_start == 0 {
            store = start(store.into_flash());
        }
        store.save(&kept(number)).expect("power is on");
    }
    store.into_flash()
}

/// Uses up the room that a start after a cut promises. One word that power left blank to the eye takes no data: its slot
/// is given up; a half that only looks erased would refuse every one.
fn fill_after_cut<const W: usize, const P: usize, const S: usize>(flash: Flash<W, P, S>, context: &str) {
    let mut store = start(flash);
    let room = u64::from(store.condition().room);
    let saves = (0..room).map(|slot| DIFFERENT - 1 - slot);
    let saved: Vec<u64> = saves.filter(|number| store.save(&kept(*number)).is_ok()).collect();
    assert!(
        room >= 2 && saved.len() as u64 + 1 >= room,
        "{context}: {} saves where {room} have room",
        saved.len()
    );
    let last = saved.last().map(|number| kept(*number));
    assert_eq!(Some(found(&mut start(store.into_flash()))), last, "{context}, afterwards");
}

/// Cuts every operation of `job`, which runs on a flash as it is before the start; gives the cuts tried.
fn cut_everywhere<const W: usize, const P: usize, const S: usize>(
    before: &Flash<W, P, S>,
    allowed: &[Kept],
    context: &str,
    job: impl Fn(Flash<W, P, S>) -> (Flash<W, P, S>, bool),
) -> u64 {
    let mut cuts = 0;
    let (whole, is_done) = job(before.clone());
    assert!(is_done && whole.rule_broken.is_none(), "{context}: {:?}", whole.rule_broken);
    for after in 0..whole.operations - before.operations {
        for cut in CUTS {
            let context = format!("{context}, operation {after}, {cut:?}");
            let mut flash = before.clone();
            flash.cut_after(after, cut);
            let (mut flash, is_done) = job(flash);
            assert!(!is_done, "{context}: done without power");
            flash.power_up();
            assert_eq!(flash.rule_broken, None, "{context}");
            let mut store = start(flash);
            let kept = found(&mut store);
            assert!(allowed.contains(&kept), "{context}: found {kept:?}");
            fill_after_cut(store.into_flash(), &context);
            cuts += 1;
        }
    }
    cuts
}

fn start_and_save<const W: usize, const P: usize, const S: usize>(
    flash: Flash<W, P, S>,
    new: &Kept,
) -> (Flash<W, P, S>, bool) {
    let mut store = start(flash);
    let is_done = store.save(new).is_ok();
    (store.into_flash(), is_done)
}

#[test]
fn power_lost_in_a_start_or_a_save_leaves_the_old_or_the_new_record() {
    let mut cuts = 0;
    for saves in 0..SAVES {
        let (old, new) = (if saves == 0 { Kept::NOTHING } else { kept(saves) }, kept(saves + 1));
        for per_start in [1, 2] {
            let small: Small = filled(saves, per_start);
            let context = format!("small, after {saves} saves, restart before each {per_start}.");
            cuts += cut_everywhere(&small, &[old, new], &context, |flash| start_and_save(flash, &new));
        }
        let wide: Wide = filled(saves, 1);
        let context = format!("wide, after {saves} saves");
        cuts += cut_everywhere(&wide, &[old, new], &context, |flash| start_and_save(flash, &new));
    }
    assert!(cuts > 10_000, "only {cuts} cuts were tried");
}

#[test]
fn ten_thousand_random_sequences_of_cuts_never_lose_or_mix_a_record() {
    for sequence in 0..SEQUENCES {
        let mut random = Mixer(sequence);
        let mut flash = Small::erased();
        let mut old = Kept::NOTHING;
        for number in 1..9 {
            let new = kept(number + sequence % 64 * 8);
            let cut = match random.below(4) {
                0 => Cut::Clean,
                1 => Cut::Half,
                2 => Cut::AllButFirst,
                _ => Cut::Ragged(random.next()),
            };
            if random.below(2) == 0 {
                flash.cut_after(random.below(OPERATIONS), cut);
            }
            let (after, is_done) = start_and_save(flash, &new);
            flash = after;
            flash.power_up();
            let mut store = start(flash);
            let is = found(&mut store);
            let context = format!("sequence {sequence}, save {number}, {cut:?}");
            assert!(is == new || (is == old && !is_done), "{context}: found {is:?}");
            old = is;
            flash = store.into_flash();
        }
    }
}

/// Every second operation of the repair after a cut is cut as well.
#[test]
fn power_lost_again_while_a_start_puts_things_right_loses_nothing() {
    for saves in 1..SAVES {
        let (old, new) = (kept(saves), kept(saves + 1));
        for (first, cut) in (0..OPERATIONS).step_by(7).flat_map(|first| CUTS.map(|cut| (first, cut))) {
            let mut flash: Small = filled(saves, 1);
            flash.cut_after(first, cut);
            let (mut flash, _) = start_and_save(flash, &new);
            flash.power_up();
            for second in 0..4 {
                let mut again = flash.clone();
                again.cut_after(second, cut);
                let mut again = start(again).into_flash();
                again.power_up();
                let is = found(&mut start(again));
                assert!(is == old || is == new, "after {saves} saves, cuts at {first} and {second}, {cut:?}");
            }
        }
    }
}
