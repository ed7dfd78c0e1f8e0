//! Which runs a verdict counts, and which it leaves out.

use super::*;

fn numbered(ordinal: u32, kind: RunKind) -> Run {
    let mut run = run(kind, &[], |opening, _| opening);
    run.name.ordinal = ordinal;
    run.file.run.unit = "U1".into();
    run
}

fn calibration() -> Calibration {
    let stop = |at: f32| LearnedStop {
        zero_push_counts: at,
        pressed_counts: at,
        released_counts: at,
        compliance_counts_per_a: 20.0,
        repeat_range_counts: 1.0,
        contact: Contact::RingContact,
    };
    Calibration {
        closed: stop(13_000.0),
        open: stop(2300.0),
        setup: Setup::Attached,
        warmth: Warmth::Cold,
        supply: Volt(12.0),
        temperature: None,
        clearance: Opening::CLOSED,
    }
}

fn left_out(runs: Vec<Run>) -> (Vec<u32>, Vec<WhyLeftOut>) {
    let selection = Selection::of(runs, "U1", &[], &Job::default());
    let counted = selection.counted.iter().map(|run| run.name.ordinal).collect();
    (counted, selection.left_out.into_iter().map(|left| left.why).collect())
}

#[test]
fn an_interrupted_run_does_not_undo_an_older_complete_one_and_a_complete_one_does() {
    let mut cut = numbered(2, RunKind::Sweep);
    cut.file.status = RunStatus::Incomplete { reason: "stopped".into() };
    let (counted, why) = left_out(vec![numbered(1, RunKind::Sweep), cut.clone()]);
    assert_eq!((counted, why), (vec![1], vec![WhyLeftOut::CutShort { reason: "stopped".into() }]));
    let newer = numbered(3, RunKind::Sweep);
    let by = newer.name;
    assert_eq!(left_out(vec![cut, newer]), (vec![3], vec![WhyLeftOut::Replaced { by }]));
}

fn given(serial: &str, settings: u32) -> Provenance {
    Provenance {
        settings: SettingsHash(settings),
        operator: None,
        customer: None,
        board: BoardId { name: "bench board".into(), serial: serial.into() },
        serials: Serials::default(),
        job: Job::default(),
    }
}

#[test]
fn a_verdict_speaks_of_one_job_and_one_state() {
    let job = |name: &str, state| Job { name: Some(name.parse().unwrap()), state: Some(state) };
    let of_job = |ordinal, kind, job: &Job| {
        let mut run = numbered(ordinal, kind);
        run.file.run.provenance = Some(Provenance { job: job.clone(), ..given("1", 7) });
        run
    };
    let (found, left) = (job("A-17", JobState::AsFound), job("A-17", JobState::AsLeft));
    let runs = || {
        vec![
            of_job(1, RunKind::Learn, &found),
            of_job(2, RunKind::Sweep, &found),
            of_job(3, RunKind::Learn, &left),
        ]
    };
    let counted = |asked: &Job| {
        let selection = Selection::of(runs(), "U1", &[], asked);
        let others = selection.left_out.iter().filter(|left| matches!(left.why, WhyLeftOut::OtherJob { .. }));
        (selection.counted.iter().map(|run| run.name.ordinal).collect::<Vec<_>>(), others.count())
    };
    assert_eq!(counted(&Job::default()), (vec![3], 2));
    assert_eq!(counted(&found), (vec![1, 2], 1));
    assert_eq!(counted(&job("B-2", JobState::AsLeft)), (vec![], 3));
}

#[test]
fn a_run_of_another_unit_counts_for_nothing_and_leaves_the_unit_undetermined() {
    let mut foreign = numbered(2, RunKind::Step);
    foreign.file.run.unit = "U2".into();
    let selection = Selection::of(vec![numbered(1, RunKind::Learn), foreign], "U1", &[], &Job::default());
    assert_eq!(selection.counted.len(), 1);
    let finding = selection.left_out[0].finding().unwrap();
    assert_eq!((finding.code.as_str(), finding.fault_of), ("foreign-run", FaultOf::Rig));
}

#[test]
fn a_motion_counts_only_on_the_newest_learns_calibration_board_and_settings() {
    let learn = numbered(3, RunKind::Learn);
    let name = learn.name;
    let mut older = numbered(2, RunKind::Sweep);
    older.file.outcome.calibration = Some(calibration());
    let (counted, why) = left_out(vec![older, learn.clone()]);
    assert_eq!((counted, why), (vec![3], vec![WhyLeftOut::OtherCalibration { learn: name }]));
    let (mut learn, mut sweep) = (learn, numbered(4, RunKind::Sweep));
    learn.file.run.provenance = Some(given("1", 7));
    sweep.file.run.provenance = Some(given("2", 7));
    assert_eq!(left_out(vec![learn.clone(), sweep.clone()]).1, [WhyLeftOut::OtherBoard { learn: name }]);
    sweep.file.run.provenance = Some(given("1", 8));
    assert_eq!(left_out(vec![learn.clone(), sweep.clone()]).1, [WhyLeftOut::OtherSettings { learn: name }]);
    sweep.file.run.provenance = Some(given("1", 7));
    assert_eq!(left_out(vec![learn, sweep]), (vec![3, 4], vec![]));
}

#[test]
fn a_job_without_runs_is_undetermined() {
    let asked = Job { name: Some("B-2".parse().unwrap()), state: None };
    let (profile, limits) = (DEMO.profile().unwrap(), DEMO.limits().unwrap());
    let runs = vec![numbered(1, RunKind::Learn)];
    let result = UnitResult::of_job(runs, &Checked::default(), "U1", (&profile, &limits), &asked);
    assert_eq!(result.verdict.judgement, Judgement::Undetermined);
    assert!(result.verdict.reasons[0].seen.contains("job B-2"), "{:?}", result.verdict.reasons);
}
