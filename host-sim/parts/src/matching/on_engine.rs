//! The turbo of a parts sheet on an engine that was made for another.
//!
//! In: a checked sheet, an engine. Out: the engine with the sheet's nozzle, volute, wheels and rotor, and how
//! its nozzle area compares. Nothing is rescaled. Refuses, by field, what the engine refuses.

use serde::{Deserialize, Serialize};

use crate::compressor_map::MapBasis;
use crate::wheels::{trim, turbine_in_flow};
use crate::{Field, PartsSheet};
use plant::airpath::{Engine, EngineParams, ReducedParams};
use plant::atmosphere::Ambient;
use plant::check::BadParameter;
use plant::nozzle::{RingLinkage, RingParams};

/// Trim of the compressor that the reduced air path's parameters describe (38.0/50.0 mm).
const MODEL_COMPRESSOR_TRIM: f64 = 57.76;
/// Open area against the engine's own from which on (either way) the parts are for another size of engine;
/// own choice: a fifth is more than a size step within a family of turbos.
const OTHER_SIZE: f64 = 1.2;
const MM2_PER_M2: f64 = 1e6;

/// The air path with wheels and rotor of a sheet. An estimate: compressor flow in proportion to trim.
#[must_use]
pub(crate) fn with_wheels_of(sheet: &PartsSheet, base: ReducedParams) -> ReducedParams {
    let base = with_map_of(sheet, base);
    let flow = trim(sheet.value(Field::CompressorInducer), sheet.value(Field::CompressorExducer))
        / MODEL_COMPRESSOR_TRIM;
    let flow = if sheet.map.is_some() { 1.0 } else { flow };
    ReducedParams {
        turbine_radius_m: sheet.value(Field::TurbineInducer) * 0.5e-3,
        compressor_radius_m: sheet.value(Field::CompressorExducer) * 0.5e-3,
        flow_weight: base.flow_weight / (flow * flow),
        flow_best: base.flow_best * flow,
        flow_fall: base.flow_fall / (flow * flow),
        rotor_inertia_kg_m2: sheet.value(Field::RotorInertia),
        ..base
    }
}

/// The compressor's coefficients by a sheet's map, where it has one: the flow ellipse by least squares over all its
/// points, best efficiency and its place as measured. The air path keeps its one curve for all speeds.
fn with_map_of(sheet: &PartsSheet, base: ReducedParams) -> ReducedParams {
    let Some(map) = &sheet.map else { return base };
    let MapBasis { kelvin, pascal, .. } = map.basis;
    let radius = sheet.value(Field::CompressorExducer) * 0.5e-3;
    let density = pascal / (base.air_r * kelvin);
    let coefficients = |(rpm, flow, ratio, efficiency): (f64, f64, f64, f64)| {
        let tip = rpm * core::f64::consts::PI / 30.0 * radius;
        let rise = libm::pow(ratio, 1.0 - 1.0 / base.air_gamma) - 1.0;
        let head = 2.0 * base.air_cp * kelvin * rise / (tip * tip);
        (head, flow / (density * core::f64::consts::PI * radius * radius * tip), efficiency)
    };
    let points: Vec<_> = map.points().map(coefficients).collect();
    let sum = |of: &dyn Fn(f64, f64) -> f64| {
        points.iter().map(|(head, flow, _)| of(head * head, flow * flow)).sum()
    };
    let (hh, hf, ff): (f64, f64, f64) = (sum(&|h, _| h * h), sum(&|h, f| h * f), sum(&|_, f| f * f));
    let (h, f): (f64, f64) = (sum(&|h, _| h), sum(&|_, f| f));
    let across = hh * ff - hf * hf;
    let (head_weight, flow_weight) = ((h * ff - f * hf) / across, (f * hh - h * hf) / across);
    let best = points.iter().max_by(|a, b| a.2.total_cmp(&b.2));
    let (head_best, flow_best, compressor_best) =
        best.copied().unwrap_or((base.head_best, base.flow_best, base.compressor_best));
    let flow_fall = base.flow_fall * (base.flow_best / flow_best) * (base.flow_best / flow_best);
    ReducedParams { head_weight, flow_weight, head_best, flow_best, compressor_best, flow_fall, ..base }
}

/// The ring that a sheet describes, with its volute and, where it was measured, its linkage.
#[must_use]
pub(super) fn ring_of(sheet: &PartsSheet) -> RingParams {
    let value = |field| sheet.value(field);
    let linkage = sheet.get(Field::RodLength).map(|rod| RingLinkage {
        lever_length_mm: value(Field::LeverLength),
        rod_length_mm: rod.value,
        ring_lever_mm: value(Field::RingLever),
        pivot_distance_mm: value(Field::PivotDistance),
        lever_closed_angle_deg: value(Field::LeverClosedAngle),
        lever_travel_deg: value(Field::LeverTravel),
        pin_radius_mm: value(Field::PinRadius),
    });
    RingParams {
        vanes: sheet.vanes,
        height_mm: value(Field::VaneHeight),
        chord_mm: value(Field::VaneChord),
        thickness_mm: value(Field::VaneThickness),
        pivot_radius_mm: value(Field::PivotRadius),
        pivot_fraction: value(Field::PivotFraction),
        closed_angle_deg: sheet.closed_deg(),
        open_angle_deg: sheet.open_deg(),
        end_gap_mm: value(Field::EndGap),
        discharge: value(Field::Discharge),
        gap_discharge: value(Field::GapDischarge),
        volute_area_mm2: Some(sheet.volute_area_mm2()),
        wheel: Some(turbine_in_flow(sheet)),
        linkage,
    }
}

/// Effective nozzle area at a stop, volute and turbine wheel included, as the flow law counts it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub struct AreaOnEngine {
    /// With the parts, mm².
    pub area_mm2: f64,
    /// The engine's before, mm².
    pub own_mm2: f64,
}

impl AreaOnEngine {
    /// With the parts over before.
    #[must_use]
    pub fn ratio(&self) -> f64 {
        self.area_mm2 / self.own_mm2
    }
}

/// Parts on an engine.
#[derive(Debug, Clone, PartialEq)]
pub struct PartsOnEngine {
    /// The engine with them.
    pub engine: EngineParams,
    /// What an area of the parts counts for in the engine's flow law.
    pub flow_factor: f64,
    /// At the closed stop.
    pub closed: AreaOnEngine,
    /// At the open stop.
    pub open: AreaOnEngine,
}

impl PartsOnEngine {
    /// Puts the turbo of a sheet on an engine.
    ///
    /// # Errors
    /// Names the field of the engine, as it then stands, that is out of range.
    pub fn try_new(sheet: &PartsSheet, engine: &EngineParams) -> Result<Self, BadParameter> {
        let own = Engine::try_new(*engine, Ambient::SEA_LEVEL)?;
        // By the engine's own air path, before the sheet's wheels are in it.
        let flow_factor = engine.flow_factor()?;
        let with_parts = EngineParams {
            air: with_wheels_of(sheet, engine.air),
            ring: Some(ring_of(sheet)),
            ring_flow_factor: Some(flow_factor),
            wheel_of_law: engine.law_wheel(),
            ..*engine
        };
        let new = Engine::try_new(with_parts, Ambient::SEA_LEVEL)?;
        let area_mm2 = |engine: &Engine, opening| engine.model().vanes(opening).area_m2 * MM2_PER_M2;
        let at =
            |opening| AreaOnEngine { area_mm2: area_mm2(&new, opening), own_mm2: area_mm2(&own, opening) };
        Ok(Self { engine: with_parts, flow_factor, closed: at(0.0), open: at(1.0) })
    }

    /// Are the parts for another size of engine?
    #[must_use]
    pub fn is_other_size(&self) -> bool {
        !(1.0 / OTHER_SIZE..=OTHER_SIZE).contains(&self.open.ratio())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use plant::nozzle::in_series_mm2;

    /// The nozzle that `match` computes with and the one that the world runs are the same, linkage and volute
    /// included.
    #[test]
    fn a_sheet_has_the_same_area_on_the_engine_as_in_its_own_figures() {
        for text in [
            include_str!("../../../../rigs/profiles/sheets/ring-a.toml"),
            include_str!("../../../../rigs/profiles/sheets/ring-b.toml"),
            include_str!("../../../../rigs/profiles/sheets/ring-c.toml"),
        ] {
            let sheet = PartsSheet::parse("sheet", text).unwrap();
            let law = EngineParams::default().law_wheel().unwrap();
            let nozzle = sheet.nozzle().unwrap();
            assert_eq!(ring_of(&sheet).nozzle().unwrap(), nozzle);
            let fitted = PartsOnEngine::try_new(&sheet, &EngineParams::default()).unwrap();
            let engine = Engine::try_new(fitted.engine, Ambient::SEA_LEVEL).unwrap();
            for opening in [0.0, 0.25, 0.5, 0.75, 1.0] {
                let angle = nozzle.angle_deg(opening);
                let inlet = in_series_mm2(nozzle.effective_area_mm2(opening), sheet.volute_area_mm2());
                let figure = ring_of(&sheet).turbine_area_mm2(&nozzle, angle, Some(&law));
                let wheel = turbine_in_flow(&sheet).share_of_flow(inlet) / law.share_of_flow(inlet);
                assert!((figure / (inlet * wheel) - 1.0).abs() < 1e-12, "{figure} against {inlet} × {wheel}");
                let run = engine.model().vanes(opening).area_m2 * MM2_PER_M2;
                assert!((run / figure - 1.0).abs() < 1e-9, "{}: {run} against {figure}", sheet.name);
            }
        }
    }

    #[test]
    fn wheels_of_a_sheet_do_not_make_the_air_path_one_of_the_users_own() {
        let sheet =
            PartsSheet::parse("a", include_str!("../../../../rigs/profiles/sheets/ring-a.toml")).unwrap();
        let on = |engine: &EngineParams| PartsOnEngine::try_new(&sheet, engine);
        let invented = on(&EngineParams::default()).unwrap();
        assert_ne!(invented.engine.air, ReducedParams::default());
        assert_eq!((invented.flow_factor, invented.engine.flow_factor()), (1.0, Ok(1.0)));
        let air = ReducedParams { rotor_inertia_kg_m2: 3e-5, ..ReducedParams::default() };
        let own = EngineParams { air, ..EngineParams::default() };
        assert_eq!(on(&own).unwrap_err().field, "ring_flow_factor");
        let wheel_of_law = EngineParams::default().law_wheel();
        let said = on(&EngineParams { ring_flow_factor: Some(0.67), wheel_of_law, ..own }).unwrap();
        assert!((said.open.area_mm2 / invented.open.area_mm2 - 0.67).abs() < 1e-9);
    }

    #[test]
    fn an_engine_with_parts_survives_toml() {
        let sheet =
            PartsSheet::parse("a", include_str!("../../../../rigs/profiles/sheets/ring-a.toml")).unwrap();
        assert!(ring_of(&sheet).linkage.is_some());
        let engine = PartsOnEngine::try_new(&sheet, &EngineParams::default()).unwrap().engine;
        let text = toml::to_string(&engine).unwrap();
        assert_eq!(toml::from_str::<EngineParams>(&text).unwrap(), engine);
    }
}
