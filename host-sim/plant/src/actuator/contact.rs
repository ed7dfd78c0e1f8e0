//! One-sided contacts: end stops and things that stand in the way.
//!
//! In: angle and speed of a body. Out: the contact's share of the body's implicit update. A contact
//! pushes and never pulls, so it gives back at most what was put in.

use serde::{Deserialize, Serialize};

use crate::check::{BadParameter, above_zero, not_negative};

/// A stop as it stands in a file.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StopParams {
    /// Where contact begins, rad.
    pub angle_rad: f64,
    /// Contact stiffness, N m/rad; above 0.
    pub stiffness_nm_per_rad: f64,
    /// Contact damping, N m s/rad; 0 or more.
    pub damping_nm_s_per_rad: f64,
}

/// What has become of a stop. The numbers are invented.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum StopCondition {
    /// Something soft (soot) lies on it: a tenth of the stiffness, twice the damping.
    Soft,
    /// Worn: stands further out by so many radians, and yields more.
    Worn(f64),
    /// Indexed wrongly: stands at another angle by so many radians (positive raises θ).
    Shifted(f64),
}

impl StopParams {
    /// Stop of the invented bench actuator A.
    #[must_use]
    pub fn bench_a(angle_rad: f64) -> Self {
        Self { angle_rad, stiffness_nm_per_rad: 400.0, damping_nm_s_per_rad: 0.6 }
    }

    /// The same stop in another condition; `end` says which way is out.
    #[must_use]
    pub fn in_condition(mut self, condition: StopCondition, end: TravelEnd) -> Self {
        match condition {
            StopCondition::Soft => {
                self.stiffness_nm_per_rad *= 0.1;
                self.damping_nm_s_per_rad *= 2.0;
            }
            StopCondition::Worn(by_rad) => {
                self.angle_rad += end.sign() * by_rad;
                self.stiffness_nm_per_rad *= 0.6;
            }
            StopCondition::Shifted(by_rad) => self.angle_rad += by_rad,
        }
        self
    }

    fn validate(&self) -> Result<(), BadParameter> {
        if !self.angle_rad.is_finite() {
            return Err(BadParameter::new("angle_rad", self.angle_rad, "a finite angle in radians"));
        }
        above_zero("stiffness_nm_per_rad", self.stiffness_nm_per_rad)?;
        not_negative("damping_nm_s_per_rad", self.damping_nm_s_per_rad)
    }
}

/// Which end of the travel, by angle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TravelEnd {
    /// The end at the lower angle.
    Low,
    /// The end at the higher angle.
    High,
}

impl TravelEnd {
    /// +1 outward at the high end, −1 outward at the low end.
    #[must_use]
    pub fn sign(self) -> f64 {
        match self {
            Self::Low => -1.0,
            Self::High => 1.0,
        }
    }
}

/// Both stops of a body; either may be missing.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StopPair {
    /// Stop at the lower angle.
    pub low: Option<StopParams>,
    /// Stop at the higher angle.
    pub high: Option<StopParams>,
}

impl StopPair {
    /// The stop at one end.
    #[must_use]
    pub fn at(&self, end: TravelEnd) -> Option<&StopParams> {
        match end {
            TravelEnd::Low => self.low.as_ref(),
            TravelEnd::High => self.high.as_ref(),
        }
    }

    /// The stop at one end, to change or remove.
    pub fn at_mut(&mut self, end: TravelEnd) -> &mut Option<StopParams> {
        match end {
            TravelEnd::Low => &mut self.low,
            TravelEnd::High => &mut self.high,
        }
    }

    /// Checks both stops and that they leave travel between them.
    ///
    /// # Errors
    /// Names the field.
    pub fn validate(&self) -> Result<(), BadParameter> {
        for (name, stop) in [("low", &self.low), ("high", &self.high)] {
            stop.map_or(Ok(()), |stop| stop.validate().map_err(|e| e.within(name)))?;
        }
        match (self.low, self.high) {
            (Some(low), Some(high)) if high.angle_rad <= low.angle_rad => Err(BadParameter::new(
                "high.angle_rad",
                high.angle_rad,
                format!("above `low.angle_rad` ({})", low.angle_rad),
            )),
            _ => Ok(()),
        }
    }
}

/// Something in the way of the ring: it blocks motion outward from one side and lets the other side be.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Obstruction {
    /// The end that cannot be reached because of it.
    pub shuts_off: TravelEnd,
    /// The contact itself.
    pub stop: StopParams,
}

impl Obstruction {
    /// Checks the contact's numbers.
    ///
    /// # Errors
    /// Names the field.
    pub fn validate(&self) -> Result<(), BadParameter> {
        self.stop.validate().map_err(|e| e.within("stop"))
    }
}

/// A body's equation of motion over one step: speed = numerator / denominator.
#[derive(Debug, Clone, Copy)]
pub(super) struct SpeedRow {
    pub numerator: f64,
    pub denominator: f64,
}

impl SpeedRow {
    #[inline]
    pub(super) fn speed(&self) -> f64 {
        self.numerator / self.denominator
    }
}

/// A contact in use: angle, which side it stands on, stiffness, damping.
#[derive(Debug, Clone, Copy, PartialEq)]
struct StopContact {
    outward: f64,
    stop: StopParams,
}

impl StopContact {
    /// Whether the body is past it now or at the end of a step at the guessed speed.
    #[inline]
    fn is_reached(&self, angle: f64, guess: f64, dt: f64) -> bool {
        let depth = self.outward * (angle - self.stop.angle_rad);
        depth > 0.0 || depth + self.outward * dt * guess > 0.0
    }

    #[inline]
    fn load(&self, row: SpeedRow, angle: f64, dt: f64) -> SpeedRow {
        let stiffness = self.stop.stiffness_nm_per_rad;
        SpeedRow {
            numerator: row.numerator - stiffness * (angle - self.stop.angle_rad),
            denominator: row.denominator + stiffness * dt + self.stop.damping_nm_s_per_rad,
        }
    }

    /// Whether it would push at the end of a step at this speed.
    #[inline]
    fn is_pushing(&self, angle: f64, speed: f64, dt: f64) -> bool {
        let depth = self.outward * (angle + dt * speed - self.stop.angle_rad);
        self.stop.stiffness_nm_per_rad * depth + self.stop.damping_nm_s_per_rad * self.outward * speed > 0.0
    }
}

/// Most contacts that one body can have: two stops and an obstruction.
const MOST: usize = 5;

/// All contacts of one body.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Contacts {
    list: [Option<StopContact>; MOST],
    free_from: f64,
    free_to: f64,
}

impl Contacts {
    pub(super) fn new(pairs: &[&StopPair], obstruction: Option<&Obstruction>) -> Self {
        let of = |end: TravelEnd, stop: StopParams| StopContact { outward: end.sign(), stop };
        let stops = pairs.iter().flat_map(|pair| {
            [pair.low.map(|stop| of(TravelEnd::Low, stop)), pair.high.map(|stop| of(TravelEnd::High, stop))]
        });
        let all = stops.flatten().chain(obstruction.map(|o| of(o.shuts_off, o.stop)));
        let mut contacts = Self { list: [None; MOST], free_from: f64::NEG_INFINITY, free_to: f64::INFINITY };
        for (slot, contact) in contacts.list.iter_mut().zip(all) {
            *slot = Some(contact);
            if contact.outward > 0.0 {
                contacts.free_to = contacts.free_to.min(contact.stop.angle_rad);
            } else {
                contacts.free_from = contacts.free_from.max(contact.stop.angle_rad);
            }
        }
        contacts
    }

    /// Angles between which nothing is touched, rad.
    pub(super) fn free_range(&self) -> (f64, f64) {
        (self.free_from, self.free_to)
    }

    /// Whether neither the present nor the guessed angle touches anything: the common case.
    #[inline]
    pub(super) fn is_clear(&self, angle: f64, guess: f64, dt: f64) -> bool {
        let next = angle + dt * guess;
        angle.min(next) >= self.free_from && angle.max(next) <= self.free_to
    }

    /// Adds to `row` every contact that is reached at the guessed speed and passes `keep`.
    #[inline]
    pub(super) fn load(
        &self,
        row: SpeedRow,
        angle: f64,
        guess: f64,
        dt: f64,
        pushing_at: Option<f64>,
    ) -> SpeedRow {
        let mut row = row;
        for contact in self.list.iter().flatten() {
            let pushes = pushing_at.is_none_or(|speed| contact.is_pushing(angle, speed, dt));
            if pushes && contact.is_reached(angle, guess, dt) {
                row = contact.load(row, angle, dt);
            }
        }
        row
    }

    /// Whether a reached contact would have to pull at this new speed.
    #[inline]
    pub(super) fn would_pull(&self, angle: f64, guess: f64, speed: f64, dt: f64) -> bool {
        self.list.iter().flatten().any(|c| c.is_reached(angle, guess, dt) && !c.is_pushing(angle, speed, dt))
    }
}

impl StopContact {
    /// Push against the body, N m, 0 or more.
    fn push(&self, angle: f64, speed: f64) -> f64 {
        let stop = &self.stop;
        let depth = self.outward * (angle - stop.angle_rad);
        if depth <= 0.0 {
            return 0.0;
        }
        (stop.stiffness_nm_per_rad * depth + stop.damping_nm_s_per_rad * self.outward * speed).max(0.0)
    }
}

impl Contacts {
    /// Torque on the body from all contacts, N m (negative at the high side).
    pub(super) fn torque(&self, angle: f64, speed: f64) -> f64 {
        self.list.iter().flatten().map(|c| -c.outward * c.push(angle, speed)).sum()
    }

    /// Energy stored in the contacts' stiffness, J.
    #[cfg(test)]
    pub(super) fn stored(&self, angle: f64) -> f64 {
        let energy = |c: &StopContact| {
            let depth = (c.outward * (angle - c.stop.angle_rad)).max(0.0);
            0.5 * c.stop.stiffness_nm_per_rad * depth * depth
        };
        self.list.iter().flatten().map(energy).sum()
    }
}
