//! The guard in random worlds. The short run looks at each named fault once; the long one,
//! `VANEBENCH_GUARD_WORLDS=10000 cargo test --release -p vanebench-checks --test control guard`, looks at ten
//! thousand. The table on record, `reference/control/guard_campaign.csv`, is made on another seed by
//! `reference/renew-campaigns`.

use firmware_core::settings::Settings;
use plant::airpath::FuelResponse;
use proptest::prelude::*;
use rayon::prelude::*;
use study::campaign::guard::{
    FaultTable, GuardCampaign, GuardFault, LossCause, WorldEnding, WorldFigures, run, run_one, sound_hours,
};
use study::campaign::{Next, PartOrder};
use study::run::{Record, run_world};
use study::scenario::builtins;

fn worlds() -> u32 {
    let asked = std::env::var("VANEBENCH_GUARD_WORLDS").ok();
    asked.and_then(|count| count.parse().ok()).unwrap_or(2 * GuardFault::ALL.len() as u32)
}

fn campaign(worlds: u32) -> GuardCampaign {
    GuardCampaign { settings: Settings::default(), worlds, seed: 20_260_101 }
}

fn whole(campaign: &GuardCampaign) -> FaultTable {
    run(campaign, &PartOrder::WHOLE, |_| Next::GoOn).expect("worlds that run").counted
}

#[test]
fn no_random_world_passes_its_limits_without_a_traced_cause() {
    let campaign = campaign(worlds());
    let table = whole(&campaign);
    println!("{table}");
    assert_eq!(table.untraced(), 0);
    let sound = &table.rows[0];
    assert!(sound.worlds > 0 && sound.lost() == 0, "a sound world keeps its limits: {sound:?}");
    let reaction = u32::from(campaign.settings.guard.stages.reaction_ticks);
    assert!(table.rows.iter().all(|row| row.reaction_ticks <= reaction), "slower than {reaction} ticks");
    // A campaign that demands nothing of the guard tests nothing.
    assert!(table.rows.iter().any(|row| row.demanding > 0 && row.tripped() > 0));
}

#[test]
fn the_same_seed_gives_the_same_table() {
    assert_eq!(whole(&campaign(3)), whole(&campaign(3)));
}

/// Scenarios that come with a fault of their own.
const FAULTY: [&str; 1] = ["runaway-vane"];

/// Four seeds each; twenty with `SCENARIO_SEEDS=20`.
#[test]
fn a_sound_unit_in_a_built_in_scenario_tells_no_fault_and_meets_no_guard() {
    let asked = std::env::var("SCENARIO_SEEDS").ok();
    let seeds = asked.and_then(|count| count.parse().ok()).unwrap_or(4);
    let runs: Vec<_> = builtins()
        .iter()
        .filter(|built_in| !FAULTY.contains(&built_in.name))
        .flat_map(|built_in| (1..=seeds).map(move |seed| (built_in, seed)))
        .collect();
    let alarms: Vec<String> = runs
        .par_iter()
        .filter_map(|(built_in, seed)| {
            let scenario = built_in.scenario().unwrap();
            let settings = Settings::default();
            let ended = run_world(&scenario, &scenario.world, &settings, *seed, Record::Nothing).unwrap();
            let is_quiet = ended.faults.is_empty() && ended.events.is_empty();
            (!is_quiet)
                .then(|| format!("{} seed {seed}: {:?} {:?}", scenario.name, ended.faults, ended.events))
        })
        .collect();
    assert!(alarms.is_empty(), "{alarms:#?}");
}

/// Two hundred sound units, two thirds of an hour; at length with `VANEBENCH_GUARD_WORLDS`.
#[test]
fn sound_units_over_spread_altitude_and_temperature_seldom_alarm() {
    let sound = sound_hours(&campaign(worlds().max(200))).expect("worlds that run");
    println!(
        "{sound:?}: below {} acts and {} faults an hour",
        sound.rate_below(sound.acted),
        sound.rate_below(sound.faults)
    );
    assert!(f64::from(sound.faults) <= MOST_FAULTS_PER_HOUR * sound.hours, "{sound:?}");
    assert!(f64::from(sound.acted) <= MOST_ACTS_PER_HOUR * sound.hours, "{sound:?}");
}

/// The guard eases on sound units in hot thin air. Surveyed in 4500 sound worlds, 15 hours, on the seeds 900 to 902
/// times 1 000 003: 110 acts, 7.0 to 7.6 an hour, and one told fault. 200 worlds at 7.6 an hour act 5 times on
/// average; more than 10 times is a chance of 2 in 100 (Poisson), and 10 in two thirds of an hour are 15 an hour.
const MOST_ACTS_PER_HOUR: f64 = 15.0;

/// The exact upper 95 % bound of the survey's one fault in 15 hours; the short run allows none.
const MOST_FAULTS_PER_HOUR: f64 = 0.32;

/// What is wrong can be seen, and the vanes or the fuel obey: then no limit may be passed.
fn can_be_held(campaign: &GuardCampaign, world: &WorldFigures) -> bool {
    let plan = campaign.draw(world.index);
    let hides = |fault: GuardFault| {
        matches!(
            fault,
            GuardFault::BoostLow
                | GuardFault::BoostGainLow
                | GuardFault::BoostDrift
                | GuardFault::BoostFrozen
                | GuardFault::HoseLeak
                | GuardFault::HoseBlocked
                | GuardFault::PositionSlipped
                | GuardFault::PositionFrozen
        )
    };
    let sensors = &plan.world.sensors;
    plan.world.engine.fuel_response == FuelResponse::Obeys
        && sensors.turbo_speed.fitted
        && sensors.exhaust.fitted
        && plan.second.is_none()
        && !hides(plan.fault)
}

proptest! {
    // A case is twenty-four seconds of engine; `PROPTEST_CASES=2000` with `--release` is the long mode.
    #![proptest_config(ProptestConfig {
        cases: vanebench_checks::cases(16),
        max_shrink_iters: 0,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]
    #[test]
    fn limits_are_kept_wherever_everything_is_seen_and_the_fuel_obeys(seed: u64, index in 0u32..10_000) {
        let campaign = GuardCampaign { settings: Settings::default(), worlds: 1, seed };
        let world = run_one(&campaign, index).expect("a world that runs");
        let untraced = [WorldEnding::TooLate(LossCause::Untraced), WorldEnding::Undetected(LossCause::Untraced)];
        prop_assert!(!untraced.contains(&world.ending), "{world:?}");
        if can_be_held(&campaign, &world) {
            prop_assert!(world.used.iter().all(|used| *used <= 1.0), "{world:?}");
        }
    }
}
