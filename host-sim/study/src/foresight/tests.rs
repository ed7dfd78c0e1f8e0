use super::*;
use crate::run::ScheduleKnot;
use crate::scenario::BuiltIn;

fn short() -> Scenario {
    let mut scenario = BuiltIn::named("tip-in").unwrap().scenario().unwrap();
    (scenario.duration_s, scenario.warm_up_s) = (1.5, 0.3);
    scenario.demand.truncate(2);
    scenario.demand[1].t_s = 0.0;
    scenario
}

/// Every schedule with each of its knots at one of five openings, tried; the search knows nothing of it.
#[test]
fn what_is_found_is_no_worse_than_the_best_of_all_on_a_mesh_of_openings() {
    let (scenario, settings) = (short(), Settings::default());
    let run = ForesightRun { scenario: &scenario, world: &scenario.world, settings: &settings };
    let times_s = grid::coarse(&scenario);
    let levels = [0.05, 0.15, 0.3, 0.5, 0.8];
    let all = levels.len().pow(times_s.len() as u32);
    let at = |index: usize| -> Schedule {
        let digit = |knot: usize| levels[index / levels.len().pow(knot as u32) % levels.len()];
        Schedule::new(&times_s, &(0..times_s.len()).map(digit).collect::<Vec<_>>())
    };
    let schedules: Vec<Schedule> = (0..all).map(at).collect();
    let best = run.costs(&schedules, 7).into_iter().fold(f64::INFINITY, f64::min);
    let order = ForesightOrder { grids: 1, starts: 2, generations: 60, seed: 7 };
    let found = best_with_foresight(&run, &order, |_| Next::GoOn).unwrap();
    assert!(found.outcome.events.is_empty() && found.outcome.metrics.limits_passed().is_empty());
    assert!(found.costs[0].iter().all(|cost| *cost <= best), "{:?}, of all {best}", found.costs);
    // And around it nothing is better by 2 %: every knot moved by 0.03 either way, all of them at once too.
    let moves = 3_usize.pow(times_s.len() as u32);
    let around = |index: usize| -> Schedule {
        let moved = |(knot, at): (usize, &ScheduleKnot)| {
            at.opening + 0.03 * ((index / 3_usize.pow(knot as u32) % 3) as f64 - 1.0)
        };
        let openings: Vec<f64> = found.schedule.knots().iter().enumerate().map(moved).collect();
        Schedule::new(&times_s, &openings)
    };
    let near = run.costs(&(0..moves).map(around).collect::<Vec<_>>(), 7);
    let near = near.into_iter().fold(f64::INFINITY, f64::min);
    let least = found.costs[0].iter().copied().fold(f64::INFINITY, f64::min);
    assert!(near > 0.98 * least, "{near} near, {least} found");
}

#[test]
fn gaps_are_those_of_the_two_best_starts_and_the_two_finest_grids() {
    let found = Foresight {
        schedule: Schedule::default(),
        outcome: best_of_nothing(),
        costs: vec![vec![12.0, 11.0], vec![10.0, 10.5]],
        knots: vec![3, 5],
    };
    assert!((found.start_gap().unwrap() - 0.05).abs() < 1e-12);
    assert!((found.grid_gap().unwrap() - 0.1).abs() < 1e-12);
}

fn best_of_nothing() -> RunOutcome {
    let mut scenario = short();
    (scenario.duration_s, scenario.warm_up_s) = (0.01, 0.0);
    run_world(&scenario, &scenario.world, &Settings::default(), 1, Record::Nothing).unwrap()
}

#[test]
fn a_scenario_that_brakes_is_refused_and_a_stop_is_obeyed() {
    let (settings, order) = (Settings::default(), ForesightOrder::usual(5, 1));
    let brakes = BuiltIn::named("exhaust-brake").unwrap().scenario().unwrap();
    for (scenario, refusal) in
        [(brakes, ForesightError::OtherUse(VaneUse::Brake)), (short(), ForesightError::Stopped)]
    {
        let run = ForesightRun { scenario: &scenario, world: &scenario.world, settings: &settings };
        assert_eq!(best_with_foresight(&run, &order, |_| Next::Stop), Err(refusal));
    }
}
