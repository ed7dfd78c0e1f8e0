//! What lost samples do to figures: the figure is left open, the unit never blamed.

use super::*;

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

fn of(shown: &crate::evaluate::Shown, measure: Measure) -> Vec<f64> {
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
    let verdict = judge(&shown.evidence, &limits, |limit| crate::evaluate::answers(RunKind::Step, limit));
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
    let holes = |shown: crate::evaluate::Shown| match shown.exhibit {
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
