//! The limits that go along with a swap: boost, turbo speed, exhaust pressure, and the table that estimates
//! turbo speed.
//!
//! In: both sheets, the limits that the old turbo's controller holds, what the user states. Out: the limits that
//! the new controller holds, who says so, and which of them a load step passes. A rule of thumb lowers a limit;
//! only a named source raises one. Refuses a stated boost above the old limit without a source.

use core::f64::consts::PI;

use firmware_core::settings::{GuardLimits, Settings};
use serde::Serialize;

use super::air::AirComparison;
use crate::sheet::WheelMaterial;
use crate::{Field, Material, PartsSheet, ValueOrigin, Wheel};

/// What the user states about the limits of the swap.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct StatedLimits {
    /// Boost that must not be passed, absolute kPa; none: what the controller holds.
    #[serde(rename = "boost_kpa_absolute")]
    pub boost_kpa: Option<f64>,
    /// Who allows that much: a data sheet, the engine maker's instructions.
    pub source: Option<String>,
    /// Hottest gas before the turbine, °C.
    pub turbine_inlet_c: f64,
}

/// What decides the turbo-speed limit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum SpeedLimitBy {
    /// The limit of the controller: no wheel of the new turbo lowers it.
    Controller,
    /// A wheel keeps the tip speed that the controller's limit allowed on the old turbo.
    TipSpeedKept {
        /// Which.
        wheel: Wheel,
    },
    /// The rule of thumb for a wheel's material.
    Material {
        /// Which wheel.
        wheel: Wheel,
    },
    /// The new sheet names a source.
    Source {
        /// Which.
        source: String,
    },
}

/// Limits for the new turbo's controller.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct CarriedLimits {
    /// What the user stated.
    pub stated: StatedLimits,
    /// Boost, absolute kPa.
    #[serde(rename = "boost_kpa_absolute")]
    pub boost_kpa: f64,
    /// Turbo speed, rpm: before and now.
    pub turbo_rpm: (f64, f64),
    /// What decided it.
    pub turbo_by: SpeedLimitBy,
    /// Exhaust pressure, absolute kPa: the engine's, kept.
    #[serde(rename = "exhaust_kpa_absolute")]
    pub exhaust_kpa: f64,
    /// Factor on the speed-estimate table: the same tip speed for the same pressure ratio.
    pub estimate_factor: f64,
    /// Factor on the margin for what the turbo still gains after a trip; never below 1.
    pub lag_factor: f64,
}

/// A stated boost limit that nobody answers for.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "boost limit {stated_kpa} kPa absolute is above the {held_kpa} kPa absolute that the controller holds; name who allows it \
     (--limit-source), or state a lower one"
)]
pub struct NobodyAllows {
    /// As stated, absolute kPa.
    pub stated_kpa: f64,
    /// What the controller holds, absolute kPa.
    pub held_kpa: f64,
}

/// Most that `guard.limits` takes, rpm.
const FASTEST_RPM: f64 = 500_000.0;
/// Room above the limit that a turbo-speed sensor's range needs at least; own choice.
const SENSOR_ROOM: f64 = 1.1;

/// Tip speed that a wheel of this material stands, m/s, with gas of `gas_c` °C before the turbine. Common
/// practice, no source: cast wheels, long life; heat counts on the turbine side from 750 °C on.
#[must_use]
pub fn usual_tip_speed_m_s(wheel: Wheel, material: Material, gas_c: f64) -> f64 {
    let hotter = (gas_c - 750.0).max(0.0);
    match (wheel, material) {
        (Wheel::Compressor, Material::Aluminium) => 500.0,
        (Wheel::Compressor, Material::Titanium) => 620.0,
        (Wheel::Compressor, Material::TitaniumAluminide) => 540.0,
        (Wheel::Compressor, Material::Nickel) => 560.0,
        (Wheel::Turbine, Material::Nickel) => (530.0 - 0.6 * hotter).max(150.0),
        (Wheel::Turbine, Material::TitaniumAluminide) => (500.0 - 0.8 * hotter).max(150.0),
        // Not made for exhaust gas: no more than a cold wheel's handling speed.
        (Wheel::Turbine, Material::Aluminium | Material::Titanium) => 150.0,
    }
}

fn rpm_of(tip_m_s: f64, diameter_mm: f64) -> f64 {
    tip_m_s * 60.0 / (PI * diameter_mm * 1e-3)
}

/// One wheel on both sheets.
struct WheelPair<'a> {
    wheel: Wheel,
    diameter_mm: (f64, f64),
    material: (&'a WheelMaterial, &'a WheelMaterial),
}

fn pairs<'a>(old: &'a PartsSheet, new: &'a PartsSheet) -> [WheelPair<'a>; 2] {
    let both = |field| (old.value(field), new.value(field));
    [
        WheelPair {
            wheel: Wheel::Compressor,
            diameter_mm: both(Field::CompressorExducer),
            material: (&old.compressor_material, &new.compressor_material),
        },
        WheelPair {
            wheel: Wheel::Turbine,
            diameter_mm: both(Field::TurbineInducer),
            material: (&old.turbine_material, &new.turbine_material),
        },
    ]
}

impl CarriedLimits {
    /// The limits for `new`, whose controller held `held` on `old`.
    ///
    /// # Errors
    /// [`NobodyAllows`] for a stated boost above what the controller holds, without a source.
    pub fn between(
        old: &PartsSheet,
        new: &PartsSheet,
        held: &GuardLimits,
        stated: StatedLimits,
    ) -> Result<Self, NobodyAllows> {
        let held_kpa = f64::from(held.boost.0);
        let boost_kpa = match stated.boost_kpa {
            None => held_kpa,
            Some(kpa) if kpa <= held_kpa || stated.source.is_some() => kpa,
            Some(stated_kpa) => return Err(NobodyAllows { stated_kpa, held_kpa }),
        };
        let before = f64::from(held.turbo_speed.0);
        let (now, turbo_by) = turbo_speed(old, new, before, stated.turbine_inlet_c);
        let diameter = |sheet: &PartsSheet| sheet.value(Field::CompressorExducer);
        // After a trip the rotor gains power × time / (inertia × speed).
        let gain = (old.value(Field::RotorInertia) * before) / (new.value(Field::RotorInertia) * now);
        Ok(Self {
            boost_kpa,
            turbo_rpm: (before, now),
            turbo_by,
            exhaust_kpa: f64::from(held.exhaust.0),
            estimate_factor: diameter(old) / diameter(new),
            lag_factor: gain.max(1.0),
            stated,
        })
    }

    /// Writes the limits into a controller's settings.
    pub(crate) fn apply(&self, settings: &mut Settings) {
        let limits = &mut settings.guard.limits;
        limits.boost.0 = self.boost_kpa as f32;
        limits.boost_lag_margin.0 = limits.boost_lag_margin.0.min(limits.boost.0 / 2.0);
        // Rounded down: f32 must not round a limit up.
        limits.turbo_speed.0 = libm::floor(self.turbo_rpm.1) as f32;
        let lag = f64::from(limits.turbo_speed_lag_margin.0) * self.lag_factor;
        limits.turbo_speed_lag_margin.0 = (lag as f32).min(limits.turbo_speed.0 / 2.0).min(50_000.0);
        for rpm in &mut limits.speed_estimate_rpm {
            *rpm = (f64::from(*rpm) * self.estimate_factor).min(FASTEST_RPM) as f32;
        }
        let room = (self.turbo_rpm.1 * SENSOR_ROOM).min(FASTEST_RPM) as f32;
        let most = &mut settings.plausibility.turbo_speed_max.0;
        *most = most.max(room);
    }
}

/// The lower of both wheels' limits, or what the new sheet's source says.
fn turbo_speed(old: &PartsSheet, new: &PartsSheet, before: f64, gas_c: f64) -> (f64, SpeedLimitBy) {
    if let Some(limit) = new.get(Field::SpeedLimit)
        && let ValueOrigin::Measured { with, .. } = &limit.origin
    {
        return (limit.value.min(FASTEST_RPM), SpeedLimitBy::Source { source: with.clone() });
    }
    let mut lowest = (before, SpeedLimitBy::Controller);
    for WheelPair { wheel, diameter_mm, material } in pairs(old, new) {
        let usual = |of: &WheelMaterial| usual_tip_speed_m_s(wheel, of.material, gas_c);
        let (usual_old, usual_new) = (usual(material.0), usual(material.1));
        let kept = before * diameter_mm.0 / diameter_mm.1 * (usual_new / usual_old).min(1.0);
        let by_rule = rpm_of(usual_new, diameter_mm.1);
        for (rpm, by) in
            [(kept, SpeedLimitBy::TipSpeedKept { wheel }), (by_rule, SpeedLimitBy::Material { wheel })]
        {
            if rpm < lowest.0 * (1.0 - 1e-9) {
                lowest = (rpm, by);
            }
        }
    }
    lowest
}

/// What a limit is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub enum LimitedValue {
    /// Boost, kPa absolute.
    #[serde(rename = "boost-kpa-absolute")]
    Boost,
    /// Turbo speed, rpm.
    #[serde(rename = "turbo-speed-rpm")]
    TurboSpeed,
    /// Exhaust pressure, kPa absolute.
    #[serde(rename = "exhaust-kpa-absolute")]
    Exhaust,
}

/// A limit, and how near the load steps come to it, the calibration re-mapped and no guard acting.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct LimitReached {
    /// Which.
    pub limited: LimitedValue,
    /// The limit.
    pub limit: f64,
    /// Highest value of the old turbo.
    pub old: f64,
    /// Highest value of the new turbo.
    pub new: f64,
    /// Load step at which the new turbo has it.
    pub at: &'static str,
}

impl LimitReached {
    /// Does the new turbo pass it?
    #[must_use]
    pub fn is_passed(&self) -> bool {
        self.new > self.limit
    }
}

/// Every limit against every load step.
#[must_use]
pub(crate) fn standings(limits: &CarriedLimits, air: &[AirComparison]) -> Vec<LimitReached> {
    use super::air::Response;
    type PeakOf = fn(&Response) -> f64;
    let rows: [(LimitedValue, f64, PeakOf); 3] = [
        (LimitedValue::Boost, limits.boost_kpa, |r| r.boost_peak_kpa),
        (LimitedValue::TurboSpeed, limits.turbo_rpm.1, |r| r.turbo_rpm),
        (LimitedValue::Exhaust, limits.exhaust_kpa, |r| r.exhaust_peak_kpa),
    ];
    rows.into_iter()
        .filter_map(|(guarded, limit, of)| {
            let worst = air.iter().max_by(|a, b| of(&a.new_after).total_cmp(&of(&b.new_after)))?;
            let old = air.iter().map(|run| of(&run.old)).fold(0.0, f64::max);
            Some(LimitReached {
                limited: guarded,
                limit,
                old,
                new: of(&worst.new_after),
                at: worst.point.name,
            })
        })
        .collect()
}
