//! Where the vanes should stand for an engine speed and a load, and how boost error trims that.

use serde::{Deserialize, Serialize};

use super::table::{AllowedRange, OnWire, WireField, section};
use crate::tables::{MAP_POINTS, Map};
use crate::units::{Kilopascal, Opening, Rpm, smaller};

section! {
    /// Axes that every map shares.
    pub struct MapAxes {
        /// Engine speeds of the rows, rpm, rising.
        engine_speed_rpm: [f32; MAP_POINTS] = [800.0, 1200.0, 1600.0, 2000.0, 2800.0, 3600.0], from 100.0, to 20_000.0, rising by 1000 thousandths;
        /// Loads of the columns, fraction of full fuelling, rising.
        load: [f32; MAP_POINTS] = [0.0, 0.25, 0.45, 0.625, 0.8, 1.0], from 0.0, to 1.0, rising by 1 thousandths;
    }
}

/// A map of openings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(transparent)]
pub struct OpeningMap(pub Map<f32>);

section! {
    /// How boost error moves the opening.
    pub struct TrimSettings {
        /// Opening for each kPa of boost error: SIMC on the reduced air path at 2000 rpm (2.0 kPa for each
        /// 0.01 opening, time constant 0.66 s) with a closed-loop time of 0.33 s.
        gain_per_kpa: f32 = 0.0085, from 0.0, to 0.2;
        /// Integral time, s, the plant's time constant.
        integral_time_s: f32 = 0.66, from 0.02, to 60.0;
        /// Derivative time, s.
        derivative_time_s: f32 = 0.0, from 0.0, to 5.0;
        /// Time constant of the boost reading's filter, s; more wears the vanes less and corrects later.
        filter_s: f32 = 0.02, from 0.0, to 0.5;
        /// Boost error within which the integral stands, kPa; the vanes then come to rest.
        still_kpa: f32 = 0.7, from 0.0, to 20.0;
        /// Largest trim either way, opening; more corrects more and trusts the sensor more.
        authority: f32 = 0.3, from 0.0, to 1.0;
        /// Gain factor at each engine speed of the map: the plant's gain grows with flow.
        gain_factor: [f32; MAP_POINTS] = [1.6, 1.5, 1.2, 1.0, 0.75, 0.65], from 0.0, to 4.0;
        /// Largest trim toward closed without a turbo speed sensor, opening, where `authority` allows it: nothing shows boost
        /// that reads low then, and the vanes close until it is satisfied.
        unseen_authority: f32 = 0.1, from 0.0, to 1.0;
    }
}

/// How boost error becomes an opening.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum LawName {
    /// The feed-forward map with a trim whose gain follows engine speed.
    MapTrim,
    /// One gain everywhere, from the least opening up, without feed-forward.
    FixedGain,
    /// Feed-forward from a model of the engine at rest, with the same trim.
    ModelTrim,
}

impl LawName {
    /// All of them, the default first.
    pub const ALL: [Self; 3] = [Self::MapTrim, Self::FixedGain, Self::ModelTrim];

    /// As it stands in a controller file.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::MapTrim => "map-trim",
            Self::FixedGain => "fixed-gain",
            Self::ModelTrim => "model-trim",
        }
    }
}

section! {
    /// Gains of the law `fixed-gain`.
    pub struct FixedGainSettings {
        /// Opening for each kPa of boost error: the trim's default gain times the smallest of its gain factors, so that
        /// no engine speed sees a sharper loop than under the trim.
        gain_per_kpa: f32 = 0.0055, from 0.0, to 0.2;
        /// Integral time, s, the trim's.
        integral_time_s: f32 = 0.66, from 0.02, to 60.0;
    }
}

section! {
    /// The engine at rest as the law `model-trim` knows it. The defaults are those of the invented bench engine A.
    pub struct ModelSettings as it {
        /// Displacement, litres.
        displacement_l: f32 = 2.2, from 0.1, to 50.0;
        /// Volumetric efficiency.
        volumetric: f32 = 0.94, from 0.3, to 1.2;
        /// Temperature in the intake, K.
        intake_k: f32 = 320.0, from 230.0, to 450.0;
        /// Fuel at full load, mg for each revolution of the engine: two strokes of 40 mg.
        fuel_mg_per_rev: f32 = 80.0, from 1.0, to 5000.0;
        /// Warming of the exhaust for each kg of fuel in a kg of exhaust, K: the share of heat that leaves with it,
        /// 0.38, of 42.9 MJ/kg, over 1149 J/(kg K).
        warming_k: f32 = 14_188.0, from 1000.0, to 40_000.0;
        /// Efficiency of turbine and compressor together: 0.70 times 0.71.
        efficiency: f32 = 0.5, from 0.1, to 0.9;
        /// Nozzle area with the vanes closed, mm².
        closed_mm2: f32 = 85.0, from 1.0, to 20_000.0;
        /// Nozzle area with the vanes open, mm².
        open_mm2: f32 = 420.0, from it.closed_mm2 + 1.0, to 40_000.0;
        /// Exponent of area over opening.
        area_exponent: f32 = 1.2, from 0.3, to 3.0;
    }
}

section! {
    /// What the modes other than boost control do, and how the boost target is shaped.
    pub struct ModeSettings {
        /// Least opening in limp mode.
        limp_opening: Opening = Opening::saturating(0.6, Opening::OPEN), from 0.0, to 1.0;
        /// Opening of the exhaust brake.
        brake_opening: Opening = Opening::saturating(0.15, Opening::OPEN), from 0.0, to 1.0;
        /// Least opening of the exhaust brake without an exhaust pressure sensor.
        brake_opening_unmeasured: Opening = Opening::saturating(0.3, Opening::OPEN), from 0.0, to 1.0;
        /// Exhaust pressure that the brake holds, kPa.
        brake_exhaust: Kilopascal = Kilopascal(350.0), from 110.0, to 1000.0;
        /// Opening for each kPa over that.
        brake_gain_per_kpa: f32 = 0.01, from 0.0, to 0.1;
        /// Engine speed above which the brake opens the vanes, rpm.
        brake_speed_max: Rpm = Rpm(3800.0), from 500.0, to 20_000.0;
        /// Fastest change of the boost target, kPa/s.
        boost_target_rate_kpa_per_s: f32 = 150.0, from 5.0, to 5000.0;
        /// How far thin air lowers the boost target, 0 (same boost, faster turbo) to 1 (same pressure ratio).
        barometer_share: f32 = 0.8, from 0.0, to 1.0;
        /// Largest boost target over the barometer; thin air lowers the target, so that the turbo does not
        /// run faster to make up for it.
        boost_target_ratio_max: f32 = 2.25, from 1.0, to 6.0;
        /// Exhaust pressure above which the least opening in boost control is raised, kPa: well below the guard's.
        exhaust_soft: Kilopascal = Kilopascal(400.0), from 110.0, to 2000.0;
        /// By how much for each kPa over that, or over what `pumping_soft` allows.
        exhaust_soft_per_kpa: f32 = 0.002, from 0.0, to 0.1;
        /// Exhaust pressure over boost above which it is raised too, kPa: what the pistons pump against. The built-in
        /// scenarios reach 100.
        pumping_soft: Kilopascal = Kilopascal(150.0), from 10.0, to 2000.0;
    }
}

/// Everything between the engine's demand and the wanted opening.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
#[repr(C)] // as for all settings
pub struct TargetSettings {
    /// The law of boost control.
    pub law: LawName,
    /// Axes of both maps.
    pub axes: MapAxes,
    /// Opening for engine speed and load before any trim, 0 to 1.
    pub feed_forward: OpeningMap,
    /// Least opening for engine speed and load, 0 to 1: below it closing further *loses* boost.
    pub minimum_opening: OpeningMap,
    /// Trim on boost error.
    pub trim: TrimSettings,
    /// Gains of the law `fixed-gain`.
    pub fixed_gain: FixedGainSettings,
    /// Engine of the law `model-trim`.
    pub model: ModelSettings,
    /// Modes and boost target.
    pub modes: ModeSettings,
}

impl TargetSettings {
    /// The defaults.
    pub const DEFAULT: Self = Self {
        law: LawName::MapTrim,
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
        fixed_gain: FixedGainSettings::DEFAULT,
        model: ModelSettings::DEFAULT,
        modes: ModeSettings::DEFAULT,
    };
}

impl TargetSettings {
    /// True when the choice of law and what only one law uses are the same.
    #[inline(never)] // inside the check of memory it costs every tick some instructions
    pub(super) fn has_same_laws(&self, other: &Self) -> bool {
        self.law == other.law && self.fixed_gain == other.fixed_gain && self.model == other.model
    }
}

impl Default for TargetSettings {
    fn default() -> Self {
        Self::DEFAULT
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
}
