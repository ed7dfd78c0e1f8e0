//! The whole comparison of two parts sheets, ready to print.
//!
//! In: two checked sheets and what to run. Out: figures side by side, the opening map, what the engine sees,
//! which value matters most, and in words what cannot be met and what that does. Refuses what the air path
//! refuses, and a boost response that cannot be computed.

mod shortfall;

use serde::Serialize;

use super::air::{AirComparison, AirError, compare};
use super::breathing::{Breathing, PowerRanges};
use super::chain::{Chain, ChainUncertainty};
use super::gauge::GaugeJob;
use super::limits::{CarriedLimits, LimitReached, standings};
use super::opening_map::{Knot, MinimumFlow, OpeningMatch, Unmet};
use super::outline::RingOutline;
use super::sensitivity::{Sensitivity, StepsDone, sensitivity};
use crate::figures::{
    PartFigure, StackUp, VaneRotation, figures, indexing_stack, propagate_sheet, vane_rotation,
};
use crate::{Field, PartsSheet, Quantity};
use plant::nozzle::{NozzleModel, RingError, in_series_mm2};

/// Points of curves.
const POINTS: u32 = 21;
/// Openings of the map: every hundredth.
const MAP_KNOTS: u32 = 101;
/// What to run.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct StudyPlan {
    /// Limits that the new controller holds.
    pub limits: CarriedLimits,
    /// Ranges that turn air into power.
    pub power: PowerRanges,
    /// Pressure drop of the flow bench, kPa.
    pub bench_drop_kpa: f64,
    /// Draws of the what-if campaign.
    pub runs: u32,
    /// Its seed.
    pub seed: u64,
}

/// A value of the sheet with where it came from.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct SheetValue {
    /// `section.key`.
    pub field: String,
    /// Unit of the quantity.
    pub unit: &'static str,
    /// Value, tolerance, who and with what, or the rule.
    #[serde(flatten)]
    pub quantity: Quantity,
}

/// Effective area at an opening, with its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct AreaPoint {
    /// Opening.
    pub opening: f64,
    /// Vane angle from the tangent, degrees.
    pub vane_deg: f64,
    /// Geometric throat area, mm².
    pub throat_mm2: f64,
    /// Effective area, mm².
    pub effective_mm2: f64,
    /// Its standard uncertainty, mm².
    pub standard_uncertainty_mm2: f64,
}

/// One turbo's side of the table.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Side {
    /// Name.
    pub name: String,
    /// Remark.
    pub note: String,
    /// Figures, in the same order on both sides.
    pub figures: Vec<PartFigure>,
    /// Area against opening, stops as found.
    pub area: Vec<AreaPoint>,
    /// Indexing tolerances as vane angle.
    pub indexing: StackUp,
    /// Vane rotation at the vanes and by the linkage.
    pub rotation: VaneRotation,
    /// Vane tips' radius over wheel radius, closed and open: the vaneless gap.
    pub vaneless_ratio: (f64, f64),
    /// When the parts were measured, as written.
    pub measured_on: String,
    /// Every value the figures rest on.
    pub values: Vec<SheetValue>,
}

/// The comparison.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Study {
    /// What was run.
    pub plan: StudyPlan,
    /// The turbo that the calibration was made for.
    pub old: Side,
    /// The turbo that goes on.
    pub new: Side,
    /// Rotor inertia, new over old.
    pub inertia_ratio: f64,
    /// How the minimum flow is kept.
    pub minimum_flow: MinimumFlow,
    /// What to set at the closed stop.
    pub gauge: GaugeJob,
    /// The opening map.
    pub map: Vec<Knot>,
    /// What the sheets' errors leave uncertain in map, stop and differences.
    pub uncertainty: ChainUncertainty,
    /// Both rings as they stand: old, new with its stop as set.
    #[serde(skip)]
    pub rings: [RingOutline; 2],
    /// Where the area cannot be met.
    pub unmet: Vec<Unmet>,
    /// The engine, three ways.
    pub air: Vec<AirComparison>,
    /// Every limit and how near the new turbo comes to it.
    pub limits: Vec<LimitReached>,
    /// How both compressors breathe.
    pub breathing: Breathing,
    /// Which value matters most.
    pub sensitivity: Sensitivity,
    /// What is not met, with its effect; empty where everything is.
    pub not_met: Vec<String>,
    /// Areas not known well enough to call them met, and what to measure first; empty where all are.
    pub not_known: Vec<String>,
}

/// Why there is no comparison.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum StudyError {
    /// A ring that is none.
    #[error(transparent)]
    Ring(#[from] RingError),
    /// The air path refuses.
    #[error(
        "the new turbo reaches no steady state on the old one's engine ({0}): it is another size, or a \
         value is far off; compare both sheets"
    )]
    Air(#[from] AirError),
    /// Two turbos for engines of different size.
    #[error(
        "{new} is another size than {old}: open, its volute and ring leave {new_mm2:.0} mm², the old ones {old_mm2:.0} mm² \
         ({ratio:.1} times). They are for different engines and no calibration carries over; compare with a sheet between \
         {least:.0} and {most:.0} mm², or check the units of both"
    )]
    OtherSize {
        /// Name of the old turbo.
        old: String,
        /// Name of the new one.
        new: String,
        /// Open inlet of the old turbo, mm².
        old_mm2: f64,
        /// Of the new one.
        new_mm2: f64,
        /// New over old.
        ratio: f64,
        /// Smallest that can be compared, mm².
        least: f64,
        /// Largest.
        most: f64,
    },
    /// The boost response of the new turbo is not a number.
    #[error(
        "the boost response of the new turbo cannot be computed; check wheel diameters and rotor inertia"
    )]
    NoResponse,
}

/// The map between two sheets, the new ring's stop adjusted where it can be.
///
/// # Errors
/// Dimensions that make no ring.
pub fn match_sheets(old: &PartsSheet, new: &PartsSheet) -> Result<OpeningMatch, RingError> {
    let least_deg = new.get(Field::LeastAngle).map(|angle| angle.value);
    Ok(OpeningMatch::between(old.nozzle()?, new.nozzle()?, least_deg))
}

impl Study {
    /// Compares two sheets; `watch` is told how many engine runs are done of how many.
    ///
    /// # Errors
    /// See [`StudyError`].
    pub fn of(
        old: &PartsSheet,
        new: &PartsSheet,
        plan: StudyPlan,
        watch: &StepsDone<'_>,
    ) -> Result<Self, StudyError> {
        let found = match_sheets(old, new)?;
        same_size([(old, &found.old), (new, &found.new)])?;
        let air = compare(old, new, &found, plan.limits.boost_kpa)?;
        let drawn = (plan.runs, plan.seed);
        let sensitivity = sensitivity((old, new), &found, drawn, watch).ok_or(StudyError::NoResponse)?;
        let chain = Chain::of((old, new), &found, MAP_KNOTS, &air);
        let uncertainty = chain.and_then(|chain| chain.uncertainty()).ok_or(StudyError::NoResponse)?;
        let unmet = found.unmet();
        Ok(Self {
            breathing: Breathing::of([old, new], &air, &plan.limits, plan.power),
            limits: standings(&plan.limits, &air),
            gauge: GaugeJob::of(&found, new, &uncertainty, plan.bench_drop_kpa),
            plan,
            old: side(old)?,
            new: side(new)?,
            inertia_ratio: new.value(Field::RotorInertia) / old.value(Field::RotorInertia),
            minimum_flow: found.minimum_flow,
            map: found.knots(MAP_KNOTS),
            not_met: shortfall::not_met(&found.minimum_flow, &unmet, &air),
            not_known: [old, new].into_iter().filter_map(shortfall::not_known).collect(),
            rings: [RingOutline::of(old, &found.old), RingOutline::of(new, &found.new)],
            uncertainty,
            unmet,
            air,
            sensitivity,
        })
    }
}

/// Open inlet area of one turbo over the other's from which on they are for different engines; own choice: twice the
/// area is twice the engine.
const OTHER_SIZE: f64 = 2.0;

/// Are both turbos for one size of engine?
fn same_size([old, new]: [(&PartsSheet, &NozzleModel); 2]) -> Result<(), StudyError> {
    let open = |(sheet, nozzle): (&PartsSheet, &NozzleModel)| {
        in_series_mm2(nozzle.effective_area_mm2(1.0), sheet.volute_area_mm2())
    };
    let (old_mm2, new_mm2) = (open(old), open(new));
    let ratio = new_mm2 / old_mm2;
    if (1.0 / OTHER_SIZE..=OTHER_SIZE).contains(&ratio) {
        return Ok(());
    }
    let (least, most) = (old_mm2 / OTHER_SIZE, old_mm2 * OTHER_SIZE);
    let (old, new) = (old.0.name.clone(), new.0.name.clone());
    Err(StudyError::OtherSize { old, new, old_mm2, new_mm2, ratio, least, most })
}

fn side(sheet: &PartsSheet) -> Result<Side, RingError> {
    let nozzle = sheet.nozzle()?;
    let wheel_mm = sheet.value(Field::TurbineInducer) / 2.0;
    let gap = |opening: f64| nozzle.ring.trailing_radius_mm(nozzle.angle_deg(opening)) / wheel_mm;
    Ok(Side {
        name: sheet.name.clone(),
        note: sheet.note.clone(),
        figures: figures(sheet),
        area: (0..POINTS).map(|at| area_point(sheet, f64::from(at) / f64::from(POINTS - 1))).collect(),
        indexing: indexing_stack(sheet),
        rotation: vane_rotation(sheet),
        vaneless_ratio: (gap(0.0), gap(1.0)),
        measured_on: sheet.measured_on.clone(),
        values: sheet
            .quantities()
            .map(|(field, quantity)| SheetValue {
                field: field.path(),
                unit: field.spec().dimension.symbol(),
                quantity: quantity.clone(),
            })
            .collect(),
    })
}

fn area_point(sheet: &PartsSheet, opening: f64) -> AreaPoint {
    let of = |sheet: &PartsSheet| sheet.nozzle().map_or(f64::NAN, |n| n.effective_area_mm2(opening));
    let effective = propagate_sheet(sheet, of);
    let (vane_deg, throat_mm2) = sheet
        .nozzle()
        .map_or((f64::NAN, f64::NAN), |nozzle| (nozzle.angle_deg(opening), nozzle.throat_area_mm2(opening)));
    AreaPoint {
        opening,
        vane_deg,
        throat_mm2,
        effective_mm2: effective.value,
        standard_uncertainty_mm2: effective.standard_uncertainty,
    }
}
