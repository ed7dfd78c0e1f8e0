//! Settings, learns and calibrations: what is taken, refused and kept.

use super::*;

#[test]
fn a_setting_out_of_range_is_refused_by_name_and_changes_nothing() {
    let mut bench = Bench::ready(None);
    let mut actuator = Settings::default().actuator;
    actuator.winding_resistance_ohm = 900.0;
    let outcome = bench.ask(&ToBoard::Settings(SettingsSection::Actuator(actuator)));
    let Outcome::Refused(Refusal::Setting { field, value, max, .. }) = outcome else { panic!("{outcome:?}") };
    assert_eq!((field.as_str(), value, max), ("actuator.winding_resistance_ohm", 900.0, 50.0));
    assert_eq!(bench.session.controller.settings(), &Settings::default());
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
    assert_eq!(bench.session.controller.settings(), &wanted);
}

#[test]
fn new_settings_and_a_new_host_do_not_leave_the_over_boost_latch() {
    let mut bench = Bench::ready(Some(held(Setup::OnEngine)));
    bench.boost = Kilopascal(330.0);
    bench.drive_engine(5000);
    assert_eq!(bench.session.state.stage, GuardStage::Latched);
    bench.ask(&ToBoard::Hello);
    for section in Settings::default().sections() {
        assert_eq!(bench.ask(&ToBoard::Settings(section)), Outcome::Done);
    }
    bench.boost = Kilopascal(101.0);
    bench.arm();
    bench.drive_engine(3000);
    assert_eq!(bench.session.state.stage, GuardStage::Latched);
    bench.ask(&ToBoard::ClearLatch);
    bench.drive_engine(100);
    assert_ne!(bench.session.state.stage, GuardStage::Latched);
}

#[test]
fn a_learn_in_silence_ends_as_host_lost_and_can_be_asked_for() {
    let mut bench = Bench::ready(None);
    bench.start_learn();
    bench.ticks(10);
    assert_eq!(bench.session.activity.source(), Source::Learn);
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
        assert!(bench.session.learned.is_some());
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
fn a_calibration_whose_span_runs_the_other_way_is_not_used_until_the_settings_agree() {
    let mut turned = calibration(Setup::Free);
    core::mem::swap(&mut turned.closed, &mut turned.open);
    let mut bench = Bench::ready(Some(Held::of_full_learn(turned, Standing::Accepted, origin())));
    bench.load(Goal::Opening(Opening::OPEN));
    assert_eq!(bench.start(Setup::Free), refused(Refusal::NotCalibrated));
    let mut actuator = Settings::default().actuator;
    actuator.counts_direction = CountsDirection::OpeningRaises;
    assert_eq!(bench.ask(&ToBoard::Settings(SettingsSection::Actuator(actuator))), Outcome::Done);
    assert_eq!(bench.start(Setup::Free), Outcome::Done);
}

#[test]
fn a_calibration_is_stored_on_request_and_only_at_duty_zero() {
    let mut bench = Bench::ready(None);
    assert_eq!(bench.ask(&ToBoard::Store), refused(Refusal::NotCalibrated));
    let open = CheckSet::ALL;
    let wanted = Held { standing: Standing::NotProven { open }, ..held(Setup::Attached) };
    assert_eq!(bench.ask(&ToBoard::SetCalibration(wanted)), Outcome::Done);
    bench.load(duty(0.5));
    bench.start(Setup::Attached);
    bench.ticks(50);
    assert_eq!(bench.ask(&ToBoard::Store), Outcome::Done);
    bench.tick();
    assert_eq!(bench.session.take_save(), None);
    bench.ask(&ToBoard::Stop);
    bench.tick();
    assert_eq!(bench.session.take_save(), Some(wanted));
    assert_eq!(bench.session.take_save(), None);
}

#[test]
fn what_is_unproven_of_a_stored_calibration_is_still_unproven_after_a_restart() {
    let standing = Standing::NotProven { open: CheckSet::NONE.with(Check::MinimumFlow) };
    let stored = Held { relearns: 3, standing, ..held(Setup::Attached) };
    let mut bench = Bench::ready(Some(stored));
    let answers = bench.say(&ToBoard::GetCalibration { setup: Setup::Attached });
    assert_eq!(answers.first(), Some(&ToHost::Calibration(stored)));
    assert_eq!(bench.ask(&ToBoard::Store), Outcome::Done);
    bench.tick();
    assert_eq!(bench.session.take_save(), Some(stored));
    let welcome = bench.say(&ToBoard::Hello);
    let told = welcome.iter().find_map(|message| match message {
        ToHost::Welcome(welcome) => welcome.calibration,
        _ => None,
    });
    assert_eq!(told.unwrap().standing, standing);
}
