//! The minimum flow as a person sets it: vane angle, throat width with pins, turns of the stop screw, flow bench.
//!
//! In: the match, the new sheet, what its errors leave uncertain. Out: the target of each with its standard
//! uncertainty. None of them moves an engine: the bench sets the ring, the engine run confirms it.

use serde::Serialize;

use super::chain::ChainUncertainty;
use super::opening_map::OpeningMatch;
use crate::flow::{ROOM, bench_flow_g_s};
use crate::wheels::turbine_in_flow;
use crate::{ActsOn, Field, PartsSheet};
use plant::nozzle::in_series_mm2;

/// How far a throat may stand from the mean: the pin that must go in and the one that must not, as a share of the
/// width. Own choice: two per cent of area are a tenth of what the end of a sound travel changes.
const PIN_SHARE: f64 = 0.02;

/// A value to set, with what is known of it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct GaugeTarget {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
}

/// Air on a flow bench.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct BenchTarget {
    /// Pressure drop, kPa.
    pub drop_kpa: f64,
    /// Room before the ring: °C and absolute kPa.
    #[serde(rename = "room_c_and_kpa_absolute")]
    pub room: (f64, f64),
    /// Through volute and ring, the turbine wheel not fitted, g/s.
    pub flow_g_s: GaugeTarget,
    /// The same with the wheel fitted and standing still, g/s.
    pub with_wheel_g_s: f64,
}

/// The gauge job at the closed stop of the new ring.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct GaugeJob {
    /// Vane angle from the tangent, degrees.
    pub angle_deg: GaugeTarget,
    /// Mean throat width over all vanes, mm.
    pub throat_mm: GaugeTarget,
    /// Pin that goes into every throat, pin that goes into none, mm.
    pub pins_mm: (f64, f64),
    /// Number of throats.
    pub throats: u32,
    /// Turns of the stop screw from where it was found, above 0 opens; none where screw or pins were not measured.
    pub screw_turns: Option<f64>,
    /// Flow-bench target.
    pub bench: BenchTarget,
}

impl GaugeJob {
    /// The targets of a match, for a bench with a drop of `drop_kpa`.
    #[must_use]
    pub fn of(found: &OpeningMatch, new: &PartsSheet, known: &ChainUncertainty, drop_kpa: f64) -> Self {
        let angle = found.new.angle_deg(0.0);
        let throat = found.new.ring.throat_mm(angle);
        let ring_mm2 = found.new.effective_area_mm2(0.0);
        let inlet_mm2 = in_series_mm2(ring_mm2, new.volute_area_mm2());
        let flow = |mm2| bench_flow_g_s(mm2, drop_kpa, ROOM);
        // The target is as uncertain as the area that the old ring is known to leave.
        let share = known.wanted_mm2 / found.old.effective_area_mm2(0.0);
        Self {
            angle_deg: GaugeTarget { value: angle, standard_uncertainty: known.stop_deg },
            throat_mm: GaugeTarget { value: throat, standard_uncertainty: known.throat_mm },
            pins_mm: (throat * (1.0 - PIN_SHARE), throat * (1.0 + PIN_SHARE)),
            throats: new.vanes,
            screw_turns: screw_turns(new, angle - found.new.closed_deg),
            bench: BenchTarget {
                drop_kpa,
                room: ROOM,
                flow_g_s: GaugeTarget {
                    value: flow(inlet_mm2),
                    standard_uncertainty: share * flow(inlet_mm2),
                },
                with_wheel_g_s: flow(in_series_mm2(inlet_mm2, turbine_in_flow(new).throat_mm2)),
            },
        }
    }
}

/// Turns of the stop screw that turn the vanes by an angle.
fn screw_turns(sheet: &PartsSheet, vane_deg: f64) -> Option<f64> {
    let (pitch, radius) = (sheet.get(Field::StopScrewPitch)?, sheet.get(Field::StopScrewRadius)?);
    let ring_deg = vane_deg / sheet.vane_degrees_per(ActsOn::Ring)?;
    Some(ring_deg.to_radians() * radius.value / pitch.value)
}
