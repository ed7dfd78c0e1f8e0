//! A controller's settings for the new nozzle.
//!
//! In: the settings made for the old nozzle and the match. Out: settings in which every opening keeps its
//! area, and every gain or rate in openings is multiplied by (dA/du) old over new. What protects the engine
//! is never made slower. Refuses, by the settings' own check, results outside their ranges.

use firmware_core::settings::{SettingError, Settings};
use firmware_core::tables::MAP_POINTS;
use firmware_core::units::Opening;
use serde::Serialize;

use super::limits::CarriedLimits;
use super::opening_map::OpeningMatch;

/// Largest gain factor that the settings take.
const GAIN_FACTOR_MAX: f64 = 4.0;

/// One changed setting, for tables.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct ChangedSetting {
    /// Path of the setting.
    pub field: String,
    /// Before.
    pub old: f64,
    /// After.
    pub new: f64,
}

/// Settings for the new nozzle, with what changed (maps are left to the table of openings).
#[derive(Debug, Clone, PartialEq)]
pub struct Remapped {
    /// The settings.
    pub settings: Settings,
    /// Single values that changed.
    pub changes: Vec<ChangedSetting>,
}

/// Maps every entry of any table of openings.
pub(crate) fn remap_openings(found: &OpeningMatch, openings: &mut [f32]) {
    for opening in openings {
        // Openings are stored as f32: the map is worked out in double and rounded once.
        *opening = found.opening(f64::from(*opening)) as f32;
    }
}

/// Carries a controller's settings over to the new nozzle.
///
/// # Errors
/// A resulting value outside its range, with its name.
pub fn remap_settings(
    found: &OpeningMatch,
    limits: &CarriedLimits,
    old: &Settings,
) -> Result<Remapped, SettingError> {
    let mut settings = *old;
    limits.apply(&mut settings);
    let rows = row_ratios(found, old);
    let mean = rows.iter().sum::<f64>() / rows.len() as f64;
    let target = &mut settings.target;
    remap_openings(found, target.feed_forward.0.as_flattened_mut());
    remap_openings(found, target.minimum_opening.0.as_flattened_mut());
    for (factor, ratio) in target.trim.gain_factor.iter_mut().zip(rows) {
        *factor = (f64::from(*factor) * ratio).min(GAIN_FACTOR_MAX) as f32;
    }
    let modes = &mut target.modes;
    modes.brake_gain_per_kpa = scaled(modes.brake_gain_per_kpa, ratio_at(found, modes.brake_opening));
    modes.brake_opening = mapped(found, modes.brake_opening);
    modes.brake_opening_unmeasured = mapped(found, modes.brake_opening_unmeasured);
    modes.limp_opening = mapped(found, modes.limp_opening);
    target.trim.authority = scaled(target.trim.authority, mean).min(1.0);
    settings.slew.normal_per_s = scaled(settings.slew.normal_per_s, mean);
    let protective = scaled(settings.slew.protective_per_s, mean.max(1.0));
    settings.slew.protective_per_s = protective.max(settings.slew.normal_per_s);
    let stages = &mut settings.guard.stages;
    stages.ease_rate_per_s = scaled(stages.ease_rate_per_s, mean.max(1.0));
    stages.short_opening = mapped(found, stages.short_opening);
    settings.validate()?;
    Ok(Remapped { changes: changes(old, &settings), settings })
}

/// Mean slope ratio over each speed row of the feed-forward map.
fn row_ratios(found: &OpeningMatch, settings: &Settings) -> [f64; MAP_POINTS] {
    settings.target.feed_forward.0.map(|row| {
        row.iter().map(|&opening| found.slope_ratio(f64::from(opening))).sum::<f64>() / MAP_POINTS as f64
    })
}

fn ratio_at(found: &OpeningMatch, opening: Opening) -> f64 {
    found.slope_ratio(f64::from(opening.get()))
}

fn mapped(found: &OpeningMatch, opening: Opening) -> Opening {
    Opening::saturating(found.opening(f64::from(opening.get())) as f32, opening)
}

fn scaled(value: f32, ratio: f64) -> f32 {
    (f64::from(value) * ratio) as f32
}

fn changes(old: &Settings, new: &Settings) -> Vec<ChangedSetting> {
    let pick = |s: &Settings| {
        let (modes, trim, stages) = (s.target.modes, s.target.trim, s.guard.stages);
        let mut values = vec![
            ("target.trim.authority".to_owned(), trim.authority),
            ("target.modes.limp_opening".to_owned(), modes.limp_opening.get()),
            ("target.modes.brake_opening".to_owned(), modes.brake_opening.get()),
            ("target.modes.brake_opening_unmeasured".to_owned(), modes.brake_opening_unmeasured.get()),
            ("target.modes.brake_gain_per_kpa".to_owned(), modes.brake_gain_per_kpa),
            ("slew.normal_per_s".to_owned(), s.slew.normal_per_s),
            ("slew.protective_per_s".to_owned(), s.slew.protective_per_s),
            ("guard.stages.ease_rate_per_s".to_owned(), stages.ease_rate_per_s),
            ("guard.stages.short_opening".to_owned(), stages.short_opening.get()),
        ];
        let limits = s.guard.limits;
        values.extend([
            ("guard.limits.boost".to_owned(), limits.boost.0),
            ("guard.limits.boost_lag_margin".to_owned(), limits.boost_lag_margin.0),
            ("guard.limits.turbo_speed".to_owned(), limits.turbo_speed.0),
            ("guard.limits.turbo_speed_lag_margin".to_owned(), limits.turbo_speed_lag_margin.0),
            ("plausibility.turbo_speed_max".to_owned(), s.plausibility.turbo_speed_max.0),
        ]);
        for (at, rpm) in limits.speed_estimate_rpm.iter().enumerate() {
            values.push((format!("guard.limits.speed_estimate_rpm[{at}]"), *rpm));
        }
        for (row, factor) in trim.gain_factor.iter().enumerate() {
            values.push((format!("target.trim.gain_factor[{row}]"), *factor));
        }
        values
    };
    pick(old)
        .into_iter()
        .zip(pick(new))
        .filter(|((_, before), (_, after))| before != after)
        .map(|((field, old), (_, new))| ChangedSetting { field, old: f64::from(old), new: f64::from(new) })
        .collect()
}
