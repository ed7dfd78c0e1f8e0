//! Settings, learns and calibrations: what is taken, refused and kept.

use super::*;
use crate::settings::SECTIONS;

#[test]
fn a_setting_out_of_range_is_refused_by_name_and_changes_nothing() {
    let mut bench = Bench::ready(None);
    let mut actuator = Settings::default().actuator;
    actuator.winding_resistance_ohm = 900.0;
    let outcome = bench.ask(&ToBoard::Settings(SettingsSection::Actuator(actuator)));
    let Outcome::Refused(Refusal::Setting { field, value, max, .. }) = outcome else { panic!("{outcome:?}") };
    assert_eq!((&*field.to_string(), value, max), ("actuator.winding_resistance_ohm", 900.0, 50.0));
    assert_eq!(bench.session.control.controller.settings(), &Settings::default());
}

#[test]
fn all_settings_arrive_section_by_section() {
    let mut bench = Bench::ready(None);
    let mut wanted = Settings::default();
    wanted.actuator.max_current = Ampere(2.5);
    wanted.limits.heat_time_s = 21.0;
    for section in wanted.sections() {
        assert_eq!(bench.ask(&ToBoard::Settings(section)), Outcome::Done);
    }
    assert_eq!(bench.session.control.controller.settings(), &wanted);
}

#[test]
fn new_settings_and_a_new_host_do_not_leave_the_over_boost_latch() {
    let mut bench = Bench::ready(Some(held(Setup::OnEngine)));
    bench.boost = Kilopascal(330.0);
    bench.drive_engine(5000);
    assert_eq!(bench.session.control.state.stage, GuardStage::Latched);
    bench.ask(&ToBoard::Hello);
    for section in Settings::default().sections() {
        assert_eq!(bench.ask(&ToBoard::Settings(section)), Outcome::Done);
    }
    bench.boost = Kilopascal(101.0);
    bench.arm();
    bench.drive_engine(3000);
    assert_eq!(bench.session.control.state.stage, GuardStage::Latched);
    bench.ask(&ToBoard::ClearLatch);
    bench.drive_engine(100);
    assert_ne!(bench.session.control.state.stage, GuardStage::Latched);
}

#[test]
fn a_learn_in_silence_ends_as_host_lost_and_can_be_asked_for() {
    let mut bench = Bench::ready(None);
    bench.start_learn();
    bench.ticks(10);
    assert_eq!(bench.session.control.activity.source(), Source::Learn);
    bench.ticks(DRIVE_LEASE_TICKS);
    bench.hear();
    let answers = bench.say(&ToBoard::GetLearnOutcome);
    let Some(ToHost::Learn { event, .. }) = answers.first() else { panic!("{answers:?}") };
    assert_eq!(*event, LearnEvent::Outcome(LearnOutcome::Refused(LearnRefusal::HostLost)));
}

#[test]
fn a_learn_does_not_answer_with_the_outcome_of_the_one_before() {
    for message in [None, Some(ToBoard::Hello)] {
        let mut bench = Bench::ready(None);
        bench.start_learn();
        bench.ticks(DRIVE_LEASE_TICKS + 1);
        assert!(bench.session.control.learned.is_some());
        match message {
            Some(message) => assert_eq!(bench.ask(&message), Outcome::Done),
            None => {
                bench.arm();
                bench.start_learn();
            }
        }
        assert_eq!(bench.ask(&ToBoard::GetLearnOutcome), refused(Refusal::NothingLearned));
    }
}

#[test]
fn a_calibration_whose_span_runs_the_other_way_is_not_used() {
    let mut turned = calibration(Setup::Free);
    core::mem::swap(&mut turned.closed, &mut turned.open);
    let mut bench = Bench::ready(Some(Held::of_full_learn(turned, Standing::Accepted, origin())));
    bench.load(Goal::Opening(Opening::OPEN));
    assert_eq!(bench.start(Setup::Free), refused(Refusal::NotCalibrated));
}

#[test]
fn a_calibration_waits_for_the_settings_that_it_was_learned_under() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    bench.load(Goal::Opening(Opening::OPEN));
    let before = Settings::default();
    let mut changed = before;
    changed.actuator.counts_direction = CountsDirection::OpeningRaises;
    assert_eq!(bench.ask(&ToBoard::Settings(SettingsSection::Actuator(changed.actuator))), Outcome::Done);
    assert_eq!(bench.start(Setup::Free), refused(Refusal::NotArmed));
    bench.arm();
    let other = Refusal::CalibrationOfOtherSettings { learned: before.hash(), board: changed.hash() };
    assert_eq!(bench.start(Setup::Free), refused(other.clone()));
    assert_eq!(bench.start_on(Setup::Free, Footing::Unproven), refused(other));
    assert_eq!(bench.session.control.controller.calibration(), None);
    bench.ask(&ToBoard::Settings(SettingsSection::Actuator(before.actuator)));
    bench.arm();
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
}

#[test]
fn a_board_without_settings_names_how_many_are_missing_and_one_with_others_names_both() {
    let mut bench = Bench::blank();
    bench.ask(&ToBoard::Hello);
    let settings = Settings::default();
    let arm = ToBoard::Arm { settings: settings.hash() };
    for (given, section) in settings.sections().enumerate() {
        let missing = SECTIONS - given as u8;
        assert_eq!(bench.ask(&arm), refused(Refusal::NoSettings { missing }));
        assert_eq!(bench.ask(&ToBoard::Settings(section)), Outcome::Done);
    }
    let host = SettingsHash(settings.hash().0 ^ 1);
    let other = Refusal::OtherSettings { board: settings.hash(), host };
    assert_eq!(bench.ask(&ToBoard::Arm { settings: host }), refused(other));
    assert_eq!(bench.ask(&arm), Outcome::Done);
}

#[test]
fn the_same_section_sent_over_and_over_is_not_all_settings() {
    let mut bench = Bench::blank();
    bench.ask(&ToBoard::Hello);
    let slew = SettingsSection::Slew(Settings::default().slew);
    for _ in 0..SECTIONS {
        bench.ask(&ToBoard::Settings(slew));
    }
    let settings = bench.session.control.controller.settings().hash();
    assert_eq!(bench.ask(&ToBoard::Arm { settings }), refused(Refusal::NoSettings { missing: SECTIONS - 1 }));
}

#[test]
fn settings_from_the_store_count_as_given_and_are_told_in_the_welcome() {
    let mut bench = Bench::new(Pacing::Paced, None);
    let welcome = bench.say(&ToBoard::Hello);
    let Some(ToHost::Welcome(welcome)) = welcome.first() else { panic!("{welcome:?}") };
    assert_eq!(welcome.settings, Some(Settings::default().hash()));
    assert_eq!(bench.arm(), Outcome::Done);
    let mut blank = Bench::blank();
    let welcome = blank.say(&ToBoard::Hello);
    let Some(ToHost::Welcome(welcome)) = welcome.first() else { panic!("{welcome:?}") };
    assert_eq!(welcome.settings, None);
}

#[test]
fn stored_settings_that_this_build_does_not_allow_are_none() {
    let mut bench = Bench::blank();
    let mut settings = Settings::default();
    settings.learn.limits.relearn_window = f32::NAN;
    bench.session.restore(&Kept { settings: Some(settings), ..kept(None) });
    bench.ask(&ToBoard::Hello);
    assert_eq!(bench.arm(), refused(Refusal::NoSettings { missing: SECTIONS }));
}

#[test]
fn settings_are_not_changed_under_a_drive_and_disarm_it_otherwise() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    let slew = ToBoard::Settings(SettingsSection::Slew(Settings::default().slew));
    bench.load(duty(0.5));
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
    assert_eq!(bench.ask(&slew), refused(Refusal::Busy { source: Source::Motion }));
    bench.ask(&ToBoard::Stop);
    assert_eq!(bench.ask(&slew), Outcome::Done);
    assert_eq!(bench.start(Setup::Free), refused(Refusal::NotArmed));
}

#[test]
fn a_save_is_taken_only_at_duty_zero_and_told_with_its_number() {
    let mut bench = Bench::blank();
    bench.ask(&ToBoard::Hello);
    assert_eq!(bench.ask(&ToBoard::Store), refused(Refusal::NoSettings { missing: SECTIONS }));
    let mut bench = Bench::ready(Some(held(Setup::Attached)));
    bench.store = None;
    bench.load(duty(0.5));
    bench.start(Setup::Attached);
    bench.ticks(50);
    assert_eq!(bench.ask(&ToBoard::Store), refused(Refusal::Busy { source: Source::Motion }));
    bench.ask(&ToBoard::Stop);
    assert_eq!(bench.ask(&ToBoard::Store), Outcome::Done);
    assert_eq!(bench.session.take_save(), None, "the last tick has driven");
    bench.tick();
    assert_eq!(bench.session.take_save(), Some(kept(Some(held(Setup::Attached)))));
    assert_eq!(bench.session.take_save(), None);
    for (number, result) in [(0, StoreResult::Written), (1, StoreResult::Failed(StoreFault::Full))] {
        bench.hear();
        bench.session.saved(result);
        assert_eq!(bench.hear(), [ToHost::Stored { number, result }]);
        bench.session.saved(result);
        assert_eq!(bench.hear(), [], "nothing was taken");
        assert_eq!(bench.ask(&ToBoard::Store), Outcome::Done);
        assert!(bench.session.take_save().is_some());
    }
}

#[test]
fn nothing_begins_while_a_save_is_pending() {
    for is_taken in [false, true] {
        let mut bench = Bench::ready(Some(held(Setup::OnEngine)));
        bench.store = None;
        bench.load(duty(0.5));
        assert_eq!(bench.ask(&ToBoard::Store), Outcome::Done);
        assert_eq!(is_taken.then(|| bench.session.take_save().is_some()), is_taken.then_some(true));
        assert_eq!(bench.start(Setup::OnEngine), refused(Refusal::Saving));
        assert_eq!(bench.start_on(Setup::Free, Footing::Diagnostic), refused(Refusal::Saving));
        assert_eq!(bench.learn(full(Setup::Free)), refused(Refusal::Saving));
        assert_eq!(bench.ask(&ToBoard::Engine(DEMAND)), refused(Refusal::Saving));
        bench.store = Some(StoreResult::Written);
        if is_taken {
            bench.session.saved(StoreResult::Written);
        }
        bench.tick();
        assert_eq!(bench.start(Setup::OnEngine), Outcome::Done);
    }
}

#[test]
fn what_is_stored_of_a_standing_is_still_so_after_a_restart() {
    let standing = Standing::NotProven { open: CheckSet::NONE.with(Check::MinimumFlow) };
    let stored = Held { relearns: 3, standing, ..held(Setup::Attached) };
    let mut bench = Bench::ready(Some(stored));
    let answers = bench.say(&ToBoard::GetCalibration { setup: Setup::Attached });
    assert_eq!(answers.first(), Some(&ToHost::Calibration(stored)));
    assert_eq!(bench.ask(&ToBoard::Store), Outcome::Done);
    bench.tick();
    assert_eq!(bench.kept, Some(kept(Some(stored))));
    let mut again = Bench::blank();
    again.session.restore(&bench.kept.unwrap());
    let welcome = again.say(&ToBoard::Hello);
    let told = welcome.iter().find_map(|message| match message {
        ToHost::Welcome(welcome) => welcome.calibration,
        _ => None,
    });
    assert_eq!(told.unwrap().standing, standing);
}

#[test]
fn what_the_learner_tells_is_numbered_and_the_outcome_asked_for_again_keeps_its_number() {
    let mut bench = Bench::ready(None);
    bench.start_learn();
    let mut told = List::new();
    for _ in 0..DRIVE_LEASE_TICKS + 1 {
        bench.tick();
        told.extend(bench.hear());
    }
    let numbers: List<u16> = told
        .iter()
        .filter_map(|message| if let ToHost::Learn { number, .. } = message { Some(*number) } else { None })
        .collect();
    assert!(numbers.len() >= 2, "{told:?}");
    assert_eq!(numbers, (0..numbers.len() as u16).collect::<List<_>>());
    let outcome = told.iter().rfind(|message| matches!(message, ToHost::Learn { .. }));
    assert_eq!(bench.say(&ToBoard::GetLearnOutcome).first(), outcome);
    bench.arm();
    bench.start_learn();
    bench.tick();
    assert!(
        matches!(bench.hear().first(), Some(ToHost::Learn { number: 0, .. })),
        "the next learn begins at 0"
    );
}

#[test]
fn a_release_can_be_asked_for_again() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    assert_eq!(bench.status().released, Release::NONE);
    bench.load(duty(0.5));
    bench.start(Setup::Free);
    bench.position = Counts(4321);
    bench.ticks(DRIVE_LEASE_TICKS + 1);
    let told = bench.hear().into_iter().find_map(|message| match message {
        ToHost::Released { tick, reason, position } => Some(Release { tick, reason, position }),
        _ => None,
    });
    let released = bench.status().released;
    assert_eq!(Some(released), told);
    assert_eq!((released.reason, released.position), (ReleaseReason::HostSilent, Counts(4321)));
}

#[test]
fn the_end_of_each_save_is_told_and_numbered_anew_in_each_talk() {
    let mut bench = Bench::ready(Some(held(Setup::Free)));
    bench.store = None;
    for (number, result) in
        [(0, StoreResult::Written), (1, StoreResult::Failed(StoreFault::ReadBack)), (0, StoreResult::Written)]
    {
        assert_eq!(bench.ask(&ToBoard::Store), Outcome::Done);
        bench.tick();
        assert!(bench.session.take_save().is_some());
        bench.session.saved(result);
        assert_eq!(bench.hear(), [ToHost::Stored { number, result }]);
        if number == 1 {
            assert_eq!(bench.ask(&ToBoard::Hello), Outcome::Done);
        }
    }
}

#[test]
fn arming_with_other_settings_than_the_boards_is_refused_with_both() {
    let mut bench = Bench::ready(None);
    let board = Settings::default().hash();
    let host = SettingsHash(!board.0);
    assert_eq!(bench.ask(&ToBoard::Hello), Outcome::Done);
    assert_eq!(bench.ask(&ToBoard::Arm { settings: host }), refused(Refusal::OtherSettings { board, host }));
    bench.load(duty(0.5));
    assert_eq!(bench.start(Setup::Free), refused(Refusal::NotArmed));
}

#[test]
fn the_longest_calibration_fits_a_frame() {
    let mut longest = held(Setup::OnEngine);
    longest.calibration.temperature = Some(crate::units::Celsius(25.0));
    longest.anchor = longest.calibration;
    longest.relearns = u16::MAX;
    longest.standing = Standing::NotProven { open: CheckSet::ALL };
    longest.origin =
        Origin { tag: OriginTag(u64::MAX), settings: SettingsHash(u32::MAX), tick: Tick(u32::MAX) };
    assert!(body(&ToHost::Calibration(longest), &mut [0; MAX_MESSAGE]).is_ok());
}
