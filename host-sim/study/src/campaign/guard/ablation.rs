//! Each of the guard's parameters crippled in turn, over the same worlds: what it is worth.
//!
//! In: a campaign. Out: one row per parameter with the endings that moved. A row that moves nothing is tried
//! again together with the parameter that covers for it.

use firmware_core::settings::{GuardSettings, Settings};
use firmware_core::units::{Kilopascal, Load, Rpm};
use rayon::prelude::*;

use super::ending::WorldEnding;
use super::fault::GuardFault;
use super::run::run_guarded;
use super::{GuardCampaign, GuardCampaignError};

/// What a crippled guard makes of the worlds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AblationRow {
    /// What was crippled, and how far.
    pub crippled: &'static str,
    /// TrueLimits kept with the guard acting.
    pub in_time: u32,
    /// A limit was passed although something was noticed.
    pub too_late: u32,
    /// A limit was passed and nothing was noticed.
    pub undetected: u32,
    /// Sound worlds in which the guard acted.
    pub sound_acted: u32,
}

/// A way to cripple the guard.
type Cripple = (&'static str, fn(&mut GuardSettings));

const CRIPPLES: [Cripple; 19] = [
    ("nothing: the settings as they are", |_| {}),
    ("boost_lag_margin 0", |guard| guard.limits.boost_lag_margin = Kilopascal(0.0)),
    ("turbo_speed_lag_margin 0", |guard| guard.limits.turbo_speed_lag_margin = Rpm(0.0)),
    ("exhaust_lag_margin 0", |guard| guard.limits.exhaust_lag_margin = Kilopascal(0.0)),
    ("boost_ratio 8: no level for thin air", |guard| guard.limits.boost_ratio = 8.0),
    ("boost_over_target 300", |guard| guard.limits.boost_over_target = Kilopascal(300.0)),
    ("speed_estimate_rpm 0: no estimate", |guard| guard.limits.speed_estimate_rpm = [0.0; 6]),
    ("debounce_ticks 200, reaction_ticks 201", |guard| {
        (guard.stages.debounce_ticks, guard.stages.reaction_ticks) = (200, 201);
    }),
    ("reaction_ticks 6: hardly any look-ahead", |guard| guard.stages.reaction_ticks = 6),
    ("ease_band 0.005", |guard| guard.stages.ease_band = 0.005),
    ("ease_rate_per_s 0.05", |guard| guard.stages.ease_rate_per_s = 0.05),
    ("release_ticks 10", |guard| guard.stages.release_ticks = 10),
    ("latch_ticks 60000", |guard| guard.stages.latch_ticks = 60_000),
    ("latch_trips 100", |guard| guard.stages.latch_trips = 100),
    ("open_travel_ticks 5000: late to see vanes that do not open", |guard| {
        guard.stages.open_travel_ticks = 5000;
    }),
    ("short_ticks 60000: no boost-short", |guard| guard.stages.short_ticks = 60_000),
    ("derate 0.9", |guard| guard.stages.derate = Load::saturating(0.9, Load::MIN)),
    ("smoke_limit 0.9", |guard| guard.stages.smoke_limit = Load::saturating(0.9, Load::MIN)),
    ("all three lag margins 0, reaction_ticks 6, ease_band 0.005", |guard| {
        (guard.limits.boost_lag_margin, guard.limits.exhaust_lag_margin) = (Kilopascal(0.0), Kilopascal(0.0));
        guard.limits.turbo_speed_lag_margin = Rpm(0.0);
        (guard.stages.reaction_ticks, guard.stages.ease_band) = (6, 0.005);
    }),
];

/// Runs the campaign's worlds once for each crippled guard.
///
/// # Errors
/// The first world that was refused or ran away.
pub fn ablation(campaign: &GuardCampaign) -> Result<Vec<AblationRow>, GuardCampaignError> {
    CRIPPLES.iter().map(|cripple| crippled(campaign, cripple)).collect()
}

fn crippled(
    campaign: &GuardCampaign,
    (crippled, change): &Cripple,
) -> Result<AblationRow, GuardCampaignError> {
    let mut settings: Settings = campaign.settings;
    change(&mut settings.guard);
    let endings: Vec<(bool, WorldEnding)> = (0..campaign.worlds)
        .into_par_iter()
        .map(|index| {
            let is_sound = (index as usize).is_multiple_of(GuardFault::ALL.len());
            run_guarded(campaign, &settings, index).map(|watch| (is_sound, watch.ending()))
        })
        .collect::<Result<_, _>>()?;
    let mut row = AblationRow { crippled, in_time: 0, too_late: 0, undetected: 0, sound_acted: 0 };
    for (is_sound, ending) in endings {
        match ending {
            WorldEnding::Quiet => {}
            WorldEnding::InTime => {
                row.in_time += 1;
                row.sound_acted += u32::from(is_sound);
            }
            WorldEnding::TooLate(_) => row.too_late += 1,
            WorldEnding::Undetected(_) => row.undetected += 1,
        }
    }
    Ok(row)
}
