//! Outside checks of the reduced air path on the invented bench engine A.
//!
//! Source: SciPy 1.17.1 (Radau rtol 1e-9, LSODA, and SUNDIALS CVODE agree to 2e-7), scripts
//! `tests/reference/world/c4b_reduced_airpath.py` and `c4c_reduced_transients.py`. The model's structure is
//! that of Wahlström and Eriksson 2011.

use crate::reference::column;
use plant::airpath::{AirState, Operating, ReducedModel, ReducedParams, rk4};
use plant::atmosphere::Ambient;
use vanebench_checks::assert_near;

fn model() -> ReducedModel {
    ReducedModel::try_new(ReducedParams::default(), Ambient::SEA_LEVEL).unwrap()
}

fn steady(speed_rpm: f64, fuel_mg: f64, opening: f64) -> AirState {
    let model = model();
    model.steady(model.vanes(opening), &Operating::new(speed_rpm, fuel_mg)).unwrap()
}

#[test]
fn all_135_steady_points_agree() {
    let file = "ref_reduced_steady.csv";
    let names =
        ["n_rpm", "mf_mg_per_stroke", "u", "p_im_Pa", "p_em_Pa", "omega_t_rad_s", "W_c_kg_s", "T_em_K"];
    let columns = names.map(|name| column(file, name));
    let points: Vec<[f64; 8]> =
        (0..columns[0].len()).map(|row| core::array::from_fn(|k| columns[k][row])).collect();
    assert_eq!(points.len(), 135);
    let model = model();
    for [n, mg, u, intake, exhaust, turbo, flow, hot] in points {
        let (vanes, op) = (model.vanes(u), Operating::new(n, mg));
        let state = model.steady(vanes, &op).unwrap();
        assert_near("intake, Pa", state[0], intake, 1e-6);
        assert_near("exhaust, Pa", state[1], exhaust, 1e-6);
        assert_near("turbo, rad/s", state[2], turbo, 1e-6);
        let flows = model.flows(&state, vanes, &op);
        assert_near("compressor, kg/s", flows.compressor_kg_s, flow, 1e-6);
        assert_near("exhaust, K", flows.exhaust_k, hot, 1e-6);
    }
}

#[test]
fn mass_and_power_balance_at_a_steady_point() {
    let model = model();
    let (vanes, op) = (model.vanes(0.4), Operating::new(2000.0, 25.0));
    let f = model.flows(&steady(2000.0, 25.0, 0.4), vanes, &op);
    assert_near("compressor = engine, kg/s", f.compressor_kg_s, 0.063_236_893_2, 1e-6);
    assert_near("engine air, kg/s", f.engine_kg_s, f.compressor_kg_s, 1e-9);
    assert_near("turbine = engine + fuel", f.turbine_kg_s, f.engine_kg_s + f.fuel_kg_s, 1e-9);
    assert_near("turbine, W", f.turbine_w, 4_106.123_149, 1e-6);
    assert_near("compressor, W", f.compressor_w, 4_106.123_149, 1e-6);
}

#[test]
fn derivatives_away_from_rest_agree() {
    let model = model();
    let rates = model.rates(&[1.8e5, 2.2e5, 13_000.0], model.vanes(0.3), &Operating::new(2000.0, 30.0));
    assert_near("intake, Pa/s", rates[0], 655_577.649_942, 1e-9);
    assert_near("exhaust, Pa/s", rates[1], -954_655.653_118, 1e-9);
    assert_near("turbo, rad/s²", rates[2], -1_042.233_856, 1e-9);
}

#[test]
fn the_slowest_mode_and_the_gain_of_the_vanes_agree() {
    let (model, op) = (model(), Operating::new(2000.0, 25.0));
    let state = steady(2000.0, 25.0, 0.4);
    let a = model.jacobian(&state, model.vanes(0.4), &op);
    // The state's scaling cancels in trace and determinant: −75.151 ± 5.524i and −1.469158 per second.
    let trace = a[0][0] + a[1][1] + a[2][2];
    assert_near("sum of eigenvalues, 1/s", trace, -2.0 * 75.151 - 1.469_158, 1e-4);
    let determinant = a[0][0] * (a[1][1] * a[2][2] - a[1][2] * a[2][1])
        - a[0][1] * (a[1][0] * a[2][2] - a[1][2] * a[2][0])
        + a[0][2] * (a[1][0] * a[2][1] - a[1][1] * a[2][0]);
    let product = -(75.151_f64.powi(2) + 5.524_f64.powi(2)) * 1.469_158;
    assert_near("product of eigenvalues, 1/s³", determinant, product, 1e-4);
    let (above, below) = (steady(2000.0, 25.0, 0.401)[0], steady(2000.0, 25.0, 0.399)[0]);
    assert_near("dp_im/du, Pa", (above - below) / 0.002, -202_399.0, 1e-3);
}

/// Intake, exhaust, turbo, vanes: a transient whose inputs step at 0.5 s, with the vane lag of the reference
/// (first order 60 ms, at most 4 per second).
struct Transient {
    model: ReducedModel,
    op: [Operating; 2],
    command: [f64; 2],
}

impl Transient {
    fn run(&self, span_s: f64, dt: f64) -> Vec<[f64; 4]> {
        let model = &self.model;
        let from = model.steady(model.vanes(self.command[0]), &self.op[0]).unwrap();
        let mut x = [from[0], from[1], from[2], self.command[0]];
        let mut path = vec![x];
        for step in 0..(span_s / dt).round() as u32 {
            let after = usize::from(f64::from(step) * dt >= 0.5 - 0.5 * dt);
            let (op, command) = (self.op[after], self.command[after]);
            x = rk4(x, dt, |_, x| {
                let r = model.rates(&[x[0], x[1], x[2]], model.vanes(x[3]), &op);
                [r[0], r[1], r[2], ((command - x[3]) / 0.060).clamp(-4.0, 4.0)]
            });
            path.push(x);
        }
        path
    }

    fn compressor_flow(&self, x: &[f64; 4]) -> f64 {
        let vanes = self.model.vanes(x[3]);
        self.model.flows(&[x[0], x[1], x[2]], vanes, &self.op[1]).compressor_kg_s
    }
}

/// The largest relative error against a reference file, over its range, per state.
fn worst_against(file: &str, path: &[[f64; 4]], dt: f64) -> f64 {
    let times = column(file, "t_s");
    let mut worst = 0.0_f64;
    for (k, name) in ["p_im_Pa", "p_em_Pa", "omega_t_rad_s"].iter().enumerate() {
        for (t, reference) in times.iter().zip(column(file, name)) {
            let x = path[(t / dt).round() as usize];
            worst = worst.max((x[k] / reference - 1.0).abs());
        }
    }
    worst
}

fn vane_step() -> Transient {
    Transient { model: model(), op: [Operating::new(2000.0, 25.0); 2], command: [0.6, 0.3] }
}

fn fuel_step() -> Transient {
    let op = [Operating::new(1600.0, 10.0), Operating::new(1600.0, 40.0)];
    Transient { model: model(), op, command: [0.25; 2] }
}

fn with_egr(from: f64, to: f64) -> Transient {
    let op = Operating { egr_area_m2: 0.6e-4, ..Operating::new(2000.0, 25.0) };
    Transient { model: model(), op: [op; 2], command: [from, to] }
}

#[test]
fn a_vane_step_follows_the_reference() {
    let path = vane_step().run(8.0, 1e-3);
    let worst = worst_against("ref_reduced_T1_vane_06_03.csv", &path, 1e-3);
    assert!(worst < 1e-6, "worst relative error {worst:e}");
    for (after_s, pascals) in [(0.5, 155_819.458), (1.0, 171_366.083), (2.0, 184_641.552)] {
        let x = path[((0.5 + after_s) / 1e-3_f64).round() as usize];
        assert_near("intake, Pa", x[0], pascals, 1e-6);
    }
}

#[test]
fn a_fuel_step_follows_the_reference() {
    let path = fuel_step().run(10.0, 1e-3);
    let worst = worst_against("ref_reduced_T2_fuel_10_40.csv", &path, 1e-3);
    assert!(worst < 1e-6, "worst relative error {worst:e}");
}

#[test]
fn runge_kutta_converges_at_fourth_order() {
    let end = |dt: f64| fuel_step().run(1.5, dt).last().unwrap()[0];
    // The reference solution is the same scheme at an eighth of the step.
    let exact = end(0.5e-3);
    let order = ((end(4e-3) - exact) / (end(2e-3) - exact)).abs().log2();
    assert!((3.5..4.6).contains(&order), "order {order}");
}

#[test]
fn with_recirculation_closing_the_vanes_first_loses_air() {
    // Non-minimum phase: .0566693 → .0541321 (0.19 s after the step) → .0630346 kg/s.
    let transient = with_egr(0.5, 0.35);
    let path = transient.run(8.0, 1e-3);
    let flows: Vec<f64> = path.iter().map(|x| transient.compressor_flow(x)).collect();
    let lowest = flows.iter().copied().fold(f64::INFINITY, f64::min);
    let at_s = flows.iter().position(|flow| *flow == lowest).unwrap() as f64 * 1e-3 - 0.5;
    assert_near("before, kg/s", flows[0], 0.056_669_3, 1e-5);
    assert_near("lowest, kg/s", lowest, 0.054_132_1, 1e-5);
    assert!((at_s - 0.19).abs() < 0.01, "lowest at {at_s} s");
    assert_near("after, kg/s", *flows.last().unwrap(), 0.063_034_6, 1e-5);
    assert!(worst_against("ref_reduced_T3a_egr_vane_050_035.csv", &path, 1e-3) < 1e-6);
}

#[test]
fn with_recirculation_closing_far_loses_boost() {
    let transient = with_egr(0.30, 0.20);
    let path = transient.run(8.0, 1e-3);
    assert_near("before, Pa", path[0][0], 175_592.9, 1e-5);
    assert_near("after, Pa", path.last().unwrap()[0], 173_001.9, 1e-5);
    assert_near("air after, kg/s", transient.compressor_flow(path.last().unwrap()), 0.051_660_6, 1e-5);
}

#[test]
fn closing_past_the_best_opening_loses_boost_while_exhaust_pressure_climbs() {
    let transient = Transient { model: model(), op: [Operating::new(2000.0, 25.0); 2], command: [0.10, 0.0] };
    let path = transient.run(8.0, 1e-3);
    assert_near("before, Pa", path[0][0], 210_677.6, 1e-5);
    assert_near("after, Pa", path.last().unwrap()[0], 193_067.0, 1e-5);
    let peak = path.iter().map(|x| x[1]).fold(0.0, f64::max);
    assert_near("exhaust peak, Pa", peak, 370_125.0, 1e-5);
}

#[test]
fn the_opening_of_most_boost_lies_where_the_reference_has_it() {
    for (speed_rpm, fuel_mg, best) in [(1200.0, 25.0, 0.0655), (2000.0, 25.0, 0.1178), (2000.0, 40.0, 0.1450)]
    {
        let boost = |opening: f64| steady(speed_rpm, fuel_mg, opening)[0];
        let step = 0.004;
        let (low, mid, high) = (boost(best - step), boost(best), boost(best + step));
        let vertex = best + 0.5 * step * (low - high) / (low - 2.0 * mid + high);
        assert!((vertex - best).abs() < 1e-3, "{speed_rpm} rpm {fuel_mg} mg: {vertex}, source {best}");
    }
}

#[test]
fn thin_air_at_2500_m_costs_boost_and_speeds_the_turbo() {
    let thin = Ambient { pressure_pa: 74_682.5, temperature_k: 271.90 };
    let model = ReducedModel::try_new(ReducedParams::default(), thin).unwrap();
    let state = model.steady(model.vanes(0.2), &Operating::new(2000.0, 25.0)).unwrap();
    assert_near("intake, Pa", state[0], 189_105.004, 1e-6);
    assert_near("turbo, rpm", state[2] * plant::world::RPM_PER_RAD_S, 145_866.99, 1e-6);
}
