//! Finds where the reduced air path comes to rest.
//!
//! In: a model, an operating point, vanes. Out: the state at which all derivatives vanish. Refuses, with
//! the residual left, a point that has no rest within a minute of running.

use super::reduced::ReducedModel;
use super::rk4::rk4;
use super::state::{AirState, Operating, Vanes};

/// No steady state was found.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "the air path does not come to rest at {speed_rpm} rpm, {fuel_mg} mg, opening {opening}: rates stay at \
     {residual:.1e} (allowed 1e-9); try more fuel, more speed or more opening"
)]
pub struct NoSteadyState {
    /// Engine speed asked for, rpm.
    pub speed_rpm: f64,
    /// Fuel asked for, mg per stroke.
    pub fuel_mg: f64,
    /// Opening asked for.
    pub opening: f64,
    /// Scaled rate left.
    pub residual: f64,
}

/// Sizes of the states, for scaled residuals: 1 bar, 1 bar, 10 krad/s.
const SCALE: AirState = [1e5, 1e5, 1e4];
/// A scaled rate below this is rest, 1/s.
const AT_REST: f64 = 1e-9;
/// Steps that the model runs before each try of Newton's method (2 s), and how often that is repeated.
pub(super) const RUN_STEPS: usize = 2_001;
pub(super) const STEP_S: f64 = 1e-3;
const TRIES: usize = 30;
const NEWTON_STEPS: usize = 12;

impl ReducedModel {
    /// The steady state at an operating point with the vanes held.
    ///
    /// # Errors
    /// [`NoSteadyState`] with the residual when it does not settle.
    pub fn steady(&self, vanes: Vanes, op: &Operating) -> Result<AirState, NoSteadyState> {
        self.steady_from(self.run(self.far_from_rest(), vanes, op), vanes, op)
    }

    /// Where the search for rest begins: an engine under some load.
    pub(super) fn far_from_rest(&self) -> AirState {
        let ambient = self.ambient().pressure_pa;
        [1.2 * ambient, 1.4 * ambient, 6000.0]
    }

    /// The steady state, looked for from a state near it.
    ///
    /// # Errors
    /// As [`Self::steady`].
    pub fn steady_from(
        &self,
        mut state: AirState,
        vanes: Vanes,
        op: &Operating,
    ) -> Result<AirState, NoSteadyState> {
        let mut residual = f64::INFINITY;
        for _ in 0..TRIES {
            let (polished, left) = self.newton(state, vanes, op);
            // Newton's method also finds rests below vacuum.
            if left < AT_REST && polished.iter().all(|value| *value > 0.0) {
                return Ok(polished);
            }
            residual = left;
            state = self.run(state, vanes, op);
        }
        Err(NoSteadyState { speed_rpm: op.speed_rpm, fuel_mg: op.fuel_mg, opening: vanes.opening, residual })
    }

    pub(crate) fn run(&self, from: AirState, vanes: Vanes, op: &Operating) -> AirState {
        (0..RUN_STEPS).fold(from, |state, _| rk4(state, STEP_S, |_, x| self.rates(x, vanes, op)))
    }

    /// Newton's method on scaled states; gives the best point seen and its residual.
    fn newton(&self, from: AirState, vanes: Vanes, op: &Operating) -> (AirState, f64) {
        let (mut state, mut best) = (from, (from, self.residual(&from, vanes, op)));
        for _ in 0..NEWTON_STEPS {
            let rate = self.scaled_rate(&state, vanes, op);
            let Some(step) = solve3(self.jacobian(&state, vanes, op), rate) else { break };
            for i in 0..3 {
                state[i] -= step[i] * SCALE[i];
            }
            let left = self.residual(&state, vanes, op);
            if !left.is_finite() {
                break;
            }
            if left < best.1 {
                best = (state, left);
            }
        }
        best
    }

    fn scaled_rate(&self, state: &AirState, vanes: Vanes, op: &Operating) -> AirState {
        let rate = self.rates(state, vanes, op);
        core::array::from_fn(|i| rate[i] / SCALE[i])
    }

    fn residual(&self, state: &AirState, vanes: Vanes, op: &Operating) -> f64 {
        self.scaled_rate(state, vanes, op).iter().fold(0.0, |worst, rate| rate.abs().max(worst))
    }

    /// d(scaled rate)/d(scaled state), by central differences.
    #[must_use]
    pub fn jacobian(&self, state: &AirState, vanes: Vanes, op: &Operating) -> [[f64; 3]; 3] {
        const NUDGE: f64 = 1e-6;
        let mut columns = [[0.0; 3]; 3];
        for (k, column) in columns.iter_mut().enumerate() {
            let (mut up, mut down) = (*state, *state);
            up[k] += NUDGE * SCALE[k];
            down[k] -= NUDGE * SCALE[k];
            let (above, below) = (self.scaled_rate(&up, vanes, op), self.scaled_rate(&down, vanes, op));
            *column = core::array::from_fn(|i| (above[i] - below[i]) / (2.0 * NUDGE));
        }
        core::array::from_fn(|row| core::array::from_fn(|k| columns[k][row]))
    }
}

/// Solves a 3 × 3 system by Cramer's rule; nothing when it is singular.
fn solve3(a: [[f64; 3]; 3], b: [f64; 3]) -> Option<[f64; 3]> {
    let det = det3(&a);
    if det == 0.0 || !det.is_finite() {
        return None;
    }
    Some(core::array::from_fn(|k| {
        let mut m = a;
        for (row, value) in m.iter_mut().zip(b) {
            row[k] = value;
        }
        det3(&m) / det
    }))
}

fn det3(a: &[[f64; 3]; 3]) -> f64 {
    a[0][0] * (a[1][1] * a[2][2] - a[1][2] * a[2][1]) - a[0][1] * (a[1][0] * a[2][2] - a[1][2] * a[2][0])
        + a[0][2] * (a[1][0] * a[2][1] - a[1][1] * a[2][0])
}
