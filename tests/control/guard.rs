//! The guard in random worlds. The short run looks at each named fault once; the long one,
//! `VANEBENCH_GUARD_WORLDS=10000 cargo test --release -p vanebench-checks --test control guard`, looks at ten
//! thousand. `vanebench campaign guard --worlds 10000 --seed 20260101` prints the same table, which stands in
//! `reference/control/guard_campaign.csv`.

use firmware_core::guard::GuardCause;
use firmware_core::settings::Settings;
use plant::airpath::FuelResponse;
use proptest::prelude::*;
use rand::SeedableRng;
use rand_pcg::Pcg64Mcg;
use study::campaign::guard::{DrawnWorld, GuardCampaign, GuardFault, WorldVerdict, run, run_one};

fn worlds() -> u32 {
    let asked = std::env::var("VANEBENCH_GUARD_WORLDS").ok();
    asked.and_then(|count| count.parse().ok()).unwrap_or(GuardFault::ALL.len() as u32)
}

#[test]
fn no_random_world_passes_its_limits_without_a_named_reason() {
    let campaign = GuardCampaign { settings: Settings::default(), worlds: worlds(), seed: 20_260_101 };
    let table = run(&campaign).expect("worlds that run");
    println!("{table}");
    assert_eq!(table.unhandled(), Vec::<u32>::new());
    let sound = &table.rows[0];
    assert!(sound.worlds > 0 && sound.held == sound.worlds, "a sound world is held: {sound:?}");
    // What trips a sound engine is the highest speed that its pressure ratio allows: thin air, a sharp pull and
    // no sensor that could say how fast the turbo really is.
    assert!(sound.trips.iter().all(|(cause, _)| *cause == GuardCause::TurboSpeedEstimated), "{sound:?}");
    let reaction = u32::from(campaign.settings.guard.stages.reaction_ticks);
    assert!(table.rows.iter().all(|row| row.reaction_ticks <= reaction), "slower than {reaction} ticks");
    // A campaign that trips nowhere tests nothing.
    assert!(table.rows.iter().any(|row| row.tripped > 0));
}

#[test]
fn the_same_seed_gives_the_same_table() {
    let campaign = GuardCampaign { settings: Settings::default(), worlds: 3, seed: 5 };
    assert_eq!(run(&campaign).expect("worlds"), run(&campaign).expect("worlds"));
}

/// What is wrong can be seen, and the vanes or the fuel obey: then no limit may be passed.
fn can_be_held(plan: &DrawnWorld) -> bool {
    let fuel_obeys = plan.world.engine.fuel_response == FuelResponse::Obeys;
    let is_seen =
        !plan.fault.hides_boost() && (!plan.fault.hides_speed() || plan.world.sensors.turbo_speed.fitted);
    let vanes_obey = !plan.fault.stops_opening()
        && !matches!(plan.fault, GuardFault::PositionSlipped | GuardFault::PositionFrozen);
    is_seen && (vanes_obey || fuel_obeys)
}

proptest! {
    // A case is nine seconds of engine; `PROPTEST_CASES=2000` with `--release` is the long mode.
    #![proptest_config(ProptestConfig {
        cases: std::env::var("PROPTEST_CASES").ok().and_then(|cases| cases.parse().ok()).unwrap_or(16),
        max_shrink_iters: 0,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]
    #[test]
    fn boost_and_turbo_speed_stay_under_their_limits_wherever_vanes_or_fuel_obey(seed: u64, index in 0u32..10_000) {
        let settings = Settings::default();
        let campaign = GuardCampaign { settings, worlds: 1, seed };
        let outcome = run_one(&campaign, index).expect("a world that runs");
        let mut rng = Pcg64Mcg::seed_from_u64(seed.wrapping_add(u64::from(index)));
        let plan = DrawnWorld::draw(outcome.fault, &mut rng);
        prop_assert!(outcome.verdict != WorldVerdict::Unhandled, "{outcome:?}");
        if can_be_held(&plan) {
            prop_assert!(outcome.boost_used <= 1.0, "{outcome:?}");
            prop_assert!(outcome.turbo_rpm <= f64::from(settings.guard.limits.turbo_speed.0), "{outcome:?}");
        }
    }
}
