//! Procedures against a rig made by hand: no line, no port, no plant. What a rig says decides, whatever it is.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

mod probing;
mod scripted;

use std::cell::RefCell;
use std::path::Path;
use std::rc::Rc;

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::held::{Held, Origin, OriginTag, Standing};
use firmware_core::learn::{CheckSet, LearnEvent, LearnOutcome, LearnRefusal};
use firmware_core::link::state::ReleaseReason;
use firmware_core::units::{Counts, Tick};
use vanebench::actuator::DEMO;
use vanebench::caution::Acknowledged;
use vanebench::evaluate::UnitResult;
use vanebench::exit::{Exit, Failure};
use vanebench::judge::Judgement;
use vanebench::procedure::{
    Basis, Bench, LearnChoice, MoveKind, Observed, Observer, PlanPart, RunStop, Target, learn,
    record_diagnostic, record_move,
};
use vanebench::record::{BoardId, Checked, Job, Mark, Provenance, Row, Run, RunKind, RunName, Serials};
use vanebench::rig::{GapCause, Measurand, RigError, StreamItem};
use vanebench::unit_store::InForce;

use scripted::{Begun, Did, ScriptedRig, at_rest, calibration, learning};

const NO_SHUNT: &str = "its bridge has no shunt";

fn target(records: &Path) -> Target {
    Target {
        port: "virtual:healthy".parse().unwrap(),
        unit: "u1".into(),
        unit_dir: records.join("u1"),
        profile: DEMO.profile().unwrap(),
        limits: DEMO.limits().unwrap(),
        setup: Setup::Attached,
        warmth: Warmth::Cold,
        seed: 1,
        serials: Serials::default(),
        job: Job::default(),
        operator: None,
        customer: None,
    }
}

fn bench(rig: ScriptedRig, target: &Target) -> (Bench, Rc<RefCell<Vec<Did>>>) {
    let did = Rc::clone(&rig.did);
    let (port, cautions) = ("a script".to_owned(), Acknowledged::VirtualRig);
    let settings = &target.profile.settings;
    let bench = Bench::with_rig(Box::new(rig), port, CheckSet::NONE, cautions, settings).unwrap();
    assert_eq!(did.take(), [Did::HandedOver, Did::Armed]);
    (bench, did)
}

fn basis(target: &Target) -> Basis {
    let settings = target.profile.settings.hash();
    let origin = Origin { tag: OriginTag(1), settings, tick: Tick(1) };
    let board = BoardId { name: "none".into(), serial: String::new() };
    Basis::Accepted(Box::new(InForce {
        held: Held::of_full_learn(calibration(), Standing::Accepted, origin),
        run: RunName { ordinal: 1, kind: RunKind::Learn },
        provenance: Provenance {
            settings,
            operator: None,
            customer: None,
            board,
            serials: Serials::default(),
            job: Job::default(),
        },
        doubted_by: None,
    }))
}

/// Keeps all that there was to see; ends the run at its item of that number, where one is set.
#[derive(Default)]
struct Keeper {
    parts: Vec<PlanPart>,
    items: Vec<StreamItem>,
    ends_at: Option<usize>,
}

impl Observer for Keeper {
    fn see(&mut self, observed: Observed<'_>) -> Result<(), RunStop> {
        match observed {
            Observed::Begins(part) => self.parts.push(part),
            Observed::Item(item) => self.items.push(item.clone()),
            Observed::LetGo(_) => {}
        }
        if self.ends_at == Some(self.items.len()) { Err(RunStop::Interrupted) } else { Ok(()) }
    }
}

const FULL_LEARN: LearnChoice = LearnChoice { previous: None, checked: CheckSet::NONE, free: None };

fn learn_that_ends_in(refusal: LearnRefusal) -> ScriptedRig {
    ScriptedRig::new(move |begun: Begun| {
        let at = |later| begun.start.after(later);
        let outcome = LearnEvent::Outcome(LearnOutcome::Refused(refusal));
        let released =
            StreamItem::Released { tick: at(50), reason: ReleaseReason::LearnEnded, position: Counts(7000) };
        let mut items: Vec<_> = (0..50).map(|later| learning(at(later))).collect();
        items.push(StreamItem::Learn { number: 0, tick: at(50), event: outcome });
        items.extend([released, at_rest(at(50), 0.5)]);
        items.into_iter().map(Ok).collect()
    })
}

#[test]
fn a_refused_learn_is_recorded_with_its_reason_and_everything_of_it_was_seen() {
    let records = tempfile::tempdir().unwrap();
    let target = target(records.path());
    let refusal = LearnRefusal::SpanShort { seen: 4000.0, min: 9000.0 };
    let (mut bench, did) = bench(learn_that_ends_in(refusal), &target);
    let mut keeper = Keeper::default();
    let learned = learn(&mut bench, &target, FULL_LEARN, &mut keeper).unwrap();
    assert_eq!(learned.outcome, LearnOutcome::Refused(refusal));
    assert_eq!(did.take(), [Did::Learn]);
    let run = Run::open(&learned.dir).unwrap();
    assert!(run.is_complete() && run.file.outcome.calibration.is_none());
    assert_eq!(run.file.outcome.refusal.as_ref().unwrap().seen, refusal.to_string());
    assert_eq!((run.rows.len(), keeper.items.len(), keeper.parts.len()), (53, 53, 1));
}

#[test]
fn an_obstructed_motion_stops_the_drive_is_kept_and_the_next_motion_arms_again() {
    let records = tempfile::tempdir().unwrap();
    let target = target(records.path());
    let rig = ScriptedRig::new(|begun| {
        let mut items = begun.sound;
        if begun.number == 1 {
            let (tick, position) = (begun.start.after(900), Counts(6412));
            items.truncate(900);
            items.push(StreamItem::Released { tick, reason: ReleaseReason::Obstructed, position });
        }
        items.into_iter().map(Ok).collect()
    });
    let (mut bench, did) = bench(rig, &target);
    let stop = record_move(&mut bench, &target, MoveKind::Step, &basis(&target), &mut Keeper::default());
    let stop = stop.unwrap_err();
    let end = stop.unit_end().expect("the unit ended it").to_string();
    assert!(end.contains("tick 1901, at 6412 counts, opening 0.633"), "{end}");
    assert!(end.contains("LEVER MAY JUMP"), "{end}");
    assert_eq!(did.take(), [Did::Calibrated, Did::Motion, Did::Stopped]);
    let run = Run::open(&target.unit_dir.join("0001-step")).unwrap();
    assert!(run.is_ended_by_unit());
    assert_eq!(run.file.outcome.refusal.unwrap().reason, "obstructed");
    assert_eq!(Failure::from(stop).exit, Exit::OutOfLimits);

    record_move(&mut bench, &target, MoveKind::Step, &basis(&target), &mut Keeper::default()).unwrap();
    assert_eq!(did.take()[..3], [Did::Armed, Did::Calibrated, Did::Motion]);
}

#[derive(Debug, Clone, Copy)]
enum Lost {
    AfterTheStepUp,
    OnTheWayToTheStart,
}

#[test]
fn samples_lost_where_they_decide_have_the_motion_made_again_and_lost_elsewhere_not() {
    for (lost, made_again) in [(Lost::AfterTheStepUp, 1), (Lost::OnTheWayToTheStart, 0)] {
        let records = tempfile::tempdir().unwrap();
        let target = target(records.path());
        let hold = target.profile.plan.step.hold_ticks as usize;
        let rig = ScriptedRig::new(move |begun| {
            let mut items = begun.sound;
            if begun.number == 1 {
                let place = match lost {
                    Lost::AfterTheStepUp => items.len() - 2 * hold + 100,
                    Lost::OnTheWayToTheStart => 100,
                };
                let StreamItem::Sample(first) = items[place] else { panic!("no sample there") };
                let first = first.tick;
                let gap = StreamItem::Gap { first, ticks: 40, cause: GapCause::LostOnLine };
                items.splice(place..place + 40, [gap]);
            }
            items.into_iter().map(Ok).collect()
        });
        let (mut bench, did) = bench(rig, &target);
        let mut keeper = Keeper::default();
        let dir = record_move(&mut bench, &target, MoveKind::Step, &basis(&target), &mut keeper).unwrap();
        let planned = target.profile.plan.step.sizes_percent.len() + 1;
        let motions = did.take().iter().filter(|did| **did == Did::Motion).count();
        assert_eq!(motions, planned + made_again, "{lost:?}");
        assert_eq!(keeper.parts.len(), motions);
        assert!(keeper.items.iter().any(|item| matches!(item, StreamItem::Gap { ticks: 40, .. })));
        assert_eq!(Run::open(&dir).unwrap().loss().ticks(), 40);
        let last = keeper.parts.last().unwrap();
        assert!((last.done_at(last.start.after(last.ticks)) - 1.0).abs() < 1e-12);
        assert_eq!(last.done_at(Tick(0)), f64::from(last.before) / f64::from(last.planned));
    }
}

#[test]
fn a_rig_that_drives_no_more_without_a_word_is_asked_and_samples_before_the_start_raise_no_doubt() {
    let records = tempfile::tempdir().unwrap();
    let target = target(records.path());
    let rig = ScriptedRig::new(|begun| {
        let start = begun.start;
        let before = (0..400).map(|early| at_rest(Tick(start.0 - 400 + early), 0.5));
        let driven = begun.sound.into_iter().skip(1).take(100);
        let after = (100..2000).map(move |later| at_rest(start.after(later), 0.5));
        before.chain(driven).chain(after).map(Ok).collect()
    });
    let rig = rig.released(ReleaseReason::SupplyRange, Tick(1100));
    let (mut bench, did) = bench(rig, &target);
    let mut keeper = Keeper::default();
    let stop = record_move(&mut bench, &target, MoveKind::Step, &basis(&target), &mut keeper).unwrap_err();
    assert!(stop.to_string().contains("the supply left its range"), "{stop}");
    assert_eq!(did.take(), [Did::Calibrated, Did::Motion, Did::AskedRelease, Did::Stopped]);
    assert_eq!(keeper.items.len(), 400 + 100 + 201, "asked 200 ms after the drive went off");
    assert_eq!(Failure::from(stop).exit, Exit::Undetermined);
}

#[test]
fn a_learn_of_which_the_rig_knows_nothing_ends_in_what_it_says_of_its_release() {
    let records = tempfile::tempdir().unwrap();
    let target = target(records.path());
    let rig =
        ScriptedRig::new(|begun| (0..900).map(|later| Ok(at_rest(begun.start.after(later), 0.5))).collect());
    let (mut bench, did) = bench(rig.released(ReleaseReason::HostSilent, Tick(1100)), &target);
    let stop = learn(&mut bench, &target, FULL_LEARN, &mut Keeper::default()).unwrap_err();
    assert!(stop.to_string().contains("it heard nothing from this tool for too long"), "{stop}");
    assert_eq!(did.take(), [Did::Learn, Did::AskedOutcome, Did::AskedRelease, Did::Stopped]);
}

#[test]
fn a_stop_by_the_user_or_by_who_looks_on_releases_the_drive_and_keeps_what_came() {
    for by_observer in [Some(500), None] {
        let records = tempfile::tempdir().unwrap();
        let target = target(records.path());
        let rig = ScriptedRig::new(move |begun| {
            let items = begun.sound.into_iter().map(Ok);
            match by_observer {
                Some(_) => items.collect(),
                None => items.take(500).chain([Err(RigError::Interrupted)]).collect(),
            }
        });
        let (mut bench, did) = bench(rig, &target);
        let mut keeper = Keeper { ends_at: by_observer, ..Keeper::default() };
        let stop =
            record_move(&mut bench, &target, MoveKind::Step, &basis(&target), &mut keeper).unwrap_err();
        assert_eq!(did.take(), [Did::Calibrated, Did::Motion, Did::Stopped]);
        let run = Run::open(&target.unit_dir.join("0001-step")).unwrap();
        assert_eq!((run.samples().count(), run.is_complete()), (500, false));
        assert_eq!(Failure::from(stop).exit, Exit::Interrupted);
    }
}

#[test]
fn a_rig_that_is_lost_says_so_in_the_record() {
    let records = tempfile::tempdir().unwrap();
    let target = target(records.path());
    let gone = || Err(RigError::Lost("the plug is out".into()));
    let rig =
        ScriptedRig::new(move |begun| begun.sound.into_iter().take(300).map(Ok).chain([gone()]).collect());
    let (mut bench, _did) = bench(rig, &target);
    let stop = record_move(&mut bench, &target, MoveKind::Sweep, &basis(&target), &mut Keeper::default());
    assert!(stop.unwrap_err().to_string().starts_with("the plug is out"));
    let run = Run::open(&target.unit_dir.join("0001-sweep")).unwrap();
    assert_eq!(run.samples().count(), 300);
    let judged =
        UnitResult::of(vec![run], &Checked::default(), "u1", &target.profile, &target.limits).verdict;
    assert_eq!(judged.judgement, Judgement::Undetermined);
}

#[test]
fn without_the_motors_current_a_learn_and_a_look_at_low_current_are_refused_before_anything_moves() {
    let records = tempfile::tempdir().unwrap();
    let target = target(records.path());
    let rig = ScriptedRig::sound().without(Measurand::MotorCurrent, NO_SHUNT);
    let (mut bench, did) = bench(rig, &target);
    let learned = learn(&mut bench, &target, FULL_LEARN, &mut Keeper::default()).map(|_| ());
    let looked = record_diagnostic(&mut bench, &target, "a test".into(), &mut Keeper::default()).map(|_| ());
    for refused in [learned, looked] {
        let refused = refused.unwrap_err();
        let said = refused.to_string();
        assert!(said.contains("the motor's current") && said.contains(NO_SHUNT), "{said}");
        assert_eq!(Failure::from(refused).exit, Exit::Undetermined);
    }
    assert_eq!(did.take(), []);
    assert!(!target.unit_dir.exists(), "nothing is recorded");
}

#[test]
fn without_the_motors_current_friction_is_undetermined_and_steps_are_figures_all_the_same() {
    let records = tempfile::tempdir().unwrap();
    let target = target(records.path());
    let rig = ScriptedRig::sound().without(Measurand::MotorCurrent, NO_SHUNT);
    let (mut bench, _did) = bench(rig, &target);
    let mut record = |kind| {
        let dir = record_move(&mut bench, &target, kind, &basis(&target), &mut Keeper::default()).unwrap();
        Run::open(&dir).unwrap()
    };
    let friction = record(MoveKind::Friction);
    assert!(friction.samples().all(|sample| sample.motor_current.is_none() || sample.duty == 0.0));
    assert!(friction.rows.iter().any(|row| matches!(row, Row::Mark(_, Mark::Note(_)))));
    let verdict =
        UnitResult::of(vec![friction], &Checked::default(), "u1", &target.profile, &target.limits).verdict;
    assert_eq!(verdict.judgement, Judgement::Undetermined);
    let said: Vec<&str> = verdict.reasons.iter().map(|reason| &*reason.seen).collect();
    assert!(said.iter().any(|seen| seen.contains(NO_SHUNT)), "{said:?}");

    let step = record(MoveKind::Step);
    let figures = UnitResult::of(vec![step], &Checked::default(), "u1", &target.profile, &target.limits)
        .verdict
        .figures;
    assert!(figures.iter().any(|figure| figure.key == "step_50.t86"), "{figures:#?}");
}
