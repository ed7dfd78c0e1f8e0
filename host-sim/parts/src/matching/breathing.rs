//! How each compressor breathes at the load steps, and how much air it could pass.
//!
//! In: the comparison, both sheets, maps where there are any, limits, ranges of air-fuel ratio and consumption. Out:
//! tip speed, Mach number, margins to surge and choke, the most air and the power that it could support, as intervals
//! with what limits them. No promise of power: fuel, heat, strength and emission law come first.

use serde::Serialize;

use super::air::AirComparison;
use super::limits::CarriedLimits;
use super::on_engine::with_wheels_of;
use super::turbo::WheelEntry;
use crate::compressor::Inducer;
use crate::compressor_map::MapBasis;
use crate::{Field, PartsSheet};
use plant::airpath::ReducedParams;
use plant::atmosphere::Ambient;

/// Flow at surge over flow at choke where there is no map: 0.10 and 0.20 for each tip Mach number, ± 0.08; own
/// estimate: surge moves to larger flow with speed.
const SURGE_SHARE: (f64, f64, f64) = (0.10, 0.20, 0.08);
/// What the model's choke end is known to without a map, relative; own estimate.
const CHOKE_KNOWN_TO: f64 = 0.12;
/// What a measured map is known to, relative; common practice, no source.
const MAP_KNOWN_TO: f64 = 0.03;

/// A compressor at a load step's end.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Breath {
    /// Air, kg/s.
    pub air_kg_s: f64,
    /// Tip speed at the exducer, m/s.
    pub tip_m_s: f64,
    /// Tip speed over the speed of sound before the wheel.
    pub tip_mach: f64,
    /// Flow over density, π r³ and speed of the exducer.
    pub flow_coefficient: f64,
    /// The same at surge and at choke at that tip speed: the wheel's range.
    pub coefficient_range: (f64, f64),
    /// How far the flow lies above surge, share of the flow, with its half-width; below 0: beyond surge.
    pub surge_margin: (f64, f64),
    /// How far it lies below choke, share of choke flow, with its half-width; below 0: beyond choke.
    pub choke_margin: (f64, f64),
}

/// Ranges that turn air into power.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct PowerRanges {
    /// Air over fuel by mass, least and most.
    pub air_fuel: (f64, f64),
    /// Fuel per work, g/kWh, least and most.
    pub g_per_kwh: (f64, f64),
}

/// What binds the air.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum AirBound {
    /// The turbo-speed limit: no more flow at that pressure ratio.
    TurboSpeed,
    /// The choked inducer.
    Inducer,
}

/// How much air, and so power, is in a compressor.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Potential {
    /// Pressure ratio that it is asked at.
    pub pressure_ratio: f64,
    /// Air, kg/s, least and most; none where the speed limit does not reach that ratio.
    pub air_kg_s: Option<(f64, f64)>,
    /// Power that this air could support, kW, least and most.
    pub power_kw: Option<(f64, f64)>,
    /// What binds.
    pub bound: AirBound,
}

/// Both compressors.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Breathing {
    /// At each load step: old, new re-mapped.
    pub points: Vec<[Breath; 2]>,
    /// Old and new.
    pub potential: [Potential; 2],
    /// What the measured maps refer to, old and new; none where the estimate stands.
    pub maps: [Option<MapBasis>; 2],
    /// Ranges that the power rests on.
    pub ranges: PowerRanges,
}

impl Breathing {
    /// Both compressors in a comparison.
    #[must_use]
    pub fn of(
        pair: [&PartsSheet; 2],
        air: &[AirComparison],
        limits: &CarriedLimits,
        ranges: PowerRanges,
    ) -> Self {
        let points =
            air.iter().map(|run| [breath(pair[0], &run.old.wheels), breath(pair[1], &run.new_after.wheels)]);
        let ambient_kpa = Ambient::SEA_LEVEL.pressure_pa / 1e3;
        let boosts = air.iter().map(|run| run.old.boost_kpa);
        let ratio = boosts.fold(0.0, f64::max) / ambient_kpa;
        let rpm = [limits.turbo_rpm.0, limits.turbo_rpm.1];
        let potential = [0, 1].map(|side| potential(pair[side], rpm[side], ratio, ranges));
        let maps = pair.map(|sheet| sheet.map.as_ref().map(|map| map.basis));
        Self { points: points.collect(), potential, maps, ranges }
    }
}

/// The model's compressor of a sheet.
fn model(sheet: &PartsSheet) -> ReducedParams {
    with_wheels_of(sheet, ReducedParams::default())
}

fn rpm_of(tip_m_s: f64, radius_m: f64) -> f64 {
    tip_m_s / radius_m * 30.0 / core::f64::consts::PI
}

/// Surge and choke flow at a tip speed, kg/s, and what each is known to, relative.
fn ends(sheet: &PartsSheet, tip_m_s: f64) -> [(f64, f64); 2] {
    let (air, params) = (Ambient::SEA_LEVEL, model(sheet));
    let rpm = rpm_of(tip_m_s, params.compressor_radius_m);
    if let Some(map) = &sheet.map {
        let MapBasis { kelvin, pascal, .. } = map.basis;
        let to_map = libm::sqrt(kelvin / air.temperature_k);
        let from_map = air.pressure_pa / pascal * to_map;
        if let Some((surge, choke)) = map.ends(rpm * to_map) {
            return [(surge * from_map, MAP_KNOWN_TO), (choke * from_map, MAP_KNOWN_TO)];
        }
    }
    let radius = params.compressor_radius_m;
    let density = air.pressure_pa / (params.air_r * air.temperature_k);
    let widest = density * core::f64::consts::PI * radius * radius * tip_m_s / libm::sqrt(params.flow_weight);
    let choke = widest.min(inducer_bound(sheet, tip_m_s));
    let sound = libm::sqrt(params.air_gamma * params.air_r * air.temperature_k);
    let share = SURGE_SHARE.0 + SURGE_SHARE.1 * tip_m_s / sound;
    [(share * choke, SURGE_SHARE.2 / share), (choke, CHOKE_KNOWN_TO)]
}

/// The inducer's bound at a tip speed of the exducer, kg/s.
fn inducer_bound(sheet: &PartsSheet, tip_m_s: f64) -> f64 {
    let air = Ambient::SEA_LEVEL;
    let share = sheet.value(Field::CompressorInducer) / sheet.value(Field::CompressorExducer);
    Inducer::of(sheet).choke_kg_s(tip_m_s * share, air.pressure_pa, air.temperature_k)
}

fn breath(sheet: &PartsSheet, wheels: &WheelEntry) -> Breath {
    let tip_m_s = wheels.compressor_tip_m_s;
    let [(surge, surge_known), (choke, choke_known)] = ends(sheet, tip_m_s);
    let params = model(sheet);
    let sound = libm::sqrt(params.air_gamma * params.air_r * Ambient::SEA_LEVEL.temperature_k);
    let coefficient = |kg_s: f64| wheels.flow_coefficient * kg_s / wheels.air_kg_s;
    let (over_surge, of_choke) = (surge / wheels.air_kg_s, wheels.air_kg_s / choke);
    Breath {
        air_kg_s: wheels.air_kg_s,
        tip_m_s,
        tip_mach: tip_m_s / sound,
        flow_coefficient: wheels.flow_coefficient,
        coefficient_range: (coefficient(surge), coefficient(choke)),
        surge_margin: (1.0 - over_surge, over_surge * surge_known),
        choke_margin: (1.0 - of_choke, of_choke * choke_known),
    }
}

/// Most air at a pressure ratio and the speed limit.
fn potential(sheet: &PartsSheet, limit_rpm: f64, ratio: f64, ranges: PowerRanges) -> Potential {
    let (air, params) = (Ambient::SEA_LEVEL, model(sheet));
    let tip_m_s = limit_rpm * core::f64::consts::PI / 30.0 * params.compressor_radius_m;
    let (at_speed, known) = flow_at_limit(sheet, &params, tip_m_s, ratio, &air);
    let inducer = inducer_bound(sheet, tip_m_s);
    let bound =
        if at_speed.is_some_and(|flow| flow > inducer) { AirBound::Inducer } else { AirBound::TurboSpeed };
    let air_kg_s = at_speed.map(|flow| {
        let flow = flow.min(inducer);
        (flow * (1.0 - known), (flow * (1.0 + known)).min(inducer))
    });
    Potential { pressure_ratio: ratio, air_kg_s, power_kw: air_kg_s.map(|air| power_kw(air, ranges)), bound }
}

/// Power that air could support, kW: flow over air-fuel ratio and consumption, least and most.
#[must_use]
pub fn power_kw((least, most): (f64, f64), ranges: PowerRanges) -> (f64, f64) {
    const G_PER_KG_AND_S_PER_H: f64 = 3.6e6;
    let of = |kg_s: f64, air_fuel: f64, g_per_kwh: f64| kg_s * G_PER_KG_AND_S_PER_H / (air_fuel * g_per_kwh);
    (of(least, ranges.air_fuel.1, ranges.g_per_kwh.1), of(most, ranges.air_fuel.0, ranges.g_per_kwh.0))
}

/// Flow at the speed limit and a pressure ratio, by the map or by the model's ellipse; none where it is not reached.
fn flow_at_limit(
    sheet: &PartsSheet,
    params: &ReducedParams,
    tip_m_s: f64,
    ratio: f64,
    air: &Ambient,
) -> (Option<f64>, f64) {
    if let Some(map) = &sheet.map {
        let MapBasis { kelvin, pascal, .. } = map.basis;
        let to_map = libm::sqrt(kelvin / air.temperature_k);
        let rpm = (rpm_of(tip_m_s, params.compressor_radius_m) * to_map).min(map.speeds().1);
        let flow = map.flow_at_ratio(rpm, ratio).map(|flow| flow * air.pressure_pa / pascal * to_map);
        return (flow, MAP_KNOWN_TO);
    }
    let rise = libm::pow(ratio, 1.0 - 1.0 / params.air_gamma) - 1.0;
    let head = 2.0 * params.air_cp * air.temperature_k * rise / (tip_m_s * tip_m_s);
    let left = 1.0 - params.head_weight * head * head;
    let radius = params.compressor_radius_m;
    let density = air.pressure_pa / (params.air_r * air.temperature_k);
    let flow = |share: f64| density * core::f64::consts::PI * radius * radius * tip_m_s * share;
    let reached = (left > 0.0).then(|| flow(libm::sqrt(left / params.flow_weight)));
    (reached, CHOKE_KNOWN_TO)
}
