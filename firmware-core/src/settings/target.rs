//! Where the vanes should stand for an engine speed and a load, and how boost error trims that.

use serde::{Deserialize, Serialize};

use super::{SettingError, check};
use crate::tables::{MAP_POINTS, Map};
use crate::units::{Kilopascal, Opening, Rpm, smaller};

/// Axes that every map shares.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct MapAxes {
    /// Engine speeds of the rows, rpm, rising, 100 to 20 000.
    pub engine_speed_rpm: [f32; MAP_POINTS],
    /// Loads of the columns, fraction of full fuelling, rising, 0 to 1.
    pub load: [f32; MAP_POINTS],
}

impl MapAxes {
    /// The defaults.
    pub const DEFAULT: Self = Self {
        engine_speed_rpm: [800.0, 1200.0, 1600.0, 2000.0, 2800.0, 3600.0],
        load: [0.0, 0.25, 0.45, 0.625, 0.8, 1.0],
    };
}

impl Default for MapAxes {
    fn default() -> Self {
        Self::DEFAULT
    }
}

/// A map of openings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(transparent)]
pub struct OpeningMap(pub Map<f32>);

/// How boost error moves the opening.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct TrimSettings {
    /// Opening for each kPa of boost error, 0 to 0.2. Default 0.0085: SIMC on the reduced air path at
    /// 2000 rpm (2.0 kPa for each 0.01 opening, time constant 0.66 s) with a closed-loop time of 0.33 s.
    pub gain_per_kpa: f32,
    /// Integral time, s, 0.02 to 60. Default 0.66, the plant's time constant.
    pub integral_time_s: f32,
    /// Derivative time, s, 0 to 5. Default 0.
    pub derivative_time_s: f32,
    /// Time constant of the boost reading's filter, s, 0 to 0.5. Default 0.02; more wears the vanes less
    /// and corrects later.
    pub filter_s: f32,
    /// Boost error within which the integral stands, kPa, 0 to 20. Default 0.7; the vanes then come to rest.
    pub still_kpa: f32,
    /// Largest trim either way, opening, 0 to 1. Default 0.3; more corrects more and trusts the sensor more.
    pub authority: f32,
    /// Gain factor at each engine speed of the map, 0 to 4: the plant's gain grows with flow.
    pub gain_factor: [f32; MAP_POINTS],
}

impl TrimSettings {
    /// The defaults.
    pub const DEFAULT: Self = Self {
        gain_per_kpa: 0.0085,
        integral_time_s: 0.66,
        derivative_time_s: 0.0,
        filter_s: 0.02,
        still_kpa: 0.7,
        authority: 0.3,
        gain_factor: [1.6, 1.5, 1.2, 1.0, 0.75, 0.65],
    };
}

impl Default for TrimSettings {
    fn default() -> Self {
        Self::DEFAULT
    }
}

/// What the modes other than boost control do, and how the boost target is shaped.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct ModeSettings {
    /// Least opening in limp mode, 0 to 1. Default 0.6.
    pub limp_opening: Opening,
    /// Opening of the exhaust brake, 0 to 1. Default 0.15.
    pub brake_opening: Opening,
    /// Least opening of the exhaust brake without an exhaust pressure sensor, 0 to 1. Default 0.3.
    pub brake_opening_unmeasured: Opening,
    /// Exhaust pressure that the brake holds, kPa, 110 to 1000. Default 350.
    pub brake_exhaust: Kilopascal,
    /// Opening for each kPa over that, 0 to 0.1. Default 0.01.
    pub brake_gain_per_kpa: f32,
    /// Engine speed above which the brake opens the vanes, rpm, 500 to 20 000. Default 3800.
    pub brake_speed_max: Rpm,
    /// Fastest change of the boost target, kPa/s, 5 to 5000. Default 150.
    pub boost_target_rate_kpa_per_s: f32,
    /// How far thin air lowers the boost target, 0 (same boost, faster turbo) to 1 (same pressure ratio).
    /// Default 0.8.
    pub barometer_share: f32,
    /// Largest boost target over the barometer, 1 to 6. Default 2.25; thin air lowers the target, so
    /// that the turbo does not run faster to make up for it.
    pub boost_target_ratio_max: f32,
}

impl ModeSettings {
    /// The defaults.
    pub const DEFAULT: Self = Self {
        limp_opening: Opening::saturating(0.6, Opening::OPEN),
        brake_opening: Opening::saturating(0.15, Opening::OPEN),
        brake_opening_unmeasured: Opening::saturating(0.3, Opening::OPEN),
        brake_exhaust: Kilopascal(350.0),
        brake_gain_per_kpa: 0.01,
        brake_speed_max: Rpm(3800.0),
        boost_target_rate_kpa_per_s: 150.0,
        barometer_share: 0.8,
        boost_target_ratio_max: 2.25,
    };
}

impl Default for ModeSettings {
    fn default() -> Self {
        Self::DEFAULT
    }
}

/// Everything between the engine's demand and the wanted opening.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct TargetSettings {
    /// Axes of both maps.
    pub axes: MapAxes,
    /// Opening for engine speed and load before any trim, 0 to 1.
    pub feed_forward: OpeningMap,
    /// Least opening for engine speed and load, 0 to 1: below it closing further *loses* boost.
    pub minimum_opening: OpeningMap,
    /// Trim on boost error.
    pub trim: TrimSettings,
    /// Modes and boost target.
    pub modes: ModeSettings,
}

impl TargetSettings {
    /// The defaults.
    pub const DEFAULT: Self = Self {
        axes: MapAxes::DEFAULT,
        // From the steady states of the invented bench engine A.
        feed_forward: OpeningMap([
            [0.35, 0.32, 0.28, 0.27, 0.30, 0.33],
            [0.32, 0.30, 0.27, 0.26, 0.30, 0.35],
            [0.32, 0.30, 0.29, 0.30, 0.33, 0.36],
            [0.38, 0.36, 0.36, 0.38, 0.40, 0.43],
            [0.50, 0.50, 0.53, 0.58, 0.61, 0.64],
            [0.60, 0.62, 0.68, 0.75, 0.79, 0.83],
        ]),
        minimum_opening: OpeningMap([
            [0.06, 0.06, 0.07, 0.08, 0.09, 0.09],
            [0.07, 0.07, 0.08, 0.08, 0.09, 0.10],
            [0.08, 0.09, 0.10, 0.11, 0.12, 0.13],
            [0.09, 0.10, 0.11, 0.13, 0.15, 0.17],
            [0.12, 0.13, 0.15, 0.18, 0.22, 0.26],
            [0.14, 0.15, 0.18, 0.22, 0.30, 0.38],
        ]),
        trim: TrimSettings::DEFAULT,
        modes: ModeSettings::DEFAULT,
    };
}

impl Default for TargetSettings {
    fn default() -> Self {
        Self::DEFAULT
    }
}

impl MapAxes {
    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        rising("target.axes.engine_speed_rpm", &self.engine_speed_rpm, 100.0, 20_000.0, 1.0)?;
        rising("target.axes.load", &self.load, 0.0, 1.0, 0.001)
    }
}

/// Refuses an axis that leaves its range or does not rise by at least `gap` from point to point.
#[inline]
fn rising(field: &'static str, axis: &[f32], min: f32, max: f32, gap: f32) -> Result<(), SettingError> {
    let mut lowest = min;
    for &point in axis {
        check(field, point, lowest, max)?;
        lowest = point + gap;
    }
    Ok(())
}

impl OpeningMap {
    #[inline]
    pub(super) fn validate(&self, field: &'static str) -> Result<(), SettingError> {
        self.0.iter().flatten().try_for_each(|&opening| check(field, opening, 0.0, 1.0))
    }
}

impl TrimSettings {
    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        check("target.trim.gain_per_kpa", self.gain_per_kpa, 0.0, 0.2)?;
        check("target.trim.integral_time_s", self.integral_time_s, 0.02, 60.0)?;
        check("target.trim.derivative_time_s", self.derivative_time_s, 0.0, 5.0)?;
        check("target.trim.filter_s", self.filter_s, 0.0, 0.5)?;
        check("target.trim.still_kpa", self.still_kpa, 0.0, 20.0)?;
        check("target.trim.authority", self.authority, 0.0, 1.0)?;
        self.gain_factor.iter().try_for_each(|&factor| check("target.trim.gain_factor", factor, 0.0, 4.0))
    }
}

/// Air pressure at sea level, kPa (ISO 2533).
const STANDARD_AIR_KPA: f32 = 101.325;

impl ModeSettings {
    /// The boost target that is controlled to when this one is asked for in air of this pressure.
    #[must_use]
    pub fn boost_target_at(&self, asked: Kilopascal, barometer: Kilopascal) -> Kilopascal {
        let allowed = self.boost_target_ratio_max * barometer.0;
        let thinness = 1.0 - barometer.0 / STANDARD_AIR_KPA;
        let corrected = asked.0 * (1.0 - self.barometer_share * thinness);
        Kilopascal(smaller(corrected, allowed))
    }

    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        check("target.modes.brake_exhaust", self.brake_exhaust.0, 110.0, 1000.0)?;
        check("target.modes.brake_gain_per_kpa", self.brake_gain_per_kpa, 0.0, 0.1)?;
        check("target.modes.brake_speed_max", self.brake_speed_max.0, 500.0, 20_000.0)?;
        check("target.modes.boost_target_rate_kpa_per_s", self.boost_target_rate_kpa_per_s, 5.0, 5000.0)?;
        check("target.modes.barometer_share", self.barometer_share, 0.0, 1.0)?;
        check("target.modes.boost_target_ratio_max", self.boost_target_ratio_max, 1.0, 6.0)
    }
}

impl TargetSettings {
    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        self.axes.validate()?;
        self.feed_forward.validate("target.feed_forward")?;
        self.minimum_opening.validate("target.minimum_opening")?;
        self.trim.validate()?;
        self.modes.validate()
    }
}
