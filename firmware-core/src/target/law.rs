//! How boost error becomes an opening: one trait, and what every law is handed.
//!
//! A law says an opening without boost error ([`Law::forward`]) and a correction ([`Law::tick`]). The stage around it
//! shapes the target, filters boost, and holds the correction above the least opening, the soft limit of exhaust
//! pressure and the reversal of the gain. The guard comes behind and does not know which law runs.

use crate::plausibility::Air;
use crate::position::regulator::OutputRange;
use crate::settings::TargetSettings;

/// What boost control knows in a tick. All numbers are finite while the engine's demand is.
#[derive(Debug, Clone, Copy)]
pub struct Aim<'a> {
    /// Boost to reach now, kPa absolute: after the barometer and at the allowed rate.
    pub target: f32,
    /// Boost, kPa absolute, without the sensor's noise.
    pub boost: f32,
    /// The map's opening for this engine speed and load, 0 to 1, at least `minimum` without the soft limit.
    pub feed_forward: f32,
    /// Least opening now, 0 to 1: the map's, raised by doubt in the calibration and by the soft limit of exhaust
    /// pressure. The reversal may raise it further.
    pub minimum: f32,
    /// The trim's gain factor at this engine speed.
    pub gain_factor: f32,
    /// What the sensors say and the engine asks.
    pub air: &'a Air,
}

/// The opening that a law would hold without boost error, and how far boost error may move it.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Forward {
    /// Opening, 0 to 1. It must not follow boost: without a turbo speed sensor it bounds how far boost that reads low
    /// closes the vanes.
    pub opening: f32,
    /// Largest correction toward closed, at least 0. Without a turbo speed sensor at most `trim.unseen_authority` is
    /// granted.
    pub closes: f32,
    /// Largest correction toward open, at least 0.
    pub opens: f32,
}

/// A law of boost control.
///
/// In each tick of boost control [`Self::forward`] is asked first, [`Self::start`] follows in the first tick after
/// anything else had the vanes, and [`Self::tick`] comes last. A correction that is no number opens the vanes.
pub trait Law {
    /// The opening before boost error counts.
    fn forward(&mut self, settings: &TargetSettings, aim: &Aim<'_>) -> Forward;

    /// Boost control begins at this correction to [`Forward::opening`]: the next tick must not jump from it.
    fn start(&mut self, settings: &TargetSettings, aim: &Aim<'_>, correction: f32);

    /// The correction to [`Forward::opening`] in this tick; positive opens. What lies outside `range` is held to it,
    /// and the law must not wind up there.
    fn tick(&mut self, settings: &TargetSettings, aim: &Aim<'_>, range: OutputRange) -> f32;
}
