//! Sound units for hours: how often the guard acts, or a fault is told, with nothing wrong.
//!
//! In: a campaign. Out: hours driven and alarms, with the exact Poisson bound of their rate.

use rayon::prelude::*;
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::run::{RUN_TICKS, drive_sound};
use super::{GuardCampaign, GuardCampaignError};
use plant::world::TICK_S;

/// Sound units over all kinds of drive, 0 to 3000 m, −20 to 45 °C, with and without speed sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoundHours {
    /// Hours driven.
    pub hours: f64,
    /// Runs in which a fault was told.
    pub faults: u32,
    /// Runs in which the guard left normal.
    pub acted: u32,
}

impl SoundHours {
    /// One-sided 95 % upper bound of the rate of runs with an alarm, per hour: exact, from the chi-squared
    /// distribution with 2 (k + 1) degrees of freedom.
    #[must_use]
    pub fn rate_below(&self, alarms: u32) -> f64 {
        const CONFIDENCE: f64 = 0.95;
        let freedom = 2.0 * (f64::from(alarms) + 1.0);
        ChiSquared::new(freedom).map_or(f64::INFINITY, |law| 0.5 * law.inverse_cdf(CONFIDENCE) / self.hours)
    }
}

/// Drives as many sound worlds as the campaign has.
///
/// # Errors
/// The first world that was refused or ran away.
pub fn sound_hours(campaign: &GuardCampaign) -> Result<SoundHours, GuardCampaignError> {
    let alarms: Vec<(bool, bool)> = (0..campaign.worlds)
        .into_par_iter()
        .map(|index| drive_sound(campaign, index).map(|watch| (watch.has_told_fault(), watch.has_acted())))
        .collect::<Result<_, _>>()?;
    let count = |which: fn(&(bool, bool)) -> bool| alarms.iter().filter(|world| which(world)).count() as u32;
    let hours = f64::from(campaign.worlds) * f64::from(RUN_TICKS) * TICK_S / 3600.0;
    Ok(SoundHours { hours, faults: count(|world| world.0), acted: count(|world| world.1) })
}
