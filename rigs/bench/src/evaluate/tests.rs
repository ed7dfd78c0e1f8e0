//! Runs made by hand, with known answers, whole and cut short at every kind of place.

use std::path::PathBuf;

use firmware_core::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use firmware_core::command::Command;
use firmware_core::motion::Goal;
use firmware_core::settings::SettingsHash;
use firmware_core::units::{Ampere, Counts, Duty, Opening, Tick, Volt};

use super::{Exhibit, Selection, UnitResult, WhyLeftOut, evaluate};
use crate::actuator::DEMO;
use crate::caution::Acknowledged;
use crate::figures::{Measure, Sensor};
use crate::judge::{FaultOf, Judgement, judge};
use crate::procedure::slow_reversal;
use crate::record::{
    BoardId, Checked, Conditions, Job, JobState, Made, Outcome, Provenance, RECORD_VERSION, Row, Run,
    RunFile, RunInfo, RunKind, RunName, Sample, Serials, Sha256Hex, Status,
};

/// A run whose samples follow the commands through `respond(previous opening, command)`.
fn run(kind: RunKind, commands: &[Command], mut respond: impl FnMut(f32, Command) -> f32) -> Run {
    let mut opening = 0.5;
    let rows = (0..).zip(commands).map(|(tick, &command)| {
        let row = Row::Sample(Sample {
            tick: Tick(tick),
            position: Counts(0),
            opening: Some(opening),
            command,
            duty: if let Command::Duty(duty) = command { duty.get() } else { 0.0 },
            motor_current: Some(Ampere(if let Command::Duty(duty) = command {
                10.0 * duty.get()
            } else {
                0.0
            })),
            supply: None,
            state: "motion".into(),
        });
        opening = respond(opening, command);
        row
    });
    let info = RunInfo {
        kind,
        unit: "demo".into(),
        profile: "bench-actuator-a".into(),
        setup: Setup::Attached,
        warmth: Warmth::Cold,
        cautions: Acknowledged::VirtualRig,
        seed: None,
        virtual_unit: None,
        software: String::new(),
        controller: String::new(),
        provenance: None,
    };
    Run {
        evidence: Sha256Hex::none(),
        profile: None,
        name: RunName { ordinal: 1, kind },
        dir: PathBuf::new(),
        rows: rows.collect(),
        confirmed: Vec::new(),
        torn_end: false,
        file: RunFile {
            version: RECORD_VERSION,
            status: Status::Complete,
            run: info,
            conditions: Conditions::new(),
            outcome: Outcome::default(),
            sums: None,
            made: Made::new(),
        },
    }
}

fn opening(value: f64) -> Command {
    Command::Opening(Opening::saturating(value as f32, Opening::OPEN))
}

fn hold(commands: &mut Vec<Command>, command: Command, ticks: usize) {
    commands.extend(std::iter::repeat_n(command, ticks));
}

/// Up and down over the plan's points, four times: one preconditioning, three measured.
fn staircase() -> Vec<Command> {
    let plan = DEMO.profile().unwrap().plan.sweep;
    let at = |i: u32| {
        opening(plan.lowest + (plan.highest - plan.lowest) * f64::from(i) / f64::from(plan.points - 1))
    };
    let mut commands = Vec::new();
    for _ in 0..plan.cycles + plan.preconditioning_cycles {
        hold(&mut commands, Command::Release, 20);
        for i in (0..plan.points).chain((0..plan.points - 1).rev()) {
            hold(&mut commands, at(i), plan.dwell_ticks as usize);
        }
    }
    commands
}

/// Follows with play: the position stays until the command is half the play away.
fn play(width: f32) -> impl FnMut(f32, Command) -> f32 {
    move |from, command| match command {
        Command::Opening(to) => from.max(to.get() - width / 2.0).min(to.get() + width / 2.0),
        _ => from,
    }
}

fn value(shown: &super::Shown, measure: Measure) -> f64 {
    shown.evidence.figures.iter().find(|f| f.measure == measure).unwrap().value
}

/// Play of 0.8 % is what the command comes back by before the position follows.
#[test]
fn play_shows_as_dead_band_in_a_slow_reversal() {
    let mut commands = staircase();
    for segment in slow_reversal(0.5) {
        let Goal::Opening(to) = segment.goal else { panic!("a reversal is closed loop") };
        let from = match commands.last() {
            Some(Command::Opening(from)) => from.get(),
            _ => to.get(),
        };
        commands.extend(
            (1..=segment.ticks).map(|tick| {
                opening(f64::from(from + (to.get() - from) * tick as f32 / segment.ticks as f32))
            }),
        );
    }
    let mut profile = DEMO.profile().unwrap();
    profile.plan.sweep.reversals = vec![0.5];
    let sweep = |width| evaluate(&run(RunKind::Sweep, &commands, play(width)), &profile);
    let shown = sweep(0.008);
    assert!((value(&shown, Measure::DeadBand) - 0.8).abs() < 0.06, "{:?}", shown.evidence.figures);
    let Some(Exhibit::Sweep { reversals, .. }) = &shown.exhibit else { panic!("no table") };
    assert_eq!(reversals.iter().map(|r| r.dead_bands.len()).collect::<Vec<_>>(), [2]);
    // Wider than the ramps, and at a place that was not recorded: findings, never a figure of what is left.
    for (shown, code) in [
        (sweep(0.02), "dead band too wide"),
        (evaluate(&run(RunKind::Sweep, &commands, play(0.008)), &DEMO.profile().unwrap()), "no reversal"),
    ] {
        assert!(shown.evidence.findings.iter().any(|finding| finding.code == code), "{:?}", shown.evidence);
        assert!(shown.evidence.figures.iter().all(|figure| figure.measure != Measure::DeadBand));
    }
}

#[test]
fn play_shows_as_hysteresis_of_its_width_and_repeats() {
    let shown = evaluate(&run(RunKind::Sweep, &staircase(), play(0.008)), &DEMO.profile().unwrap());
    assert!((value(&shown, Measure::Hysteresis(Sensor::Own)) - 0.8).abs() < 1e-4);
    assert!(value(&shown, Measure::NonRepeatability(Sensor::Own)) < 1e-4);
    let Some(Exhibit::Sweep { table, .. }) = &shown.exhibit else { panic!("no table") };
    assert_eq!((table.inputs().len(), table.cycles()), (11, 3));
}

#[test]
fn every_planned_step_is_found_and_none_beside() {
    let mut commands = Vec::new();
    for size in [0.02, 0.1, 0.5] {
        hold(&mut commands, Command::Release, 20);
        let (low, high) = (0.5 - size / 2.0, 0.5 + size / 2.0);
        commands.extend((0..600).map(|i| opening(0.5 + (low - 0.5) * f64::from(i) / 600.0)));
        for to in [low, high, low] {
            hold(&mut commands, opening(to), 1000);
        }
    }
    // First-order lag of 50 ms, stepped by the millisecond: T63 is 50 ms within one tick.
    let lag = |from: f32, command: Command| match command {
        Command::Opening(to) => from + (to.get() - from) * 0.0198,
        _ => from,
    };
    let shown = evaluate(&run(RunKind::Step, &commands, lag), &DEMO.profile().unwrap());
    assert_eq!(shown.evidence.findings, []);
    let Some(Exhibit::Steps(steps)) = &shown.exhibit else { panic!("no steps") };
    let sizes: Vec<_> = steps.iter().map(|(_, r)| r.size.percent()).collect();
    assert_eq!(sizes, [2, 2, 10, 10, 50, 50]);
    assert!(
        steps.iter().all(|(_, r)| (r.t63_s - 0.050).abs() < 0.001),
        "{:?}",
        steps.iter().map(|s| s.1.t63_s).collect::<Vec<_>>()
    );
}

#[test]
fn a_step_from_a_lever_that_still_creeps_gives_no_time() {
    let mut commands = Vec::new();
    for to in [0.45, 0.55, 0.45] {
        hold(&mut commands, opening(to), 1000);
    }
    let creep = |from: f32, command: Command| match command {
        Command::Opening(to) => from + (to.get() - from) * 0.001,
        _ => from,
    };
    let shown = evaluate(&run(RunKind::Step, &commands, creep), &DEMO.profile().unwrap());
    assert_eq!(shown.evidence.findings.len(), 2);
    assert!(shown.evidence.findings.iter().all(|finding| finding.code == "not at rest before the step"));
    assert!(shown.evidence.figures.is_empty());
}

/// Ticks of the quick way to the start of the ramps.
const QUICK: u32 = 600;

/// A slow ramp each way over a spring and friction worth 0.05 of duty; current is ten times the duty.
fn ramps() -> Run {
    let plan = DEMO.profile().unwrap().plan.friction;
    let (closing, opening) = (plan.closing_duty as f32, plan.opening_duty as f32);
    let ramp = |from: f32, to: f32, ticks: u32| {
        (0..ticks).map(move |i| from + (to - from) * i as f32 / ticks as f32)
    };
    let quick = ramp(0.0, closing, QUICK);
    let duties =
        quick.chain(ramp(closing, opening, plan.ramp_ticks)).chain(ramp(opening, closing, plan.ramp_ticks));
    let commands: Vec<_> = duties.map(|d| Command::Duty(Duty::saturating(d, Duty::ZERO))).collect();
    // A spring over the travel and friction worth 0.05 of duty each way.
    let rest = |duty: f32| (0.5 + 3.2 * (duty + 0.075)).clamp(0.0, 1.0);
    // On the quick way to the start the lever lags three times as far: that must not count as friction.
    let mut ticks = 0;
    let stick = |from: f32, command: Command| {
        ticks += 1;
        let friction = if ticks <= QUICK { 0.15 } else { 0.05 };
        match command {
            Command::Duty(duty) => from.max(rest(duty.get() - friction)).min(rest(duty.get() + friction)),
            _ => from,
        }
    };
    run(RunKind::Friction, &commands, stick)
}

#[test]
fn slow_ramps_read_the_friction_between_their_directions() {
    let shown = evaluate(&ramps(), &DEMO.profile().unwrap());
    assert!((value(&shown, Measure::FrictionMedian) - 0.5).abs() < 0.02);
    assert!((value(&shown, Measure::FrictionLargest) - 0.5).abs() < 0.02);
}

/// What was lost of a ramp is shown where it is missing, and no figure is made of the rest.
#[test]
fn friction_with_a_hole_keeps_its_picture_and_marks_the_hole() {
    let (whole, profile) = (ramps(), DEMO.profile().unwrap());
    let middle = QUICK + profile.plan.friction.ramp_ticks / 2;
    let lost = middle..middle + profile.plan.friction.ramp_ticks / 10;
    let shown = evaluate(&without(&whole, |tick| lost.contains(&tick)), &profile);
    assert_eq!(shown.evidence.figures, []);
    assert_eq!(shown.evidence.findings[0].code, "lost-on-line");
    let Some(Exhibit::Friction { current, holes, .. }) = &shown.exhibit else { panic!("no picture") };
    let opening = |tick: u32| whole.samples().find(|sample| sample.tick.0 == tick).unwrap().opening.unwrap();
    assert_eq!(holes, &[(opening(lost.start - 1).into(), opening(lost.end).into())]);
    let inside = |at: f64| holes[0].0 + 0.02 < at && at < holes[0].1 - 0.02;
    assert!(holes[0].1 - holes[0].0 > 0.1 && !current.points().iter().any(|point| inside(point.opening)));
    let Some(Exhibit::Friction { holes, .. }) = evaluate(&whole, &profile).exhibit else {
        panic!("no picture")
    };
    assert_eq!(holes, []);
}

#[test]
fn a_sweep_with_a_hole_keeps_its_picture_and_marks_the_hole() {
    let (profile, whole) = (DEMO.profile().unwrap(), run(RunKind::Sweep, &staircase(), play(0.008)));
    let plan = &profile.plan.sweep;
    let holes = |shown: super::Shown| match shown.exhibit {
        Some(Exhibit::Sweep { holes, .. }) => holes,
        other => panic!("{other:?}"),
    };
    assert_eq!(holes(evaluate(&whole, &profile)), []);
    // A few ticks of the averaged part of the fourth dwell.
    let end = 20 + 4 * plan.dwell_ticks;
    let shown = evaluate(&without(&whole, |tick| (end - 40..end - 20).contains(&tick)), &profile);
    let point = 100.0 * (plan.lowest + (plan.highest - plan.lowest) * 3.0 / f64::from(plan.points - 1));
    let [(from, to)] = holes(shown)[..] else { panic!("one hole") };
    assert!((from - point).abs() < 1e-9 && (to - point).abs() < 1e-9, "{from} to {to}, not {point}");
    // That dwell in every cycle: none is whole.
    let cycle = 20 + (2 * plan.points - 1) * plan.dwell_ticks;
    let lost = |tick: u32| (end - plan.dwell_ticks..end).contains(&(tick % cycle));
    let shown = evaluate(&without(&whole, lost), &profile);
    assert_eq!(shown.evidence.figures, []);
    let Some(Exhibit::SweepInPart(part)) = &shown.exhibit else { panic!("no picture: {:?}", shown.exhibit) };
    assert_eq!(part.missing.len(), plan.cycles as usize + plan.preconditioning_cycles as usize);
    assert!(part.missing.iter().all(|(from, to)| *from < point && point < *to), "{:?}", part.missing);
}

#[test]
fn a_run_cut_anywhere_is_evaluated_without_panic_and_never_fit() {
    let profile = DEMO.profile().unwrap();
    let limits = DEMO.limits().unwrap();
    let whole = run(RunKind::Sweep, &staircase(), play(0.001));
    for kind in [RunKind::Learn, RunKind::Sweep, RunKind::Friction, RunKind::Step] {
        for rows in [0, 1, 30, 5000, whole.rows.len() - 1] {
            let mut cut = whole.clone();
            cut.rows.truncate(rows);
            cut.name.kind = kind;
            cut.file.status = Status::still_running();
            let shown = evaluate(&cut, &profile);
            let verdict = judge(&shown.evidence, &limits, |limit| super::answers(kind, limit));
            assert_eq!(verdict.judgement, Judgement::Undetermined, "{kind} after {rows} rows");
        }
    }
}

/// The run without the samples of these ticks.
fn without(run: &Run, is_lost: impl Fn(u32) -> bool) -> Run {
    let is_kept = |row: &Row| !matches!(row, Row::Sample(sample) if is_lost(sample.tick.0));
    Run { rows: run.rows.iter().filter(|row| is_kept(row)).cloned().collect(), ..run.clone() }
}

/// One step up and down of 50 % and of 10 %, second-order, with 4 % overshoot; the first step comes at tick 1000.
fn two_steps() -> Run {
    let mut commands = Vec::new();
    for size in [0.5, 0.1] {
        for to in [0.5 - size / 2.0, 0.5 + size / 2.0, 0.5 - size / 2.0] {
            hold(&mut commands, opening(to), 1000);
        }
    }
    let mut speed = 0.0;
    let spring = |from: f32, command: Command| match command {
        Command::Opening(to) => {
            speed += (to.get() - from) * 0.0016 - speed * 0.057;
            from + speed
        }
        _ => from,
    };
    run(RunKind::Step, &commands, spring)
}

fn of(shown: &super::Shown, measure: Measure) -> Vec<f64> {
    shown.evidence.figures.iter().filter(|figure| figure.measure == measure).map(|f| f.value).collect()
}

#[test]
fn a_hole_over_a_crossing_leaves_that_figure_undetermined_and_no_other_number_changes() {
    use crate::figures::StepSize;
    let profile = DEMO.profile().unwrap();
    let size = StepSize::try_from_percent(50.0).unwrap();
    let whole = two_steps();
    let clean = evaluate(&whole, &profile);
    let t86 = of(&clean, Measure::T86(size));
    assert_eq!(t86.len(), 2, "{:?}", clean.evidence);
    let at = 1000 + t86[0].round() as u32;
    let shown = evaluate(&without(&whole, |tick| (at - 16..at + 16).contains(&tick)), &profile);
    assert_eq!(of(&shown, Measure::T86(size)), t86[1..], "the step with the hole has no T86");
    assert_eq!(of(&shown, Measure::DeadTime(size)), of(&clean, Measure::DeadTime(size)));
    let limits = DEMO.limits().unwrap();
    let verdict = judge(&shown.evidence, &limits, |limit| super::answers(RunKind::Step, limit));
    let reason = verdict.reasons.iter().find(|reason| reason.code == "step_50.t86").unwrap();
    assert_eq!(reason.judgement, Judgement::Undetermined);
    assert!(reason.seen.contains("lost on the line"), "{reason:?}");
    // At rest on both sides a hole hides nothing.
    let late = evaluate(&without(&whole, |tick| (1700..1750).contains(&tick)), &profile);
    assert_eq!(of(&late, Measure::T86(size)), t86);
    assert!(late.evidence.holed.is_empty(), "{:?}", late.evidence.holed);
}

#[test]
fn whatever_is_lost_a_sound_step_is_never_blamed_on_the_unit() {
    let profile = DEMO.profile().unwrap();
    let limits = DEMO.limits().unwrap();
    let whole = two_steps();
    let is_step = |limit: &crate::limits::Limit| {
        let key = limit.measure.definition().key;
        key.starts_with("step_50") || key.starts_with("step_10")
    };
    let clean = judge(&evaluate(&whole, &profile).evidence, &limits, is_step);
    assert_eq!(clean.judgement, Judgement::WithinLimits, "{:?}", clean.reasons);
    // Batches of 32 ticks, lost by a hash of their number.
    for (seed, percent) in (0..40u32).flat_map(|seed| [1, 5, 30, 80].map(|percent| (seed, percent))) {
        let hash =
            |batch: u32| (batch + 1).wrapping_mul(2_654_435_761).rotate_left(seed % 31) ^ (seed * 7919);
        let lost = |tick: u32| hash(tick / 32) % 100 < percent;
        let verdict = judge(&evaluate(&without(&whole, lost), &profile).evidence, &limits, is_step);
        assert_ne!(
            verdict.judgement,
            Judgement::OutOfLimits,
            "{percent} %, seed {seed}: {:?}",
            verdict.reasons
        );
        for check in &verdict.checks {
            let clean = clean.checks.iter().filter(|clean| clean.key == check.key);
            let near = clean.map(|clean| (clean.value - check.value).abs()).fold(f64::INFINITY, f64::min);
            assert!(near < 0.5, "{percent} %, seed {seed}: {} is {}", check.key, check.value);
        }
    }
}

#[test]
fn a_step_whose_beginning_was_lost_is_undetermined() {
    let profile = DEMO.profile().unwrap();
    let shown = evaluate(&without(&two_steps(), |tick| (990..1022).contains(&tick)), &profile);
    let lost: Vec<_> = shown.evidence.findings.iter().filter(|f| f.code == "lost-on-line").collect();
    assert!(lost.iter().any(|finding| finding.seen.contains("opening step of 50 %")), "{lost:?}");
    assert!(lost.iter().all(|finding| finding.fault_of == FaultOf::Rig));
}

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
    cut.file.status = Status::Incomplete { reason: "stopped".into() };
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
