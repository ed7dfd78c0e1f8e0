//! From duty and opening to gain, time constant, dead time, friction and spring.
//!
//! Where the lever moves, the volts on the motor are, in order, spring offset, spring rate × opening,
//! sliding friction against the motion, speed ÷ gain and acceleration × time constant ÷ gain: five
//! unknowns, linear, fitted by least squares. Dead time is the shift of the duty that fits best.

use core::fmt;

use super::least_squares::LeastSquares;
use super::process::Process;

/// One sample of a record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TunePoint {
    /// Tick, ms.
    pub tick: u32,
    /// Duty × supply, V.
    pub volts: f64,
    /// Measured opening.
    pub opening: f64,
}

/// What a record says of the actuator.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct Identified {
    /// Opening per second for each volt, once up to speed.
    pub gain_per_s_v: f64,
    /// Time constant of the speed, s.
    pub time_constant_s: f64,
    /// Dead time, s: computing, sampling and the winding together.
    pub dead_time_s: f64,
    /// Volts that sliding friction takes.
    pub friction_v: f64,
    /// Volts that hold the lever at the middle of its travel; positive opens.
    pub hold_v: f64,
    /// Volts that the spring adds over the whole travel.
    pub spring_v: f64,
    /// Share of the volts' variance that the model explains, 0 to 1.
    pub explained: f64,
    /// Samples in motion.
    pub samples: usize,
}

/// Why a record identifies nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum IdentifyError {
    /// Too few samples in motion.
    TooStill {
        /// Samples in motion.
        seen: usize,
        /// Needed.
        needed: usize,
    },
    /// The motion does not tell the unknowns apart.
    OneSided,
    /// The model explains too little.
    PoorFit {
        /// Share explained.
        explained: f64,
        /// Needed.
        needed: f64,
    },
    /// Gain or time constant came out negative: duty does not open, or the record is of something else.
    WrongSign {
        /// Opening per second for each volt.
        gain_per_s_v: f64,
        /// Time constant, s.
        time_constant_s: f64,
    },
}

impl fmt::Display for IdentifyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooStill { seen, needed } => write!(
                f,
                "only {seen} samples in motion, at least {needed} needed: record steps of 10 % or more"
            ),
            Self::OneSided => f.write_str(
                "the motion goes one way at one speed, so friction and gain cannot be told apart: record \
                 steps in both directions",
            ),
            Self::PoorFit { explained, needed } => write!(
                f,
                "the model explains {:.0} % of the volts, at least {:.0} % needed: check supply, play and \
                 end stops, then record steps between 20 and 80 % opening",
                explained * 100.0,
                needed * 100.0
            ),
            Self::WrongSign { gain_per_s_v, time_constant_s } => write!(
                f,
                "gain {gain_per_s_v:.3} 1/(s V) and time constant {time_constant_s:.4} s, allowed: both \
                 above 0. Positive duty must open: check motor leads and `counts_direction`"
            ),
        }
    }
}

impl core::error::Error for IdentifyError {}

/// Samples in motion that five unknowns need at least.
const MIN_SAMPLES: usize = 200;
/// Speed above which friction slides and noise is small against it, opening/s.
const MIN_SPEED: f64 = 0.3;
/// Openings near an end are left out: stops push there.
const ENDS: f64 = 0.02;
/// Least share of the variance to be explained.
const MIN_EXPLAINED: f64 = 0.8;
/// Half the width of the smoothing window, ticks: a window shorter than the time constant.
const HALF_WINDOW: usize = 4;
/// Longest dead time tried, ticks.
const MAX_DEAD_TICKS: usize = 20;

/// Opening, speed and acceleration of a sample, smoothed.
#[derive(Clone, Copy)]
struct SmoothedSample {
    opening: f64,
    speed: f64,
    acceleration: f64,
}

/// Identifies the actuator from a record. Samples with the drive off do not belong into it: an open bridge
/// has no volts.
///
/// # Errors
/// [`IdentifyError`] says what the record lacks.
pub fn identify(points: &[TunePoint]) -> Result<Identified, IdentifyError> {
    let moving = moving(points);
    if moving.len() < MIN_SAMPLES {
        return Err(IdentifyError::TooStill { seen: moving.len(), needed: MIN_SAMPLES });
    }
    let fits: Vec<([f64; 5], f64)> = (0..=MAX_DEAD_TICKS)
        .map(|dead| fit(points, &moving, dead).ok_or(IdentifyError::OneSided))
        .collect::<Result<_, _>>()?;
    let best = (0..fits.len()).max_by(|a, b| fits[*a].1.total_cmp(&fits[*b].1)).unwrap_or_default();
    let ([offset_v, spring_v, friction_v, per_speed, per_acceleration], explained) = fits[best];
    if explained < MIN_EXPLAINED {
        return Err(IdentifyError::PoorFit { explained, needed: MIN_EXPLAINED });
    }
    let (gain_per_s_v, time_constant_s) = (1.0 / per_speed, per_acceleration / per_speed);
    if gain_per_s_v <= 0.0 || time_constant_s <= 0.0 {
        return Err(IdentifyError::WrongSign { gain_per_s_v, time_constant_s });
    }
    Ok(Identified {
        gain_per_s_v,
        time_constant_s,
        dead_time_s: (best as f64 + vertex(&fits, best)) * TICK_S,
        friction_v: friction_v.max(0.0),
        hold_v: offset_v + 0.5 * spring_v,
        spring_v,
        explained,
        samples: moving.len(),
    })
}

const TICK_S: f64 = 1e-3;

/// Where between the ticks the fit would be best, by the parabola through the neighbours.
fn vertex(fits: &[([f64; 5], f64)], best: usize) -> f64 {
    if best == 0 || best + 1 >= fits.len() {
        return 0.0;
    }
    let (before, here, after) = (fits[best - 1].1, fits[best].1, fits[best + 1].1);
    let bend = before - 2.0 * here + after;
    if bend < 0.0 { (0.5 * (before - after) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}

fn fit(points: &[TunePoint], moving: &[(usize, SmoothedSample)], dead: usize) -> Option<([f64; 5], f64)> {
    let mut equations = LeastSquares::<5>::default();
    for (index, motion) in moving.iter().filter(|(index, _)| *index >= MAX_DEAD_TICKS) {
        let factors = [1.0, motion.opening, motion.speed.signum(), motion.speed, motion.acceleration];
        // The duty of a tick acts after the sample of that tick, smoothed as the motion is.
        let from = index - dead;
        let window = &points[from.saturating_sub(HALF_WINDOW)..(from + HALF_WINDOW + 1).min(points.len())];
        let is_gapless = points[*index].tick.wrapping_sub(window[0].tick) as usize == dead + HALF_WINDOW;
        if !is_gapless {
            continue;
        }
        let volts = window.iter().map(|point| point.volts).sum::<f64>() / window.len() as f64;
        equations.add(&factors, volts);
    }
    equations.solve()
}

/// Samples in motion, away from the ends and from gaps.
fn moving(points: &[TunePoint]) -> Vec<(usize, SmoothedSample)> {
    let width = 2 * HALF_WINDOW;
    points
        .windows(width + 1)
        .enumerate()
        .filter(|(_, window)| window[width].tick.wrapping_sub(window[0].tick) as usize == width)
        .map(|(start, window)| (start + HALF_WINDOW, smooth(window)))
        .filter(|(_, motion)| motion.speed.abs() > MIN_SPEED && (ENDS..=1.0 - ENDS).contains(&motion.opening))
        .collect()
}

/// Least-squares parabola through a window: value, slope and curvature at its middle.
fn smooth(window: &[TunePoint]) -> SmoothedSample {
    let half = HALF_WINDOW as f64;
    let (mut s0, mut s1, mut s2) = (0.0, 0.0, 0.0);
    let (mut n, mut q2, mut q4) = (0.0, 0.0, 0.0);
    for (index, point) in window.iter().enumerate() {
        let x = index as f64 - half;
        s0 += point.opening;
        s1 += x * point.opening;
        s2 += x * x * point.opening;
        n += 1.0;
        q2 += x * x;
        q4 += x * x * x * x;
    }
    let curve = (n * s2 - q2 * s0) / (n * q4 - q2 * q2);
    SmoothedSample { opening: s0 / n, speed: s1 / q2 / TICK_S, acceleration: 2.0 * curve / (TICK_S * TICK_S) }
}

impl Identified {
    /// The model to tune on. Integrating, unless the spring's own time constant is shorter than the
    /// integral time that the rule would choose (where SIMC itself changes its integral time).
    #[must_use]
    pub fn process(&self, closed_loop_s: f64) -> Process {
        let integral_time_s = 4.0 * (closed_loop_s + self.dead_time_s);
        let spring_time_s = 1.0 / (self.gain_per_s_v * self.spring_v.abs().max(f64::MIN_POSITIVE));
        if self.spring_v < 0.0 || spring_time_s >= integral_time_s {
            Process::Integrating {
                gain_per_s: self.gain_per_s_v,
                time_constant_s: self.time_constant_s,
                dead_time_s: self.dead_time_s,
            }
        } else {
            Process::FirstOrder {
                gain: 1.0 / self.spring_v,
                time_constant_s: spring_time_s,
                dead_time_s: self.dead_time_s + self.time_constant_s,
            }
        }
    }
}
