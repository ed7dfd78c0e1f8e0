//! Which calibration is in force: what a learn takes away before it moves, and what comes after.

use super::*;
use crate::controller::LIMP_REFUSALS;
use crate::learn::LearnPhase;

const BENCH_SETUPS: [Setup; 2] = [Setup::Free, Setup::Attached];
const REFUSED: LearnOutcome = LearnOutcome::Refused(LearnRefusal::HostLost);

/// A board that holds a calibration of every setup.
fn full_bank() -> Bench {
    let mut bench = Bench::ready(None);
    for setup in [Setup::Free, Setup::Attached, Setup::OnEngine] {
        assert_eq!(bench.ask(&ToBoard::SetCalibration(held(setup))), Outcome::Done);
    }
    bench
}

fn suspended(refusals: u8) -> Option<Standing> {
    Some(Standing::Suspended { refusals })
}

fn relearn(setup: Setup) -> LearnOrder {
    LearnOrder::relearn(calibration(setup), CheckSet::ALL)
}

fn phases(told: &[ToHost]) -> usize {
    let is_phase = |m: &&ToHost| matches!(m, ToHost::Learn { event: LearnEvent::Phase(_), .. });
    told.iter().filter(is_phase).count()
}

#[test]
fn a_full_learn_on_the_bench_waits_released_until_the_store_holds_no_calibration_of_the_bench() {
    for setup in BENCH_SETUPS {
        let mut bench = full_bank();
        bench.store = None;
        bench.hear();
        assert_eq!(bench.learn(full(setup)), Outcome::Done);
        for _ in 0..300 {
            assert_eq!(bench.tick().duty, Duty::ZERO);
            assert_eq!(bench.session.control.state.drive, Drive::Released);
        }
        assert_eq!(BENCH_SETUPS.map(|setup| bench.standing(setup)), [None, None]);
        let Kept { held: [free, attached, on_engine], .. } = bench.session.take_save().unwrap();
        assert_eq!((free, attached, on_engine), (None, None, Some(held(Setup::OnEngine))));
        bench.tick();
        assert_eq!(phases(&bench.hear()), 0, "taken is not answered");
        bench.session.saved(StoreResult::Written);
        bench.tick();
        let told = bench.hear();
        assert!(told.contains(&ToHost::Stored { number: 0, result: StoreResult::Written }), "{told:?}");
        assert_eq!(phases(&told), 1, "{told:?}");
        assert_eq!(
            bench.session.control.state.drive,
            Drive::Released,
            "{:?} comes first",
            LearnPhase::AtRest
        );
    }
}

#[test]
fn a_store_that_fails_ends_the_learn_before_it_moves_and_one_that_is_not_there_does_not() {
    for fault in [StoreFault::Full, StoreFault::Flash, StoreFault::ReadBack] {
        let mut bench = full_bank();
        bench.store = Some(StoreResult::Failed(fault));
        assert_eq!(bench.learn(full(Setup::Free)), Outcome::Done);
        assert_eq!(bench.tick().duty, Duty::ZERO);
        assert_eq!(bench.session.control.released.reason, ReleaseReason::NotStored);
        assert_eq!(bench.ask(&ToBoard::GetLearnOutcome), refused(Refusal::NothingLearned));
        assert_eq!(bench.standing(Setup::Free), None);
        // The store may still hold the old one: the next learn has to get rid of it too.
        assert_eq!(bench.learn(full(Setup::Free)), Outcome::Done);
        bench.tick();
        assert_eq!(bench.session.control.released.reason, ReleaseReason::NotStored);
        bench.store = Some(StoreResult::Written);
        assert_eq!(bench.learn(full(Setup::Free)), Outcome::Done);
        bench.tick();
        assert_eq!(bench.session.control.activity.source(), Source::Learn);
    }
    let mut bench = full_bank();
    bench.store = Some(StoreResult::Failed(StoreFault::None));
    assert_eq!(bench.learn(full(Setup::Free)), Outcome::Done);
    bench.tick();
    assert_eq!(phases(&bench.hear()), 1);
}

#[test]
fn a_board_that_holds_nothing_learns_without_a_save_first() {
    let mut bench = Bench::ready(None);
    bench.store = None;
    bench.hear();
    bench.start_learn();
    bench.tick();
    assert_eq!(phases(&bench.hear()), 1);
}

/// What ends a learn.
type Cut = fn(&mut Bench);

/// Every way in which a learn ends without a calibration.
fn cuts() -> [(&'static str, Cut); 5] {
    [
        ("refused", |bench| bench.end_learn(REFUSED)),
        ("stopped", |bench| assert_eq!(bench.ask(&ToBoard::Stop), Outcome::Done)),
        ("another host", |bench| assert_eq!(bench.ask(&ToBoard::Hello), Outcome::Done)),
        ("silence", |bench| {
            bench.ticks(DRIVE_LEASE_TICKS + 1);
        }),
        ("a missing tick", |bench| {
            bench.tick = bench.tick.after(1);
            bench.tick();
        }),
    ]
}

#[test]
fn a_full_learn_on_the_bench_that_is_refused_or_cut_leaves_none_in_force_there_even_after_a_restart() {
    for setup in BENCH_SETUPS {
        for ((name, cut), ticks) in cuts().into_iter().flat_map(|cut| [(cut, 1), (cut, 40)]) {
            let mut bench = full_bank();
            assert_eq!(bench.learn(full(setup)), Outcome::Done);
            bench.ticks(ticks);
            cut(&mut bench);
            bench.tick();
            let mut restarted = Bench::blank();
            restarted.session.restore(&bench.kept.unwrap());
            for mut bench in [bench, restarted] {
                bench.ask(&ToBoard::Hello);
                bench.arm();
                bench.load(Goal::Opening(Opening::OPEN));
                for (wanted, footing) in BENCH_SETUPS
                    .into_iter()
                    .flat_map(|wanted| [(wanted, Footing::Accepted), (wanted, Footing::Unproven)])
                {
                    let learned = Setup::OnEngine;
                    let none = refused(Refusal::OtherSetup { learned, wanted });
                    assert_eq!(bench.start_on(wanted, footing), none, "{setup}, {name}");
                }
                assert_eq!(bench.standing(Setup::OnEngine), Some(Standing::Accepted), "{setup}, {name}");
            }
        }
    }
}

#[test]
fn on_an_engine_every_learn_that_is_refused_or_cut_counts_and_power_may_go_at_any_moment() {
    for order in [full(Setup::OnEngine), relearn(Setup::OnEngine)] {
        for (name, cut) in cuts() {
            let mut bench = full_bank();
            assert_eq!(bench.learn(order), Outcome::Done);
            bench.tick();
            let [_, _, kept] = bench.kept.unwrap().held;
            assert_eq!(kept.map(|held| held.standing), suspended(1), "{name}: before anything moves");
            cut(&mut bench);
            assert_eq!(bench.standing(Setup::OnEngine), suspended(1), "{name}");
            assert_eq!(bench.standing(Setup::Free), Some(Standing::Accepted), "{name}");
        }
    }
    let mut bench = full_bank();
    for refusals in 1..=5 {
        assert_eq!(bench.learn(full(Setup::OnEngine)), Outcome::Done);
        bench.tick();
        bench.end_learn(REFUSED);
        assert_eq!(bench.standing(Setup::OnEngine), suspended(refusals));
    }
}

#[test]
fn an_accepted_relearn_ends_a_suspension_and_keeps_the_anchor_but_limp_mode_ends_by_a_full_learn_only() {
    let mut bench = full_bank();
    let moved = Calibration { supply: Volt(12.5), ..calibration(Setup::OnEngine) };
    for _ in 1..LIMP_REFUSALS {
        assert_eq!(bench.learn(relearn(Setup::OnEngine)), Outcome::Done);
        bench.tick();
        bench.end_learn(REFUSED);
    }
    assert_eq!(bench.standing(Setup::OnEngine), suspended(LIMP_REFUSALS - 1));
    bench.tick();
    assert_eq!(bench.learn(relearn(Setup::OnEngine)), Outcome::Done);
    bench.tick();
    bench.end_learn(LearnOutcome::Accepted(moved));
    let now = *bench.session.control.bank.get(Setup::OnEngine).unwrap();
    let origin = Origin { tag: TAG, settings: Settings::default().hash(), tick: bench.tick };
    assert_eq!(
        now,
        Held {
            calibration: moved,
            anchor: calibration(Setup::OnEngine),
            relearns: 1,
            standing: Standing::Accepted,
            origin,
        }
    );
    bench.tick();
    assert_eq!(bench.kept.unwrap().held[2], Some(now));

    for _ in 0..LIMP_REFUSALS {
        assert_eq!(bench.learn(full(Setup::OnEngine)), Outcome::Done);
        bench.tick();
        bench.end_learn(REFUSED);
        bench.tick();
    }
    let standing = Standing::Suspended { refusals: LIMP_REFUSALS };
    let again = LearnOrder::relearn(moved, CheckSet::ALL);
    assert_eq!(bench.learn(again), refused(Refusal::NotInForce { standing }));
    assert_eq!(bench.ask(&ToBoard::SetCalibration(now)), refused(Refusal::NotInForce { standing }));
    assert_eq!(bench.learn(full(Setup::OnEngine)), Outcome::Done);
    bench.tick();
    bench.end_learn(LearnOutcome::Accepted(moved));
    assert_eq!(bench.standing(Setup::OnEngine), Some(Standing::Accepted));
}

#[test]
fn a_relearn_starts_from_what_the_board_holds_for_this_setup_warmth_and_settings() {
    let mut bench = Bench::ready(None);
    assert_eq!(bench.learn(relearn(Setup::Free)), refused(Refusal::NotCalibrated));
    let mut bench = full_bank();
    let other = Calibration { supply: Volt(9.0), ..calibration(Setup::Free) };
    assert_eq!(bench.learn(LearnOrder::relearn(other, CheckSet::ALL)), refused(Refusal::OtherCalibration));
    let hot = LearnOrder { warmth: Warmth::Hot, ..relearn(Setup::Free) };
    let other = Refusal::OtherWarmth { learned: Warmth::Cold, wanted: Warmth::Hot };
    assert_eq!(bench.learn(hot), refused(other));
    assert_eq!(bench.standing(Setup::Free), Some(Standing::Accepted), "a refused order takes nothing away");
}

#[test]
fn what_is_not_proven_is_held_as_such_and_never_becomes_more_by_a_refusal() {
    let mut bench = Bench::ready(None);
    let open = CheckSet::NONE.with(Check::SensorScale);
    let outcome = LearnOutcome::NotProven { calibration: calibration(Setup::Free), check: open };
    bench.start_learn();
    bench.tick();
    bench.end_learn(outcome);
    let standing = Standing::NotProven { open };
    assert_eq!(bench.standing(Setup::Free), Some(standing));
    bench.tick();
    assert_eq!(bench.kept.unwrap().held[0].map(|held| held.standing), Some(standing));
    bench.load(Goal::Opening(Opening::OPEN));
    assert_eq!(bench.start(Setup::Free), refused(Refusal::NotInForce { standing }));
    assert_eq!(bench.start_on(Setup::Free, Footing::Unproven), Outcome::Done);
    bench.ask(&ToBoard::Stop);
    assert_eq!(bench.learn(relearn(Setup::Free)), Outcome::Done);
    bench.tick();
    bench.end_learn(REFUSED);
    assert_eq!(bench.standing(Setup::Free), Some(standing));
}

#[test]
fn on_an_engine_what_is_not_proven_does_not_take_the_place_of_what_was_accepted_once() {
    let open = CheckSet::NONE.with(Check::MinimumFlow);
    let calibration = calibration(Setup::OnEngine);
    let outcome = LearnOutcome::NotProven { calibration, check: open };
    let mut bench = full_bank();
    bench.learn(full(Setup::OnEngine));
    bench.tick();
    bench.end_learn(outcome);
    assert_eq!(bench.standing(Setup::OnEngine), suspended(1));
    let mut bench = Bench::ready(None);
    bench.learn(full(Setup::OnEngine));
    bench.tick();
    bench.end_learn(outcome);
    let standing = Standing::NotProven { open };
    bench.tick();
    assert_eq!(bench.ask(&ToBoard::Engine(DEMAND)), refused(Refusal::NotInForce { standing }));
}
