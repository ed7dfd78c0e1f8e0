//! A motion ends itself where it cannot go on, and nowhere else.

mod motion_support;

use firmware_core::motion::Ending;
use host_sim::campaign::learn::exact_bounds;
use host_sim::catalogue::{self, Case};
use motion_support::{Rule, Told, Unit, motions, wide_unit};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;
use vanebench::profile::Profile;

fn count(name: &str, quick: u64) -> u64 {
    std::env::var(name).ok().and_then(|count| count.parse().ok()).unwrap_or(quick)
}
fn base() -> u64 {
    count("SEED", 1000)
}

#[test]
fn explore_sound() {
    let profile = Profile::demo().unwrap();
    let motions = motions(&profile);
    let told: Vec<String> = (0..count("UNITS", 5))
        .into_par_iter()
        .flat_map_iter(|unit| {
            let seed = base() + unit;
            let mut rng = Pcg64Mcg::seed_from_u64(seed);
            let config = wide_unit(&mut rng);
            let mut unit = Unit::new(&Case::of(config.clone()), None, seed);
            let mut out = Vec::new();
            for (name, segments) in &motions {
                let told = unit.run(segments, Rule::On);
                let m = &config.actuator.motor;
                out.push(format!("{seed} {name} {:?} parting {:.2} | V {:.1} T {:.0} R {:.2} eff {:.2} mu {:.2} br {:.2} sp {:.2}", told.ending, told.parting_speed,
                    config.actuator.bridge.supply_v, m.heat.unwrap().surroundings_c, m.resistance_ohm/1.6, config.actuator.gear.efficiency,
                    config.actuator.ring.friction.coulomb/0.18, config.actuator.ring.friction.breakaway/0.26, config.actuator.spring.unwrap().preload_nm/0.3));
            }
            out
        })
        .collect();
    for line in told { println!("{line}"); }
}

#[test]
fn explore_blocked() {
    let profile = Profile::demo().unwrap();
    let motions = motions(&profile);
    for name in ["blocked-travel", "blocked-opening", "soft-obstruction", "seized-ring"] {
        for unit in 0..count("UNITS", 3) {
            let seed = base() + unit;
            let mut rng = Pcg64Mcg::seed_from_u64(seed);
            let mut case = Case::of(wide_unit(&mut rng));
            let preset = catalogue::find(name).unwrap();
            let severity = preset.severity.at(rng.random_range(0.15..0.9));
            preset.apply(&mut case, severity);
            let place = if name == "seized-ring" { Some(rng.random_range(0.2..0.8)) } else { case.start_opening(None) };
            for (motion, segments) in &motions {
                let on = Unit::new(&case, place, seed).run(segments, Rule::On);
                let off = Unit::new(&case, place, seed).run(segments, Rule::Off);
                let energy = |t: &Told| t.rows.iter().map(|r| r.heat_w).sum::<f64>() * 1e-3;
                println!("{name} {severity:.2} {motion} {:?} of {} J {:.1} off {:.1} since {:?} parting {:.1}", on.ending, off.rows.len(), energy(&on), energy(&off), stand(&on, &off), on.parting_speed);
            }
        }
    }
}

/// first tick from which the truth says: stands off goal with full current
fn stand(on: &Told, off: &Told) -> Option<(usize, usize)> {
    let (_, end) = on.ending?;
    let rows = &off.rows[..end];
    // last tick before end where lever got nearer to goal by its own way
    let way = |r: &motion_support::Row| r.wanted.map(|w| (w - r.lever).signum());
    let w = way(&rows[end - 1])?;
    let furthest = rows[end-1].lever * w;
    let contact = rows.iter().rposition(|r| way(r) != Some(w) || (r.lever * w) < furthest - 0.0015).map_or(0, |i| i + 1);
    let most = off.rows[contact..(contact + 2000).min(off.rows.len())].iter().map(|r| r.current_a.abs()).fold(0.0, f64::max);
    let full = contact + rows[contact..].iter().position(|r| r.current_a.abs() >= 0.9 * most)?;
    Some((end - contact, end - full))
}
#[test]
fn unused() { let _ = (exact_bounds(0, 1), Ending::Obstructed); }
