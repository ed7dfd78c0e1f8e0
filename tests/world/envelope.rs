//! The table by which controller and guard know the highest turbo speed at a pressure ratio, derived from the
//! engine: the compressor turns fastest where the engine takes the most air, at its highest speed and with
//! exhaust pressure no higher than boost. Found by bisection on the compressor's own flow.

use crate::reference::column;
use firmware_core::settings::Settings;
use plant::airpath::{Operating, ReducedModel, ReducedParams};
use plant::atmosphere::Ambient;
use plant::world::RPM_PER_RAD_S;

/// Highest speed of the invented engine's boost map, rpm.
const HIGHEST_RPM: f64 = 3600.0;

/// Turbo speed at which the compressor passes all that the engine takes at this pressure ratio, rpm.
fn highest_rpm(ratio: f64, air_k: f64) -> f64 {
    let ambient = Ambient { temperature_k: air_k, ..Ambient::SEA_LEVEL };
    let model = ReducedModel::try_new(ReducedParams::default(), ambient).unwrap();
    let (vanes, op) = (model.vanes(0.5), Operating::new(HIGHEST_RPM, 20.0));
    let boost_pa = ratio * ambient.pressure_pa;
    let (mut low, mut high) = (100.0, 40_000.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        let flows = model.flows(&[boost_pa, boost_pa.max(1.001 * ambient.pressure_pa), middle], vanes, &op);
        if flows.compressor_kg_s < flows.engine_kg_s { low = middle } else { high = middle }
    }
    high * RPM_PER_RAD_S
}

/// The controller's estimate, on straight lines between its points.
fn estimated_rpm(ratio: f64) -> f64 {
    let limits = Settings::default().guard.limits;
    let (ratios, rpm) =
        (limits.speed_estimate_ratio.map(f64::from), limits.speed_estimate_rpm.map(f64::from));
    let cell = ratios.iter().rposition(|point| *point <= ratio).unwrap_or(0).min(ratios.len() - 2);
    let share = (ratio - ratios[cell]) / (ratios[cell + 1] - ratios[cell]);
    rpm[cell] + (rpm[cell + 1] - rpm[cell]) * share.clamp(0.0, 1.0)
}

#[test]
fn the_table_is_the_engines_own_envelope() {
    let limits = Settings::default().guard.limits;
    for (ratio, rpm) in limits.speed_estimate_ratio.into_iter().zip(limits.speed_estimate_rpm) {
        let derived = highest_rpm(f64::from(ratio), Ambient::SEA_LEVEL.temperature_k);
        let over = f64::from(rpm) - derived;
        assert!((0.0..2000.0).contains(&over), "at {ratio} the table has {rpm} rpm, the engine {derived:.0}");
    }
}

#[test]
fn between_its_points_and_in_hot_air_the_envelope_stays_within_what_is_believed() {
    let excess = f64::from(Settings::default().plausibility.boost_speed_excess);
    for step in 0..=200 {
        let ratio = 1.0 + 0.01 * f64::from(step);
        let hot = highest_rpm(ratio, 318.15);
        // One per cent and 1.5 kPa of the boost sensor, the wrong way.
        let read = 0.99 * ratio - 1.5 / 101.325;
        let believed = estimated_rpm(read.max(1.0)) * (1.0 + excess);
        assert!(hot <= believed, "at {ratio:.2}: {hot:.0} rpm in air of 45 °C, believed up to {believed:.0}");
    }
}

/// What the table's straight lines may lie below the curve between its points; the guard's margin is 4 %.
const CHORD: f64 = 0.003;

/// Exhaust below boost fills the cylinders a little better than the envelope takes it to; seen 0.0021.
const DRAWN: f64 = 0.003;

#[test]
fn every_steady_point_of_the_reference_lies_under_the_envelope_and_its_table() {
    let file = "ref_reduced_steady.csv";
    let [boost, turbo] = ["p_im_Pa", "omega_t_rad_s"].map(|name| column(file, name));
    for (boost_pa, turbo_rad_s) in boost.into_iter().zip(turbo) {
        let (ratio, rpm) = (boost_pa / Ambient::SEA_LEVEL.pressure_pa, turbo_rad_s * RPM_PER_RAD_S);
        let (derived, estimated) =
            (highest_rpm(ratio, Ambient::SEA_LEVEL.temperature_k), estimated_rpm(ratio));
        assert!(rpm <= derived * (1.0 + DRAWN), "ratio {ratio:.3}: {rpm:.0} rpm, envelope {derived:.0}");
        assert!(
            rpm <= estimated * (1.0 + DRAWN + CHORD),
            "ratio {ratio:.3}: {rpm:.0} rpm, table {estimated:.0}"
        );
    }
}
