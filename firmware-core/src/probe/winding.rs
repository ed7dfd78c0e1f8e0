//! What volts the winding takes for an ampere, so that no more are given than the lever could stop dead under.

use crate::units::{larger, smaller};

/// Share of the cap from which volts over current is taken for the winding's, and how fast the quotient follows.
const JUDGED_FROM: f32 = 0.25;
/// Least current for that, A: offset and noise of a reading are far below it.
const JUDGED_FROM_A: f32 = 0.06;
const QUOTIENT_STEP: f32 = 0.1;
/// Ticks of that before it is believed.
const JUDGED_TICKS: u8 = 12;

/// Volts for an ampere.
#[derive(Debug, Clone, Copy)]
pub(super) struct ProbedWinding {
    /// Followed, Ω; 0 until seen.
    quotient: f32,
    judged: u8,
    /// The least of it, Ω, whether the lever stood or moved: motion makes it larger.
    at_most: f32,
    /// The least of it while the lever stood, Ω.
    least: f32,
}

impl ProbedWinding {
    pub(super) const fn new() -> Self {
        Self { quotient: 0.0, judged: 0, at_most: f32::INFINITY, least: f32::INFINITY }
    }

    /// Takes in a tick of a lever that is not driven back: its back-EMF only makes the winding seem larger.
    pub(super) fn judge(&mut self, volts: f32, current: f32, cap: f32) {
        if current > larger(JUDGED_FROM * cap, JUDGED_FROM_A) && volts > 0.0 {
            let seen = volts / current;
            let before = if self.quotient > 0.0 { self.quotient } else { seen };
            self.quotient = before + QUOTIENT_STEP * (seen - before);
            self.judged = self.judged.saturating_add(1);
            if self.judged >= JUDGED_TICKS {
                self.at_most = smaller(self.quotient, self.at_most);
            }
        }
    }

    /// The lever stands: it has no back-EMF, what the volts make is the winding's.
    pub(super) fn stands(&mut self) {
        self.least = self.at_most;
    }

    /// Ω; infinite until known.
    pub(super) fn least(&self) -> f32 {
        self.least
    }

    /// Ω, too large as long as the lever was never slow; infinite until seen.
    pub(super) fn at_most(&self) -> f32 {
        self.at_most
    }
}
