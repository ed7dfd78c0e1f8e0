//! Runs made by hand, with known answers, whole and cut short at every kind of place.

mod holes;
mod selection;

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
    BoardId, Checked, Conditions, Job, JobState, Made, Provenance, RECORD_VERSION, RecordedSample, Row, Run,
    RunFile, RunInfo, RunKind, RunName, RunResult, RunStatus, Serials, Sha256Hex,
};

/// A run whose samples follow the commands through `respond(previous opening, command)`.
fn run(kind: RunKind, commands: &[Command], mut respond: impl FnMut(f32, Command) -> f32) -> Run {
    let mut opening = 0.5;
    let rows = (0..).zip(commands).map(|(tick, &command)| {
        let row = Row::Sample(RecordedSample {
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
            status: RunStatus::Complete,
            run: info,
            conditions: Conditions::new(),
            outcome: RunResult::default(),
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
            cut.file.status = RunStatus::still_running();
            let shown = evaluate(&cut, &profile);
            let verdict = judge(&shown.evidence, &limits, |limit| super::answers(kind, limit));
            assert_eq!(verdict.judgement, Judgement::Undetermined, "{kind} after {rows} rows");
        }
    }
}
