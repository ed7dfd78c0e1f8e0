//! A measured nozzle as it stands in a world's file.
//!
//! In: vanes, lengths, angles, discharge, volute and linkage, each with its unit in the name. Out: a
//! [`NozzleModel`]. Refuses, by field, what makes no ring, vanes that touch at the closed stop, stops that
//! are swapped and a linkage that does not carry the ring from one stop to the other.

use serde::{Deserialize, Serialize};

use super::geometry::{MIN_VANES, RingDimensions, RingError, VaneRing};
use super::linkage::{FourBar, Linkage, LinkageError, SlotDrive};
use super::model::{NozzleModel, in_series_mm2};
use super::wheel::TurbineWheel;
use crate::check::{BadParameter, above_zero, between, not_negative};

/// Discharge coefficient of vane throats where none was measured; common practice, no source.
pub const USUAL_DISCHARGE: f64 = 0.90;
/// Discharge coefficient of the sharp-edged end-wall clearance where none was measured; common practice, no source.
pub const USUAL_GAP_DISCHARGE: f64 = 0.60;
/// Most vanes; more is a typing error.
const MOST_VANES: u32 = 60;

/// A measured vane ring with what stands around it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RingParams {
    /// Number of vanes.
    pub vanes: u32,
    /// Vane height, mm (along the axis).
    pub height_mm: f64,
    /// Vane chord, tip to tip, mm.
    pub chord_mm: f64,
    /// Vane thickness, mm.
    pub thickness_mm: f64,
    /// Radius of the pivot circle, mm.
    pub pivot_radius_mm: f64,
    /// Where the pivot sits along the chord, 0 leading (outer) edge … 1 trailing (inner) edge.
    pub pivot_fraction: f64,
    /// Vane angle from the tangent at the closed (minimum-flow) stop, degrees.
    pub closed_angle_deg: f64,
    /// Vane angle from the tangent at the open stop, degrees.
    pub open_angle_deg: f64,
    /// Total end-wall clearance beside the vanes, both sides, mm.
    pub end_gap_mm: f64,
    /// Discharge coefficient of the vane throats.
    #[serde(default = "usual_discharge")]
    pub discharge: f64,
    /// Discharge coefficient of the end-wall clearance.
    #[serde(default = "usual_gap_discharge")]
    pub gap_discharge: f64,
    /// Throat of the turbine volute, in series with the nozzle, mm²; none: wide beside it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volute_area_mm2: Option<f64>,
    /// Throat of the turbine wheel behind the nozzle; none: as the flow law has it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wheel: Option<TurbineWheel>,
    /// What turns the vanes; none: in proportion to the lever.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub linkage: Option<RingLinkage>,
}

fn usual_discharge() -> f64 {
    USUAL_DISCHARGE
}

fn usual_gap_discharge() -> f64 {
    USUAL_GAP_DISCHARGE
}

/// From the actuator's lever to the vanes, as measured. Only shares of the travel come of it: the lever's own
/// travel is the actuator's.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RingLinkage {
    /// Actuator lever, mm.
    pub lever_length_mm: f64,
    /// Rod, eye to eye, mm.
    pub rod_length_mm: f64,
    /// Ring lever, mm.
    pub ring_lever_mm: f64,
    /// Actuator shaft to ring lever pivot, mm.
    pub pivot_distance_mm: f64,
    /// Lever angle at the closed stop from the line of the pivots, degrees.
    pub lever_closed_angle_deg: f64,
    /// Lever travel from the closed to the open stop, degrees, signed.
    pub lever_travel_deg: f64,
    /// Radius of the ring's pins, mm.
    pub pin_radius_mm: f64,
}

impl RingParams {
    /// The nozzle that the parts make.
    ///
    /// # Errors
    /// Names the first field that makes it impossible.
    pub fn nozzle(&self) -> Result<NozzleModel, BadParameter> {
        let nozzle = NozzleModel {
            ring: self.vane_ring()?,
            linkage: self.checked_linkage()?,
            closed_deg: self.closed_angle_deg,
            open_deg: self.open_angle_deg,
            discharge: self.discharge,
            end_gap_mm: self.end_gap_mm,
            gap_discharge: self.gap_discharge,
            lever_start: 0.0,
        };
        self.check_around_the_ring()?;
        if nozzle.ring.gap_mm(self.closed_angle_deg) <= 0.0 {
            let allowed = format!(
                "above {:.2}: at smaller angles the vanes touch and leave no throat; measure angle, chord and \
                 thickness again",
                nozzle.least_clear_deg()
            );
            return Err(BadParameter::new("closed_angle_deg", self.closed_angle_deg, allowed));
        }
        Ok(nozzle)
    }

    /// Effective area of the whole inlet with the vanes at `angle_deg`, mm²: nozzle and volute in series.
    #[must_use]
    pub fn inlet_area_mm2(&self, nozzle: &NozzleModel, angle_deg: f64) -> f64 {
        let area_mm2 = nozzle.effective_at_angle(angle_deg);
        self.volute_area_mm2.map_or(area_mm2, |volute_mm2| in_series_mm2(area_mm2, volute_mm2))
    }

    /// Area of a nozzle alone that would pass what the inlet passes with the wheel behind it, mm². `of_law` is
    /// the wheel that the flow law already holds.
    #[must_use]
    pub fn turbine_area_mm2(
        &self,
        nozzle: &NozzleModel,
        angle_deg: f64,
        of_law: Option<&TurbineWheel>,
    ) -> f64 {
        let inlet_mm2 = self.inlet_area_mm2(nozzle, angle_deg);
        match &self.wheel {
            None => inlet_mm2,
            Some(wheel) if Some(wheel) == of_law => inlet_mm2,
            Some(wheel) => {
                let before = of_law.map_or(1.0, |law| law.share_of_flow(inlet_mm2));
                inlet_mm2 * wheel.share_of_flow(inlet_mm2) / before
            }
        }
    }

    fn vane_ring(&self) -> Result<VaneRing, BadParameter> {
        if self.vanes > MOST_VANES {
            return Err(BadParameter::new("vanes", self.vanes, format!("{MIN_VANES} to {MOST_VANES}")));
        }
        let dimensions = RingDimensions {
            vanes: self.vanes,
            height_mm: self.height_mm,
            chord_mm: self.chord_mm,
            thickness_mm: self.thickness_mm,
            pivot_radius_mm: self.pivot_radius_mm,
            pivot_fraction: self.pivot_fraction,
        };
        VaneRing::try_new(dimensions).map_err(|error| match error {
            RingError::TooFewVanes { vanes } => BadParameter::new(
                "vanes",
                vanes,
                format!("{MIN_VANES} to {MOST_VANES}; count the vanes again"),
            ),
            RingError::OutOfRange { name, value, allowed } => {
                let field = if name == "pivot_fraction" { name.to_owned() } else { format!("{name}_mm") };
                BadParameter::new(field, value, format!("{allowed}; measure it again"))
            }
        })
    }

    fn check_around_the_ring(&self) -> Result<(), BadParameter> {
        between("closed_angle_deg", self.closed_angle_deg, 0.0, 90.0)?;
        if !(self.open_angle_deg > self.closed_angle_deg && self.open_angle_deg <= 90.0) {
            let allowed = format!(
                "above closed_angle_deg ({}) and up to 90, both from the tangent; are the stops swapped?",
                self.closed_angle_deg
            );
            return Err(BadParameter::new("open_angle_deg", self.open_angle_deg, allowed));
        }
        not_negative("end_gap_mm", self.end_gap_mm)?;
        between("discharge", self.discharge, 0.3, 1.1)?;
        between("gap_discharge", self.gap_discharge, 0.0, 1.1)?;
        self.wheel.as_ref().map_or(Ok(()), |wheel| wheel.validate().map_err(|e| e.within("wheel")))?;
        self.volute_area_mm2.map_or(Ok(()), |area_mm2| above_zero("volute_area_mm2", area_mm2))
    }

    fn checked_linkage(&self) -> Result<Linkage, BadParameter> {
        let Some(measured) = &self.linkage else { return Ok(Linkage::Proportional) };
        let linkage = measured.linkage(self.pivot_radius_mm).map_err(|e| e.within("linkage"))?;
        linkage.check().map_err(|error| match error {
            LinkageError::DoesNotAssemble { share } => BadParameter::new(
                "linkage.rod_length_mm",
                measured.rod_length_mm,
                format!(
                    "a rod that reaches from lever to ring lever over the whole travel; this one fails at \
                     {share:.2} of it"
                ),
            ),
            LinkageError::FoldsBack { share } => BadParameter::new(
                "linkage.lever_travel_deg",
                measured.lever_travel_deg,
                format!(
                    "a travel over which the vanes turn one way only; here they turn back at {share:.2} of \
                     it"
                ),
            ),
        })?;
        Ok(linkage)
    }
}

impl RingLinkage {
    fn linkage(&self, pivot_radius_mm: f64) -> Result<Linkage, BadParameter> {
        for (field, length_mm) in [
            ("lever_length_mm", self.lever_length_mm),
            ("rod_length_mm", self.rod_length_mm),
            ("ring_lever_mm", self.ring_lever_mm),
            ("pivot_distance_mm", self.pivot_distance_mm),
            ("pin_radius_mm", self.pin_radius_mm),
        ] {
            above_zero(field, length_mm)?;
        }
        between("lever_closed_angle_deg", self.lever_closed_angle_deg, -360.0, 360.0)?;
        between("lever_travel_deg", self.lever_travel_deg, -360.0, 360.0)?;
        Ok(Linkage::Measured {
            four_bar: FourBar {
                crank_mm: self.lever_length_mm,
                rod_mm: self.rod_length_mm,
                rocker_mm: self.ring_lever_mm,
                base_mm: self.pivot_distance_mm,
            },
            lever_closed_rad: self.lever_closed_angle_deg.to_radians(),
            lever_travel_rad: self.lever_travel_deg.to_radians(),
            slots: SlotDrive { pin_radius_mm: self.pin_radius_mm, pivot_radius_mm },
        })
    }
}

#[cfg(test)]
impl RingParams {
    /// An invented ring, about the size of the invented bench engine A's nozzle.
    pub(crate) fn invented() -> Self {
        Self {
            vanes: 11,
            height_mm: 6.0,
            chord_mm: 17.5,
            thickness_mm: 1.2,
            pivot_radius_mm: 29.0,
            pivot_fraction: 0.45,
            closed_angle_deg: 10.6,
            open_angle_deg: 36.0,
            end_gap_mm: 0.06,
            discharge: USUAL_DISCHARGE,
            gap_discharge: USUAL_GAP_DISCHARGE,
            volute_area_mm2: Some(1060.0),
            wheel: None,
            linkage: None,
        }
    }
}
