//! The learn in counts and amperes, worked out once from settings and order.
//!
//! In: settings (fractions of travel) and the order. Out: the legs to go, where each stop is expected
//! and every limit in the units of the samples.

use super::axis::Signs;
use super::speed::TRIM_RATE;
use super::{LearnKind, LearnOrder, Stop};
use crate::calibration::Calibration;
use crate::settings::{ActuatorSettings, LearnSettings, Settings, StopWindow};
use crate::units::larger;

/// One leg: go to a stop and touch it this often.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Leg {
    pub(super) stop: Stop,
    pub(super) touches: u8,
}

/// Closed first (the spring of most units rests at open), then open, then back: both directions are
/// traversed and the last touch of the closed stop shows whether anything crept meanwhile.
const FULL: [Leg; 3] = [
    Leg { stop: Stop::Closed, touches: 3 },
    Leg { stop: Stop::Open, touches: 4 },
    Leg { stop: Stop::Closed, touches: 1 },
];
/// Key-off: the rest position first, then across.
const RELEARN: [Leg; 2] = [Leg { stop: Stop::Open, touches: 2 }, Leg { stop: Stop::Closed, touches: 2 }];

/// A contact further than this before the window is no stop, travel. Nearer, it is judged as a stop.
const OBSTRUCTED_BEFORE: f32 = 0.05;
/// Past the window by this, the stop is missing, travel.
const MISSING_AFTER: f32 = 0.01;
/// Movement that counts as motion, travel.
const MOTION: f32 = 0.01;
/// Movement against the drive that counts as the wrong direction, travel.
const WRONG_WAY: f32 = 0.02;
/// The lever stands when it gains less than this, travel: at approach speed it would gain four times as much in
/// [`CONTACT_TICKS`], and a sound sensor flickers by a tenth.
const STANDING_BAND: f32 = 0.001;
/// Or less than this share of the noise allowed at rest, where a reading has few counts.
const STANDING_SHARE: f32 = 0.5;
/// Ticks that all signs of a contact must last: 35 electrical time constants, past the bounce.
const CONTACT_TICKS: f32 = 20.0;
/// Or as long as a lever at approach speed takes for so many standing bands.
const CONTACT_BANDS: f32 = 2.0;
/// Volts that an error of 1 travel/s is worth to the trim, as a share of what the approach may give: less, from a weak
/// back-EMF, and friction is overcome too late.
const TRIM_SHARE: f32 = 0.12;
const TICKS_PER_S: f32 = 1000.0;
/// Least time without speed after which a drive that shows no pushing current is given up, s.
const STALL_S: f32 = 1.2;
/// Or as long as the trim takes to this share of its limit: enough for a sign of a contact.
const WOUND_UP: f32 = 0.75;
/// Spread of a settled reading at a stop beside the noise allowed at rest, share of that noise.
const SETTLED_SHARE: f32 = 0.75;

/// Where a stop is expected, in progress toward it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Expected {
    pub(super) axis: Signs,
    /// The window in counts, for the verdict.
    pub(super) window: StopWindow,
    /// From here on the approach is soft.
    pub(super) soft_from: f32,
    /// A contact before this is an obstruction.
    pub(super) obstructed_before: f32,
    /// No contact up to here: missing.
    pub(super) missing_after: f32,
}

/// Everything the stages need, in counts, counts/s, volts and amperes.
#[derive(Debug, Clone, Copy)]
pub(super) struct LearnPlan {
    pub(super) order: LearnOrder,
    pub(super) actuator: ActuatorSettings,
    pub(super) learn: LearnSettings,
    pub(super) travel: f32,
    pub(super) closed: Expected,
    pub(super) open: Expected,
    pub(super) motion: f32,
    pub(super) wrong_way: f32,
    /// Speed near a stop, counts/s.
    pub(super) soft_speed: f32,
    pub(super) settled_range: f32,
    pub(super) trim_limit: f32,
    pub(super) trim_gain: f32,
    pub(super) standing_band: f32,
    pub(super) contact_ticks: u16,
}

impl LearnPlan {
    pub(super) fn new(settings: &Settings, order: LearnOrder) -> Self {
        let travel = settings.actuator.nominal_span_counts;
        let motion = &settings.learn.motion;
        let trim_limit = motion.approach_current.0 * settings.actuator.winding_resistance_ohm;
        let standing = larger(STANDING_SHARE * settings.learn.limits.rest_noise, STANDING_BAND);
        let contact_s = CONTACT_BANDS * standing / motion.approach_speed;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at most 2 × 0.01 / 0.02 s
        let contact_ticks = larger(contact_s * TICKS_PER_S, CONTACT_TICKS) as u16;
        Self {
            order,
            actuator: settings.actuator,
            learn: settings.learn,
            travel,
            closed: expected(settings, &order, Stop::Closed),
            open: expected(settings, &order, Stop::Open),
            motion: MOTION * travel,
            wrong_way: WRONG_WAY * travel,
            soft_speed: motion.approach_speed * travel,
            settled_range: SETTLED_SHARE * settings.learn.limits.rest_noise * travel,
            trim_limit,
            trim_gain: larger(TRIM_SHARE * trim_limit / travel, settings.actuator.back_emf_v_per_count_per_s),
            standing_band: standing * travel,
            contact_ticks,
        }
    }

    pub(super) fn legs(&self) -> &'static [Leg] {
        match self.order.kind {
            LearnKind::Full => &FULL,
            LearnKind::Relearn { .. } => &RELEARN,
        }
    }

    pub(super) fn leg(&self, number: usize) -> Option<Leg> {
        self.legs().get(number).copied()
    }

    pub(super) fn expected(&self, stop: Stop) -> &Expected {
        match stop {
            Stop::Closed => &self.closed,
            Stop::Open => &self.open,
        }
    }

    /// Speed toward a stop at a progress, counts/s: brisk in the middle, soft near the stop.
    pub(super) fn speed_at(&self, expected: &Expected, progress: f32) -> f32 {
        let motion = &self.learn.motion;
        let brisk = match self.order.kind {
            LearnKind::Full => motion.traverse_speed,
            LearnKind::Relearn { .. } => motion.relearn_speed,
        };
        if progress < expected.soft_from { brisk * self.travel } else { self.soft_speed }
    }

    /// Ticks without speed after which the drive is given up: as long as the trim takes, and twice as long at half the
    /// speed.
    pub(super) fn stall_ticks(&self) -> u16 {
        let wind_up_s = WOUND_UP * self.trim_limit / (TRIM_RATE * self.trim_gain * self.soft_speed);
        let least_s = STALL_S * self.learn.motion.approach_speed * self.travel / self.soft_speed;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 1.2 s to 63 s
        let ticks = (larger(wind_up_s, least_s) * TICKS_PER_S) as u16;
        ticks
    }

    /// Halves the speed near a stop: the hit winds it up half as far.
    pub(super) fn go_gentler(&mut self) {
        self.soft_speed /= 2.0;
        self.contact_ticks = self.contact_ticks.saturating_mul(2);
    }

    /// The push that the drive may give at most, A.
    pub(super) fn capped(&self, push: f32) -> f32 {
        if push > self.actuator.max_current.0 { self.actuator.max_current.0 } else { push }
    }

    pub(super) fn previous(&self) -> Option<&Calibration> {
        match &self.order.kind {
            LearnKind::Full => None,
            LearnKind::Relearn { previous } => Some(previous),
        }
    }
}

fn expected(settings: &Settings, order: &LearnOrder, stop: Stop) -> Expected {
    let axis = Signs::new(stop, &settings.actuator);
    let travel = settings.actuator.nominal_span_counts;
    let windows = settings.learn.windows.of(order.setup, order.warmth);
    let window = match stop {
        Stop::Closed => windows.closed,
        Stop::Open => windows.open,
    };
    let (near, far) = edges(axis, &window);
    let surely_free = match &order.kind {
        LearnKind::Full => near,
        LearnKind::Relearn { previous } => {
            let last = axis.progress(stop.of(previous).zero_push_counts);
            // Kept under other settings, it may lie past today's window: then it tells nothing.
            if last <= far { last - settings.learn.limits.relearn_window * travel } else { near }
        }
    };
    Expected {
        axis,
        window,
        soft_from: surely_free - settings.learn.motion.soft_zone * travel,
        obstructed_before: near - OBSTRUCTED_BEFORE * travel,
        missing_after: far + MISSING_AFTER * travel,
    }
}

/// Near and far edge of a window in progress toward its stop.
fn edges(axis: Signs, window: &StopWindow) -> (f32, f32) {
    let (one, other) = (axis.progress(window.min.as_f32()), axis.progress(window.max.as_f32()));
    if one < other { (one, other) } else { (other, one) }
}
