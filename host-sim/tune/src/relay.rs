//! Relay feedback on a model: the limit cycle, and the ultimate gain by the describing function 4d/(πa).

use super::process::{Process, ProcessInTime};

/// A relay's limit cycle.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct RelayCycle {
    /// Half of peak to peak.
    pub amplitude: f64,
    /// Period, s.
    pub period_s: f64,
    /// 4d/(πa). The describing function sees only the first harmonic: on a first-order process with dead
    /// time τ/8 it is 18 % low.
    pub ultimate_gain: f64,
}

/// Steps in one dead time.
const STEPS_PER_DEAD_TIME: f64 = 2000.0;
/// Cycles before the one that is measured.
const WARM_UP: usize = 12;

/// Runs a relay of height ±`height` around the process until its cycle stands.
#[must_use]
pub fn relay_cycle(process: &Process, height: f64) -> RelayCycle {
    let dt = process.dead_time_s().max(1e-4) / STEPS_PER_DEAD_TIME;
    let mut plant = ProcessInTime::new(process, dt);
    let (mut rises, mut risen_at, mut period_s) = (0, 0.0, 0.0);
    let (mut low, mut high, mut last) = (0.0_f64, 0.0_f64, 0.0_f64);
    let mut output = 0.0_f64;
    let most_steps = 10_000_000;
    for step in 0..most_steps {
        let now = step as f64 * dt;
        output = plant.step(if output > 0.0 { -height } else { height });
        (low, high) = (low.min(output), high.max(output));
        if last <= 0.0 && output > 0.0 {
            rises += 1;
            if rises > WARM_UP {
                period_s = now - risen_at;
                break;
            }
            risen_at = now;
            (low, high) = (output, output);
        }
        last = output;
    }
    let amplitude = 0.5 * (high - low);
    RelayCycle { amplitude, period_s, ultimate_gain: 4.0 * height / (core::f64::consts::PI * amplitude) }
}
