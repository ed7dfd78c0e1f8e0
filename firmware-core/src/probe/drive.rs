//! The volts of a segment that goes on: up along a line, no more current than the cap, no faster than the limit.
//!
//! The volts of a tick are bounded, so that a current on its way up is seen before it is over its cap. The speed is held
//! by proportion and integral, both in shares of the largest volts seen so far: those are what friction and spring take,
//! and the only scale that an unknown actuator offers.

use super::Probe;
use crate::command::Command;
use crate::sample::Sample;
use crate::units::{Duty, TICK_SECONDS, larger, smaller};

/// Volts that go back in a tick for each ampere over the cap, as a share of what the winding seems to take for one: a
/// tenth settles within a few ticks whatever the winding's own lag.
const CURRENT_GAIN: f32 = 0.1;
/// Least and most that a winding may seem to take, Ω: the quotient of two small readings is noise.
const SEEMING_OHM: [f32; 2] = [0.3, 10.0];
/// Over this share of the cap the volts fall at once to what would make the cap.
const CUT_FROM: f32 = 1.02;
/// From this share on they fall to what the winding takes for the cap, if that is less.
const MET_A_STOP: f32 = 1.1;
/// What both leave to noise, A: looking ahead makes of a reading's noise five times as much ...
const CUT_NOISE_A: f32 = 0.03;
/// ... at most this share of the cap.
const CUT_NOISE_SHARE: f32 = 0.06;
/// Ticks ahead that the current is looked for.
const LOOK_AHEAD: f32 = 2.0;
/// Share of the speed limit over which the rise slows down.
pub(super) const SPEED_BAND: f32 = 0.25;
/// How much faster the volts fall at too high a speed than they rise.
const BRAKE: f32 = 2.0;
/// Current that the volts may make of a lever that stops dead, as a share of the cap.
const DEAD_STOP: f32 = 1.08;
/// From this share of the speed limit on the volts give way at once ...
const GIVES_WAY_FROM: f32 = 0.85;
/// ... by this share of the largest volts, for as much again as the limit ...
const GIVES_WAY: f32 = 0.15;
/// ... and at most by this share: a lever torn loose stops by its friction then, and does not swing.
const GIVES_WAY_MOST: f32 = 0.5;
/// This share of them goes for good in a second at twice the limit.
const GOES_BACK_PER_S: f32 = 1.0;
/// Duty of the brake: far below what overcomes any friction, and not 0, at which a bridge lets the motor coast.
pub(super) const BRAKE_DUTY: f32 = 0.005;

/// Volts along the drive.
#[derive(Debug, Clone, Copy)]
pub(super) struct ProbeDrive {
    /// Aimed at, A.
    cap: f32,
    pub(super) volts: f32,
    /// Largest of them.
    pub(super) most_seen: f32,
    /// Of the last tick, A.
    current: f32,
}

/// What a speed over its limit takes from the volts.
#[derive(Debug, Clone, Copy)]
pub(super) struct TooFast {
    /// From the volts of this tick.
    pub(super) at_once: f32,
    /// From those of all ticks to come.
    pub(super) for_good: f32,
}

impl ProbeDrive {
    pub(super) fn new(cap: f32) -> Self {
        Self { cap, volts: 0.0, most_seen: 0.0, current: 0.0 }
    }

    pub(super) fn cap(&self) -> f32 {
        self.cap
    }

    pub(super) fn set_cap(&mut self, cap: f32) {
        self.cap = cap;
    }

    pub(super) fn is_at_most(&self, most: f32) -> bool {
        self.volts >= most
    }

    /// What a speed takes from the volts.
    pub(super) fn too_fast(&self, speed: f32, limit: f32) -> TooFast {
        let share = speed / limit;
        TooFast {
            at_once: self.most_seen
                * smaller(GIVES_WAY * larger(share - GIVES_WAY_FROM, 0.0), GIVES_WAY_MOST),
            for_good: GOES_BACK_PER_S * self.most_seen * larger(share - 1.0, 0.0) * TICK_SECONDS,
        }
    }
}

impl Probe {
    pub(super) fn drive(&mut self, sample: &Sample) -> Command {
        let goal = self.segment.volts.0;
        if goal == 0.0 {
            return Command::Release;
        }
        let along = libm::copysignf(1.0, goal);
        let current = along * sample.motor_current.0;
        let has_moved = self.lever.has_moved(&self.segment);
        if !has_moved || self.lever.along().is_some_and(|speed| speed >= 0.0) {
            self.winding.judge(self.drive.volts, current, self.segment.cap.0);
        }
        if !has_moved {
            self.winding.stands();
        }
        self.lever.learn_sense(&self.segment);
        // While nobody knows which way counts go, too fast is too fast either way, and no volts drive against it: the
        // bridge stays on, so that the motor brakes.
        let (speed, least) = match self.lever.along() {
            Some(speed) => (speed, -self.most_volts()),
            None => (self.lever.size(), BRAKE_DUTY * sample.supply.0),
        };
        let too_fast = self.drive.too_fast(speed, self.lever.limit());
        let step = self.step(current, speed, too_fast);
        let most = self.most_volts();
        let drive = &mut self.drive;
        drive.volts = larger(smaller(drive.volts + step, most), least);
        drive.most_seen = larger(drive.most_seen, libm::fabsf(drive.volts));
        drive.cut(current, self.winding.at_most());
        let given = larger(drive.volts - too_fast.at_once, least);
        Command::Duty(Duty::saturating(along * given / sample.supply.0, Duty::ZERO))
    }

    /// By how much the volts go on: along their line, no further than speed and current allow.
    fn step(&self, current: f32, speed: f32, too_fast: TooFast) -> f32 {
        let (up, limit) = (self.segment.volts_per_s * TICK_SECONDS, self.lever.limit());
        let by_speed =
            up * larger(smaller((limit - speed) / (SPEED_BAND * limit), 1.0), -BRAKE) - too_fast.for_good;
        let drive = &self.drive;
        let coming = current + LOOK_AHEAD * (current - drive.current);
        let seeming = smaller(larger(drive.volts / current, SEEMING_OHM[0]), SEEMING_OHM[1]);
        let by_current = CURRENT_GAIN * seeming * (drive.cap - coming);
        let step = smaller(smaller(up, by_speed), by_current);
        if current < 0.0 { larger(step, CURRENT_GAIN * seeming * (-drive.cap - coming)) } else { step }
    }

    /// Most volts: what was asked, and no more than makes the cap once the back-EMF is gone.
    pub(super) fn most_volts(&self) -> f32 {
        let later = self.segment.second_cap.unwrap_or(self.segment.cap).0;
        let ahead = smaller(self.drive.cap * self.winding.least(), later * self.winding.at_most());
        smaller(DEAD_STOP * ahead, libm::fabsf(self.segment.volts.0))
    }
}

impl ProbeDrive {
    /// Takes the volts back at once from a current that is over its cap or will be, and remembers the current. A winding
    /// takes no more than `ohm`: a current far over its cap is that of a lever that met its stop, and lost its back-EMF.
    fn cut(&mut self, current: f32, ohm: f32) {
        let over = larger(current, current + LOOK_AHEAD * (current - self.current));
        let noise = smaller(CUT_NOISE_A, CUT_NOISE_SHARE * self.cap);
        if over > CUT_FROM * self.cap + noise && self.volts > 0.0 {
            self.volts *= self.cap / over;
        }
        if over > MET_A_STOP * self.cap + noise {
            self.volts = smaller(self.volts, self.cap * ohm);
        }
        self.current = current;
    }
}
