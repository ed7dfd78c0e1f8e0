//! Outside checks of the ring's friction.
//!
//! Source of the model and its parameters: Canudas de Wit, Olsson, Åström, Lischinsky, IEEE Trans. Automatic
//! Control 40(3), 1995, Table I. Source of the numbers: SciPy 1.17.1 `solve_ivp` (Radau, rtol 1e-9), script
//! `tests/reference/world/c1_friction.py`; closed forms where one exists.

use crate::reference::column;
use plant::friction::{LuGre, LuGreParams};
use vanebench_checks::assert_near;

/// The parameter set of the paper's Table I (N, m, s units).
fn paper() -> LuGre {
    let table_i = LuGreParams {
        bristle_stiffness: 1e5,
        bristle_damping: 1e5_f64.sqrt(),
        viscous: 0.4,
        coulomb: 1.0,
        breakaway: 1.5,
        stribeck_speed: 1e-3,
    };
    LuGre::try_new(table_i).unwrap()
}

/// A unit mass on the paper's surface, advanced by the one-step update; `pull` is a force linear in position.
struct Slider {
    friction: LuGre,
    x: f64,
    v: f64,
    z: f64,
}

impl Slider {
    fn new() -> Self {
        Self { friction: paper(), x: 0.0, v: 0.0, z: 0.0 }
    }

    /// One step under the force `push − spring × x` (1 kg).
    fn step(&mut self, push: f64, spring: f64, dt: f64) {
        let mut guess = self.v;
        for _ in 0..2 {
            let line = self.friction.line(self.z, guess, self.friction.level(guess), dt);
            guess = (self.v / dt + push - spring * self.x - line.constant)
                / (1.0 / dt + spring * dt + line.slope);
        }
        self.z = self.friction.advance(self.z, guess, self.friction.level(guess), dt);
        self.v = guess;
        self.x += dt * guess;
    }
}

const STICK_SLIP: &str = "ref_lugre_stickslip.csv";

/// Positions of the stick-slip run (1 kg pulled at 0.1 m/s through 2 N/m) over 50 s, m.
fn stick_slip(dt: f64) -> Vec<f64> {
    let (mut slider, mut steps) = (Slider::new(), 0_u32);
    let mut position_at = |t: f64| {
        while f64::from(steps) * dt < t - 0.5 * dt {
            steps += 1;
            slider.step(2.0 * 0.1 * f64::from(steps) * dt, 2.0, dt);
        }
        slider.x
    };
    column(STICK_SLIP, "t_s").into_iter().map(&mut position_at).collect()
}

fn largest_error(positions: &[f64]) -> f64 {
    let errors = positions.iter().zip(column(STICK_SLIP, "x_m")).map(|(x, source)| (x - source).abs());
    errors.fold(0.0, f64::max)
}

fn stick_slip_error(dt: f64) -> f64 {
    largest_error(&stick_slip(dt))
}

#[test]
fn steady_friction_follows_the_stribeck_curve() {
    let table = [
        (1e-4, 1.495_064_917),
        (5e-4, 1.389_600_392),
        (1e-3, 1.184_339_721),
        (2e-3, 1.009_957_819),
        (1e-2, 1.004_000_000),
        (0.1, 1.040_000_000),
    ];
    for (speed, force) in table {
        assert_near("steady friction, N", paper().steady(speed), force, 1e-9);
    }
}

#[test]
fn the_stribeck_minimum_lies_where_the_curve_has_it() {
    assert_near("minimum, N", paper().steady(2.986_316e-3), 1.001_261_498_8, 1e-9);
    assert!(paper().steady(2.9e-3) > paper().steady(2.986e-3));
    assert!(paper().steady(3.1e-3) > paper().steady(2.987e-3));
}

#[test]
fn bristles_load_at_constant_speed_as_the_closed_form_says() {
    // z(t) = g/σ0 (1 − exp(−σ0 v t / g)) at v = 1 mm/s; µm. The scheme is first order, so that what two step
    // lengths give, extrapolated to none (Richardson), meets the source's own tolerance.
    for (t, micrometres) in
        [(1e-3, 0.958_932_452), (5e-3, 4.078_376_046), (10e-3, 6.751_853_610), (20e-3, 9.653_213_282)]
    {
        let friction = paper();
        let loaded = |steps: u32| {
            let step_s = t / f64::from(steps);
            (0..steps).fold(0.0, |z, _| friction.advance(z, 1e-3, friction.level(1e-3), step_s))
        };
        let (coarse, fine) = (loaded(50_000), loaded(100_000));
        assert_near("bristle, µm", fine * 1e6, micrometres, 1e-4);
        assert_near("bristle without step, µm", (2.0 * fine - coarse) * 1e6, micrometres, 1e-8);
    }
}

#[test]
fn pre_sliding_creeps_and_comes_back_as_in_the_paper() {
    // 0 → 1.425 → −1.425 → 1.425 N; a first-order step of 10 µs over 35 s meets the source's own tolerance.
    let file = "ref_lugre_presliding.csv";
    let columns = (column(file, "t_s"), column(file, "Fext_N"), column(file, "x_m"));
    let knots = [(0.0, 0.0), (5.0, 1.425), (10.0, 1.425), (20.0, -1.425), (25.0, -1.425), (35.0, 1.425)];
    let force = |t: f64| {
        let i = knots.iter().rposition(|knot| knot.0 <= t).unwrap().min(knots.len() - 2);
        let ((t0, f0), (t1, f1)) = (knots[i], knots[i + 1]);
        f0 + (f1 - f0) * (t - t0) / (t1 - t0)
    };
    let (mut slider, mut steps, dt) = (Slider::new(), 0_u32, 1e-5);
    for ((t, _), x) in columns.0.iter().zip(&columns.1).zip(&columns.2) {
        while f64::from(steps) * dt < t - 0.5 * dt {
            steps += 1;
            slider.step(force(f64::from(steps) * dt), 0.0, dt);
        }
        let error = (slider.x - x).abs();
        assert!(error < 1e-4 * 45.75e-6, "t {t} s: x {} m, source {x} m", slider.x);
    }
}

#[test]
fn break_away_force_falls_with_the_rate_of_loading() {
    let table = [
        (1.0, 1.432_415),
        (2.0, 1.394_416),
        (5.0, 1.313_209),
        (10.0, 1.219_952),
        (20.0, 1.098_614),
        (50.0, 1.007_469),
    ];
    for (rate, breakaway) in table {
        let (mut slider, mut steps, dt, mut peak) = (Slider::new(), 0_u32, 2e-6, 0.0_f64);
        while slider.v < 0.01 {
            steps += 1;
            slider.step(rate * f64::from(steps) * dt, 0.0, dt);
            peak = peak.max(slider.friction.torque(slider.z, slider.v));
        }
        assert_near("break-away, N", peak, breakaway, 1e-3);
    }
}

#[test]
fn stick_slip_stays_with_radau_at_the_step_in_use() {
    let error = stick_slip_error(1e-4);
    assert!(error < 6e-4, "largest error over 50 s: {error} m (slips are 0.6 m)");
}

#[test]
fn stick_slip_without_step_is_that_of_radau() {
    // Two step lengths extrapolated to none (Richardson). The source's tolerance of 1e-5 m is for these times;
    // amid a slip, where 1e-5 m passes in 27 µs, the extrapolation is twice as far off.
    let (coarse, fine) = (stick_slip(1.6e-5), stick_slip(0.8e-5));
    let without: Vec<f64> = fine.iter().zip(&coarse).map(|(fine, coarse)| 2.0 * fine - coarse).collect();
    let error = largest_error(&without);
    assert!(error < 2.5e-5, "largest error over 50 s: {error} m");
    let (times, source) = (column(STICK_SLIP, "t_s"), column(STICK_SLIP, "x_m"));
    for t in [5.0, 10.0, 15.0, 20.0, 30.0, 50.0] {
        let at = times.iter().position(|time| (time - t).abs() < 1e-6).unwrap();
        let error = (without[at] - source[at]).abs();
        assert!(error < 1e-5, "t {t} s: {error} m off");
    }
}

#[test]
fn stick_slip_error_falls_tenfold_with_a_tenth_of_the_step() {
    // The source measured 6.5e-3 m at 1 ms and 5.5e-4 m at 0.1 ms for this scheme: first order.
    let (coarse, fine) = (stick_slip_error(1e-3), stick_slip_error(1e-4));
    assert_near("error at 1 ms, m", coarse, 6.5e-3, 0.05);
    let order = (coarse / fine).log10();
    assert!((0.9..1.2).contains(&order), "order {order}: errors {coarse} and {fine} m");
}
