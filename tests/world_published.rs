//! Outside checks of the published diesel model.
//!
//! Source: Wahlström and Eriksson, Proc. IMechE Part D 225(7), 2011, 960–986, equations and parameters; numbers
//! by an independent Python implementation, `tests/reference/world/c4a_published_model.py` (LSODA, Radau).

#[path = "support/world.rs"]
mod reference;

use plant::airpath::published::{PUBLISHED, PublishedInputs, PublishedState};
use plant::airpath::rk4;
use plant::world::RPM_PER_RAD_S;
use reference::column;
use vanebench_checks::assert_near;

fn inputs(vane_pct: f64) -> PublishedInputs {
    PublishedInputs { speed_rpm: 1500.0, fuel_mg: 110.0, egr_pct: 80.0, vane_pct }
}

/// Runs with the vanes held until nothing moves.
fn steady(vane_pct: f64) -> PublishedState {
    let mut x = [2e5, 2.3e5, 0.2, 0.1, 6000.0];
    for _ in 0..30_000 {
        x = rk4(x, 2e-3, |_, x| PUBLISHED.rates(x, &inputs(vane_pct)));
    }
    x
}

#[test]
fn derivatives_away_from_rest_agree() {
    let rates = PUBLISHED.rates(&[1.6e5, 1.8e5, 0.22, 0.12, 6500.0], &inputs(50.0));
    let source = [76_574.734_40, -411_301.489_06, -0.081_345_660_5, -0.072_443_673_2, 1_631.625_95];
    for (rate, source) in rates.iter().zip(source) {
        assert_near("derivative", *rate, source, 1e-8);
    }
}

#[test]
fn steady_states_agree_with_the_published_parameters() {
    // vane %, intake Pa, exhaust Pa, turbo rpm, compressor kg/s, recirculated kg/s, exhaust K, torque N m
    let table = [
        (75.0, [149_592.097, 153_647.561, 59_779.030, 0.244_466_627, 0.013_896_172, 729.931_579, 793.313_12]),
        (65.0, [155_125.013, 160_660.921, 61_633.499, 0.248_634_882, 0.018_861_444, 720.709_154, 791.812_22]),
        (30.0, [184_986.423, 212_412.394, 68_292.305, 0.234_543_897, 0.081_869_262, 690.804_949, 769.619_70]),
        (25.0, [188_782.615, 225_180.649, 68_452.543, 0.220_265_585, 0.102_322_348, 692.690_502, 760.523_68]),
    ];
    for (vane_pct, source) in table {
        let x = steady(vane_pct);
        let f = PUBLISHED.flows(&x, &inputs(vane_pct));
        let got = [x[0], x[1], x[4] * RPM_PER_RAD_S, f.compressor_kg_s, f.egr_kg_s, f.exhaust_k, f.torque_nm];
        for (got, source) in got.iter().zip(source) {
            assert_near("steady value", *got, source, 1e-6);
        }
    }
}

/// A vane step at 1 s through the published actuator (dead time 40 ms, first order 25 ms); compressor flow
/// every millisecond.
fn vane_step(from: f64, to: f64) -> (Vec<[f64; 6]>, Vec<f64>) {
    let start = steady(from);
    let mut x = [start[0], start[1], start[2], start[3], start[4], from];
    let (mut path, mut flows) = (Vec::new(), Vec::new());
    for step in 0..=8000_u32 {
        let state = [x[0], x[1], x[2], x[3], x[4]];
        path.push(x);
        flows.push(PUBLISHED.flows(&state, &inputs(x[5])).compressor_kg_s);
        let command = if step >= 1040 { to } else { from };
        x = rk4(x, 1e-3, |_, x| {
            let r = PUBLISHED.rates(&[x[0], x[1], x[2], x[3], x[4]], &inputs(x[5]));
            [r[0], r[1], r[2], r[3], r[4], (command - x[5]) / PUBLISHED.tau_vgt]
        });
    }
    (path, flows)
}

#[test]
fn closing_from_75_to_65_first_loses_air_then_gains_it() {
    let (path, flows) = vane_step(75.0, 65.0);
    let lowest = flows.iter().copied().fold(f64::INFINITY, f64::min);
    assert_near("lowest air, kg/s", lowest, 0.239_648, 1e-5);
    assert!(flows[8000] > flows[0], "DC gain is negative: closing ends with more air");
    let file = "ref_published_step_75_65.csv";
    let names = ["p_im_Pa", "p_em_Pa", "X_Oim", "X_Oem", "omega_t_rad_s"];
    for (k, name) in names.iter().enumerate() {
        for (t, source) in column(file, "t_s").iter().zip(column(file, name)) {
            assert_near(name, path[(t * 1e3).round() as usize][k], source, 1e-6);
        }
    }
}

#[test]
fn closing_from_30_to_25_undershoots_and_ends_with_less_air() {
    let (_, flows) = vane_step(30.0, 25.0);
    let lowest = flows.iter().copied().fold(f64::INFINITY, f64::min);
    assert_near("lowest air, kg/s", lowest, 0.217_561, 1e-5);
    assert_near("air at the end, kg/s", flows[8000], 0.2202, 5e-4);
    assert!(
        flows[8000] < flows[0] && lowest < flows[8000],
        "sign of the DC gain has reversed, with overshoot"
    );
}
