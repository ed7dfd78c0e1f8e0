//! Is this the actuator that the profile speaks of? The tool's own learn, through the link, on units of the world: it
//! stops none of the sound ones in doubt, and says how wrong an actuator must be before it is seen.

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::learn::{CheckSet, LearnOutcome, LearnRefusal};
use firmware_core::link::Pacing;
use plant::world::{Fault, FaultKind, WorldConfig};
use rand::SeedableRng;
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;
use study::campaign::learn::exact_bounds;
use study::catalogue::Case;
use vanebench::caution::Acknowledged;
use vanebench::link_rig;
use vanebench::port::PortSpec;
use vanebench::procedure::{
    Basis, LearnChoice, MoveKind, Observed, Observer, RunStop, Target, learn, record_move,
};
use vanebench::record::{Job, Serials};
use vanebench::unit_store::{OnUnproven, ground};
use virtual_rig::rig::SimulatedRig;
use virtual_rig::runner::RunningRig;

use crate::support::wide_unit;

/// Units of each kind: `quick`, or as many as `LOOK_UNITS` says; 200 for the table on record.
fn units(quick: u64) -> u64 {
    std::env::var("LOOK_UNITS").ok().and_then(|units| units.parse().ok()).unwrap_or(quick)
}

/// Units that learn, where no more are asked for.
const LEARNED: u64 = 8;
/// Units that learn and move, likewise.
const MOVED: u64 = 2;

/// First seed: looked at for the first time after the look was settled.
const SEED: u64 = 41_000_001;

struct Nobody;

impl Observer for Nobody {
    fn see(&mut self, _: Observed<'_>) -> Result<(), RunStop> {
        Ok(())
    }
}

/// How a learn ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Met {
    Doubt,
    WrongDirection,
    Refused,
    Learned,
}

/// The port whose built-in profile, limits and plant are those of an actuator.
fn target(port: &str, rig: &RunningRig, records: &std::path::Path) -> Target {
    let PortSpec::Virtual { unit, .. } = port.parse().expect("a virtual port") else { panic!("{port}") };
    Target {
        port: PortSpec::Device(rig.path().to_owned()),
        unit: "u1".into(),
        unit_dir: records.join("u1"),
        profile: unit.actuator.profile().expect("a profile"),
        limits: unit.actuator.limits().expect("limits"),
        setup: Setup::Attached,
        warmth: Warmth::Cold,
        seed: 1,
        serials: Serials::default(),
        job: Job::default(),
        operator: None,
        customer: None,
    }
}

/// A rig with the unit on it, paced by whoever drives it.
fn rig(world: WorldConfig, seed: u64) -> RunningRig {
    let rig = SimulatedRig::of_case(&Case::of(world), seed, Pacing::Stepped).expect("a valid unit");
    RunningRig::start(rig).expect("a rig")
}

fn learn_it(target: &Target) -> Result<LearnOutcome, RunStop> {
    let mut bench = link_rig::open(target, Acknowledged::ByOption).expect("a bench");
    let choice = LearnChoice { previous: None, checked: CheckSet::ALL, free: None };
    learn(&mut bench, target, choice, &mut Nobody).map(|learned| learned.outcome)
}

fn met(world: WorldConfig, seed: u64, port: &str) -> Met {
    let records = tempfile::tempdir().expect("a folder");
    let rig = rig(world, seed);
    match learn_it(&target(port, &rig, records.path())) {
        Ok(LearnOutcome::Refused(LearnRefusal::WrongDirection { .. })) => Met::WrongDirection,
        Ok(LearnOutcome::Refused(_)) => Met::Refused,
        Ok(LearnOutcome::Accepted(_) | LearnOutcome::NotProven { .. }) => Met::Learned,
        Err(stop) if is_doubt(&stop) => Met::Doubt,
        Err(stop) => panic!("{stop}"),
    }
}

fn is_doubt(stop: &RunStop) -> bool {
    matches!(stop, RunStop::Kept { stop, .. } if matches!(**stop, RunStop::Doubted(_)))
}

/// How a motion under a calibration in force ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Moved {
    ToItsEnd,
    EndedOtherwise,
    Doubted,
}

/// Learns `learned`, puts `moved` in its place under the same name, and makes every motion; nothing where the learn
/// accepts nothing.
fn moved(learned: &WorldConfig, moved: &WorldConfig, seed: u64, port: &str) -> Option<[Moved; 3]> {
    let records = tempfile::tempdir().expect("a folder");
    let first = rig(learned.clone(), seed);
    let at_first = target(port, &first, records.path());
    let Ok(LearnOutcome::Accepted(_)) = learn_it(&at_first) else { return None };
    drop(first);
    Some([MoveKind::Friction, MoveKind::Sweep, MoveKind::Step].map(|kind| {
        let rig = rig(moved.clone(), seed);
        let target = Target { port: PortSpec::Device(rig.path().to_owned()), ..at_first.clone() };
        let basis = Basis::Accepted(ground(&target.wanted(), OnUnproven::Refuse).expect("a calibration"));
        let mut bench = link_rig::open(&target, Acknowledged::ByOption).expect("a bench");
        match record_move(&mut bench, &target, kind, &basis, &mut Nobody) {
            Ok(_) => Moved::ToItsEnd,
            Err(stop) if is_doubt(&stop) => Moved::Doubted,
            Err(_) => Moved::EndedOtherwise,
        }
    }))
}

/// Units whose friction run, sweep and step were made, and how many of those motions ended how.
fn count_moved(
    kind: &str,
    port: &str,
    learned: impl Fn(u64) -> WorldConfig + Sync,
    put: impl Fn(WorldConfig) -> WorldConfig + Sync,
) -> [u64; 3] {
    let all: Vec<_> = (0..units(MOVED))
        .into_par_iter()
        .filter_map(|n| {
            let unit = learned(SEED + n);
            moved(&unit, &put(unit.clone()), SEED + n, port)
        })
        .flatten()
        .collect();
    let ends = [Moved::ToItsEnd, Moved::EndedOtherwise, Moved::Doubted];
    let counts = ends.map(|end| all.iter().filter(|one| **one == end).count() as u64);
    println!("{kind:<40}{:>7}{:>9}{:>7}", counts[0], counts[1], counts[2]);
    counts
}

/// How many of the units end so, and prints how all of them ended.
fn count(kind: &str, port: &str, unit: impl Fn(u64) -> WorldConfig + Sync) -> [u64; 4] {
    let met: Vec<Met> =
        (0..units(MOVED)).into_par_iter().map(|n| met(unit(SEED + n), SEED + n, port)).collect();
    let ends = [Met::Doubt, Met::WrongDirection, Met::Refused, Met::Learned];
    let counts = ends.map(|end| met.iter().filter(|one| **one == end).count() as u64);
    println!("{kind:<40}{:>7}{:>7}{:>9}{:>9}", counts[0], counts[1], counts[2], counts[3]);
    counts
}

fn sound(seed: u64) -> WorldConfig {
    wide_unit(&mut Pcg64Mcg::seed_from_u64(seed))
}

fn nominal(port: &str) -> WorldConfig {
    let PortSpec::Virtual { unit, .. } = port.parse().expect("a virtual port") else { panic!("{port}") };
    unit.actuator.plant().expect("a plant")
}

const A: &str = "virtual:bench-actuator-a/healthy";
const B: &str = "virtual:bench-actuator-b/healthy";

#[test]
fn no_sound_unit_is_stopped_in_doubt_and_another_actuator_is() {
    println!("{} units each{:>35}{:>7}{:>9}{:>9}", units(LEARNED), "doubt", "way", "refused", "learned");
    let [doubted, other_way, ..] = count("sound, wide spread", A, sound);
    let [_, most] = exact_bounds(doubted + other_way, units(LEARNED));
    println!(
        "  {} of {}: at most {:.2} % (exact two-sided 95 % bound)",
        doubted + other_way,
        units(LEARNED),
        100.0 * most
    );
    assert_eq!(doubted + other_way, 0);
    let learned = |counts: [u64; 4]| counts[3];
    let other = count("actuator B under A's profile", A, |_| nominal(B));
    assert_eq!(learned(other), 0);
    let other = count("actuator A under B's profile", B, sound);
    assert_eq!(learned(other), 0);
    let swapped = count("motor leads swapped", A, |seed| {
        let mut unit = sound(seed);
        unit.faults.push(Fault::standing(FaultKind::MotorReversed));
        unit
    });
    assert_eq!(learned(swapped), 0);
    for factor in [0.3, 0.4, 0.5, 0.7, 1.5, 2.0, 2.5, 3.0] {
        count(&format!("winding {factor} times as resistive"), A, |seed| {
            let mut unit = sound(seed);
            unit.actuator.motor.resistance_ohm *= factor;
            unit
        });
    }
}

#[test]
fn no_motion_of_a_sound_unit_is_stopped_in_doubt_and_one_of_another_unit_is() {
    println!("{} units each, three motions{:>19}{:>9}{:>7}", units(MOVED), "done", "ended", "doubt");
    let [done, ended, doubted] = count_moved("the unit that was learned, wide spread", A, sound, |unit| unit);
    let [_, most] = exact_bounds(doubted, done + ended + doubted);
    println!("  doubted: at most {:.2} % (exact two-sided 95 % bound)", 100.0 * most);
    assert_eq!(doubted, 0);
    assert!(done > 0, "no motion came to its end");
    for port in ["b", "c", "d", "e", "f"].map(|letter| format!("virtual:bench-actuator-{letter}/healthy")) {
        let [.., doubted] = count_moved(&format!("the same, {port}"), &port, |_| nominal(&port), |unit| unit);
        assert_eq!(doubted, 0, "{port}");
    }
    let [done, ..] = count_moved("actuator B under A's name", A, sound, |_| nominal(B));
    assert_eq!(done, 0, "a motion of another actuator came to its end");
    for factor in [0.4, 0.5, 0.7, 1.5, 2.0, 2.5] {
        count_moved(&format!("winding {factor} times as resistive"), A, sound, |mut unit| {
            unit.actuator.motor.resistance_ohm *= factor;
            unit
        });
    }
}
