//! Several runs of one scenario side by side: what campaigns do.
//!
//! In: members, each a world with its seed, settings and law, at most as many as there are lanes. Out: for each what [`run_world`] would
//! have given, to the bit, without a trace. A run that fails leaves the others alone.
//!
//! [`run_world`]: super::run_world

use firmware_core::settings::Settings;
use firmware_core::target::{BuiltInLaw, Law};

use super::closed_loop::ClosedLoop;
use super::{RunError, RunOutcome, RunUnderWay};
use crate::scenario::Scenario;
use plant::world::{WorldConfig, WorldLanes};

/// One of several runs of a scenario.
#[derive(Debug, Clone)]
pub(crate) struct Member<L = BuiltInLaw> {
    pub world: WorldConfig,
    /// Seed of the sensors' noise.
    pub seed: u64,
    pub settings: Settings,
    /// The law of boost control, before its first tick.
    pub law: L,
}

impl Member {
    /// A run under the law that the settings name.
    pub(crate) fn under_its_law(world: WorldConfig, seed: u64, settings: Settings) -> Self {
        Self { world, seed, settings, law: BuiltInLaw::default() }
    }
}

/// Runs a scenario for several members.
pub(crate) fn run_in_lanes<L: Law + Clone>(
    scenario: &Scenario,
    members: &[Member<L>],
) -> Vec<Result<RunOutcome, RunError>> {
    let start = |Member { world, seed, settings, law }: &Member<L>| {
        RunUnderWay::new(scenario, world, settings, law.clone(), *seed)
    };
    let mut runs: Vec<Result<RunUnderWay<'_, L>, RunError>> = members.iter().map(start).collect();
    let last_tick = runs.iter().flatten().map(RunUnderWay::last_tick).max().unwrap_or(0);
    let mut lanes = WorldLanes::default();
    settle(&mut runs, &mut lanes);
    for tick in 0..last_tick {
        for (lane, run) in runs.iter_mut().enumerate() {
            // The end of one tick and the start of the next, while the world lies near in memory.
            if tick > 0 {
                attempt(run, |run| finish_tick(run, lane, &lanes));
            }
            attempt(run, |run| begin_tick(run, lane, tick, &mut lanes));
        }
        lanes.move_actuators();
        for (lane, run) in runs.iter_mut().enumerate() {
            let Ok(RunUnderWay { bench: ClosedLoop { world, planned, .. }, .. }) = run else { continue };
            lanes.hand_to_air(lane, world, &planned.engine);
        }
        lanes.run_air();
    }
    for (lane, run) in runs.iter_mut().enumerate() {
        attempt(run, |run| finish_tick(run, lane, &lanes));
    }
    runs.into_iter().map(|run| run.map(RunUnderWay::finish)).collect()
}

fn settle<L: Law>(runs: &mut [Result<RunUnderWay<'_, L>, RunError>], lanes: &mut WorldLanes) {
    for (lane, run) in runs.iter_mut().enumerate() {
        let Ok(RunUnderWay { bench: ClosedLoop { world, start, .. }, .. }) = run else { continue };
        lanes.begin_settling(lane, world, start.opening, &start.inputs);
    }
    lanes.approach_rest();
    for (lane, run) in runs.iter_mut().enumerate() {
        attempt(run, |RunUnderWay { bench: ClosedLoop { world, start, .. }, .. }| {
            Ok(lanes.settle(lane, world, start.opening, &start.inputs)?)
        });
    }
}

/// Goes on with a run that has not failed; it ends where this fails.
fn attempt<'a, L: Law>(
    run: &mut Result<RunUnderWay<'a, L>, RunError>,
    go_on: impl FnOnce(&mut RunUnderWay<'a, L>) -> Result<(), RunError>,
) {
    if let Ok(going) = run
        && let Err(error) = go_on(going)
    {
        *run = Err(error);
    }
}

/// Begins a tick.
fn begin_tick<L: Law>(
    run: &mut RunUnderWay<'_, L>,
    lane: usize,
    tick: u32,
    lanes: &mut WorldLanes,
) -> Result<(), RunError> {
    run.plan(tick)?;
    let ClosedLoop { world, planned, .. } = &mut run.bench;
    lanes.begin_tick(lane, world, planned.duty);
    Ok(())
}

/// Ends the tick that the run is in.
fn finish_tick<L: Law>(
    run: &mut RunUnderWay<'_, L>,
    lane: usize,
    lanes: &WorldLanes,
) -> Result<(), RunError> {
    lanes.finish_tick(lane, &mut run.bench.world)?;
    run.note();
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::{Record, run_world};
    use crate::scenario::builtins;
    use plant::actuator::LeverJoint;
    use plant::nozzle::{RingParams, USUAL_DISCHARGE, USUAL_GAP_DISCHARGE};
    use plant::world::{Fault, FaultKind};

    /// An invented ring, about the size of the invented bench engine A's nozzle.
    fn invented_ring() -> RingParams {
        RingParams {
            vanes: 11,
            height_mm: 6.0,
            chord_mm: 17.5,
            thickness_mm: 1.2,
            pivot_radius_mm: 29.0,
            pivot_fraction: 0.45,
            closed_angle_deg: 10.6,
            open_angle_deg: 36.0,
            end_gap_mm: 0.06,
            discharge: USUAL_DISCHARGE,
            gap_discharge: USUAL_GAP_DISCHARGE,
            volute_area_mm2: Some(1060.0),
            wheel: None,
            linkage: None,
        }
    }

    /// Worlds that differ: joint, hoses, stops within reach, a measured ring, one that diverges.
    fn members(scenario: &Scenario) -> Vec<Member> {
        let member = |seed| Member::under_its_law(scenario.world.clone(), seed, Settings::default());
        let mut members: Vec<Member> = (0..8).map(member).collect();
        for (Member { world, .. }, play_deg) in members.iter_mut().zip([0.5, 0.0, 0.9, 0.2, 0.7, 1.1, 0.4]) {
            world.actuator.linkage = LeverJoint::with_play_deg(play_deg);
        }
        members[2].world.actuator.linkage = LeverJoint::Detached;
        members[3].world.engine.air.exhaust_volume_m3 = 1e-9;
        let leak = FaultKind::HoseLeakMm2(30.0);
        members[4].world.faults.push(Fault { at_s: 0.5, until_s: Some(1.0), what: leak });
        members[5].world.engine.ring = Some(invented_ring());
        // With a ring and a leak it changes between lane and alone.
        members[6].world = members[4].world.clone();
        members[6].world.engine.ring = Some(invented_ring());
        members[7].settings.target.trim.gain_per_kpa *= 2.0;
        members
    }

    #[test]
    fn runs_side_by_side_have_the_bits_that_each_has_alone() {
        for built_in in builtins() {
            let mut scenario = built_in.scenario().unwrap();
            (scenario.duration_s, scenario.warm_up_s) = (3.0, 0.3);
            let members = members(&scenario);
            let together = run_in_lanes(&scenario, &members);
            for (Member { world, seed, settings, .. }, outcome) in members.iter().zip(together) {
                let alone = run_world(&scenario, world, settings, *seed, Record::Nothing);
                // As text: numbers print to the last bit, and one that is none equals itself.
                assert_eq!(format!("{outcome:?}"), format!("{alone:?}"), "{}, seed {seed}", scenario.name);
            }
        }
    }
}
