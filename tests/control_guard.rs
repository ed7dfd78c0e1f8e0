//! The guard in random worlds. The short run looks at each named fault once; the long one,
//! `VANEBENCH_GUARD_WORLDS=10000 cargo test --release -p vanebench-checks --test control_guard`, looks at ten
//! thousand. `vanebench campaign guard --worlds 10000 --seed 20260101` prints the same table, which stands in
//! `reference/control/guard_campaign.csv`.

use firmware_core::settings::Settings;
use host_sim::campaign::guard::{GuardCampaign, GuardFault, run};

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
