//! A parts sheet that was read and checked: the measured turbo, ready to compute with.
//!
//! In: nothing from outside; [`super::read`] makes it. Out: values by [`Field`], the nozzle they make, the
//! volute's area. Refuses nothing: what it holds was checked.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::compressor_map::CompressorMap;
use super::field::Field;
use super::flow::bench_flow_g_s;
use super::quantity::{Quantity, ValueOrigin};
use super::teardown::Teardown;
use plant::nozzle::{FourBar, Linkage, NozzleModel, RingDimensions, RingError, SlotDrive, VaneRing};

/// A counted number with its origin.
#[derive(Debug, Clone, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct Count {
    /// How many.
    pub value: u32,
    /// Counted or estimated.
    pub origin: ValueOrigin,
}

/// What a wheel is made of. Densities are handbook values for the usual alloys (from memory, ±3 %).
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Material {
    /// Cast or milled aluminium alloy.
    Aluminium,
    /// Titanium alloy.
    Titanium,
    /// Titanium aluminide.
    TitaniumAluminide,
    /// Cast nickel alloy.
    Nickel,
}

impl Material {
    /// All of them, with the name used in sheets.
    pub const NAMED: [(&'static str, Self); 4] = [
        ("aluminium", Self::Aluminium),
        ("titanium", Self::Titanium),
        ("titanium-aluminide", Self::TitaniumAluminide),
        ("nickel", Self::Nickel),
    ];

    /// Density, kg/m³.
    #[must_use]
    pub fn density(self) -> f64 {
        match self {
            Self::Aluminium => 2_700.0,
            Self::Titanium => 4_430.0,
            Self::TitaniumAluminide => 4_000.0,
            Self::Nickel => 8_190.0,
        }
    }
}

/// A wheel's material with its origin.
#[derive(Debug, Clone, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct WheelMaterial {
    /// Which.
    pub material: Material,
    /// Known or estimated.
    pub origin: ValueOrigin,
}

/// What a tolerance in the indexing chain turns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ActsOn {
    /// The vane itself.
    Vane,
    /// The ring; the slots pass it on.
    Ring,
    /// The actuator's lever; the whole linkage passes it on.
    Lever,
}

/// One tolerance in the chain from the datum to the vane angle.
#[derive(Debug, Clone, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct IndexLink {
    /// What it is: "dowel in ring", "pin in slot".
    pub name: String,
    /// Half-width as an angle of the thing it acts on, degrees.
    pub tolerance_deg: f64,
    /// What it turns.
    pub acts_on: ActsOn,
}

/// How the ring is indexed in its housing.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize, schemars::JsonSchema)]
pub struct Indexing {
    /// The feature that fixes the ring's rotation.
    pub datum: String,
    /// Tolerances from there to the vane.
    pub chain: Vec<IndexLink>,
}

/// A checked parts sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct PartsSheet {
    /// Name of the turbo, for tables.
    pub name: String,
    /// Remark, for reports.
    pub note: String,
    /// When it was measured, as written on the sheet.
    pub measured_on: String,
    /// Vane count.
    pub vanes: u32,
    /// Compressor blades, splitters included.
    pub compressor_blades: Count,
    /// Turbine blades.
    pub turbine_blades: Count,
    /// Compressor wheel.
    pub compressor_material: WheelMaterial,
    /// Turbine wheel.
    pub turbine_material: WheelMaterial,
    /// Ring indexing.
    pub indexing: Indexing,
    /// Correlation of the errors of two readings by one instrument, by the instrument's name.
    pub(super) instruments: BTreeMap<String, f64>,
    /// What the teardown found beyond dimensions.
    pub teardown: Teardown,
    /// Measured compressor map, where there is one.
    pub map: Option<Arc<CompressorMap>>,
    pub(super) quantities: BTreeMap<Field, Quantity>,
}

impl PartsSheet {
    /// A value with its tolerance and origin; none where it was left out.
    #[must_use]
    pub fn get(&self, field: Field) -> Option<&Quantity> {
        self.quantities.get(&field)
    }

    /// A value in its base unit; NaN where it was left out, so that nothing computed from it looks real.
    #[must_use]
    pub fn value(&self, field: Field) -> f64 {
        self.get(field).map_or(f64::NAN, |quantity| quantity.value)
    }

    /// Every value on the sheet.
    pub fn quantities(&self) -> impl Iterator<Item = (Field, &Quantity)> {
        self.quantities.iter().map(|(&field, quantity)| (field, quantity))
    }

    /// The same sheet with one value replaced (for sensitivities; tolerance and origin stay).
    #[must_use]
    pub fn with_value(&self, field: Field, value: f64) -> Self {
        let mut sheet = self.clone();
        sheet.set(field, value);
        sheet
    }

    pub(crate) fn set(&mut self, field: Field, value: f64) {
        if let Some(quantity) = self.quantities.get_mut(&field) {
            quantity.value = value;
        }
    }

    /// Vane angle from the tangent at the closed stop, degrees: by the flow bench, else by the gauged throat, else
    /// as measured. NaN where the ring cannot stand so.
    #[must_use]
    pub fn closed_deg(&self) -> f64 {
        let Ok(nozzle) = self.nozzle_by_angles() else { return f64::NAN };
        if let Some(inlet_mm2) = bench_area_mm2(self) {
            let volute = self.volute_area_mm2();
            let ring_mm2 = 1.0 / libm::sqrt(1.0 / (inlet_mm2 * inlet_mm2) - 1.0 / (volute * volute));
            return nozzle
                .angle_where(|angle| nozzle.effective_at_angle(angle) >= ring_mm2)
                .unwrap_or(f64::NAN);
        }
        self.get(Field::ThroatClosed)
            .map_or(nozzle.closed_deg, |throat| angle_of_throat(&nozzle, throat.value))
    }

    /// Vane angle from the tangent at the open stop, degrees: by the gauged throat, else as measured.
    #[must_use]
    pub fn open_deg(&self) -> f64 {
        match (self.get(Field::ThroatOpen), self.nozzle_by_angles()) {
            (Some(throat), Ok(nozzle)) => angle_of_throat(&nozzle, throat.value),
            (Some(_), Err(_)) => f64::NAN,
            (None, _) => self.value(Field::OpenAngle),
        }
    }

    /// The nozzle that the parts make.
    ///
    /// # Errors
    /// Dimensions that make no ring: not on a sheet as read, possible after [`Self::with_value`].
    pub fn nozzle(&self) -> Result<NozzleModel, RingError> {
        let (closed_deg, open_deg) = (self.closed_deg(), self.open_deg());
        for (name, value) in [("angle of the closed stop", closed_deg), ("angle of the open stop", open_deg)]
        {
            if value.is_nan() {
                let allowed = "one at which the ring leaves the gauged throat or flow";
                return Err(RingError::OutOfRange { name, value, allowed });
            }
        }
        Ok(NozzleModel { closed_deg, open_deg, ..self.nozzle_by_angles()? })
    }

    /// The nozzle with both stops at the angles as measured.
    fn nozzle_by_angles(&self) -> Result<NozzleModel, RingError> {
        let ring = VaneRing::try_new(RingDimensions {
            vanes: self.vanes,
            height_mm: self.value(Field::VaneHeight),
            chord_mm: self.value(Field::VaneChord),
            thickness_mm: self.value(Field::VaneThickness),
            pivot_radius_mm: self.value(Field::PivotRadius),
            pivot_fraction: self.value(Field::PivotFraction),
        })?;
        Ok(NozzleModel {
            ring,
            linkage: self.linkage(),
            closed_deg: self.value(Field::ClosedAngle),
            open_deg: self.value(Field::OpenAngle),
            discharge: self.value(Field::Discharge),
            end_gap_mm: self.value(Field::EndGap),
            gap_discharge: self.value(Field::GapDischarge),
            lever_start: 0.0,
        })
    }

    /// Volute throat area, mm²: as measured, else A/R times the radius.
    #[must_use]
    pub fn volute_area_mm2(&self) -> f64 {
        self.get(Field::VoluteArea)
            .map_or(self.value(Field::AreaOverRadius) * self.value(Field::VoluteRadius), |area| area.value)
    }

    /// The linkage as measured, or the proportional stand-in.
    #[must_use]
    pub fn linkage(&self) -> Linkage {
        if self.get(Field::RodLength).is_none() {
            return Linkage::Proportional;
        }
        Linkage::Measured {
            four_bar: FourBar {
                crank_mm: self.value(Field::LeverLength),
                rod_mm: self.value(Field::RodLength),
                rocker_mm: self.value(Field::RingLever),
                base_mm: self.value(Field::PivotDistance),
            },
            lever_closed_rad: self.value(Field::LeverClosedAngle).to_radians(),
            lever_travel_rad: self.value(Field::LeverTravel).to_radians(),
            slots: SlotDrive {
                pin_radius_mm: self.value(Field::PinRadius),
                pivot_radius_mm: self.value(Field::PivotRadius),
            },
        }
    }

    /// Vane degrees per degree of the thing a tolerance acts on; none where the sheet does not tell.
    #[must_use]
    pub fn vane_degrees_per(&self, acts_on: ActsOn) -> Option<f64> {
        match acts_on {
            ActsOn::Vane => Some(1.0),
            ActsOn::Ring => self.get(Field::PinRadius).map(|pin| {
                let slots =
                    SlotDrive { pin_radius_mm: pin.value, pivot_radius_mm: self.value(Field::PivotRadius) };
                slots.ratio_at_mid_travel()
            }),
            ActsOn::Lever => self
                .get(Field::LeverTravel)
                .map(|travel| (self.open_deg() - self.closed_deg()) / travel.value),
        }
    }
}

/// The vane angle at which a ring leaves a throat, degrees.
fn angle_of_throat(nozzle: &NozzleModel, throat_mm: f64) -> f64 {
    nozzle.angle_where(|angle| nozzle.ring.gap_mm(angle) >= throat_mm).unwrap_or(f64::NAN)
}

/// Effective area of volute and ring that a sheet's flow-bench entries come to, mm²; none without them.
fn bench_area_mm2(sheet: &PartsSheet) -> Option<f64> {
    let value = |field| sheet.get(field).map(|quantity| quantity.value);
    let room = (value(Field::FlowRoomTemperature)?, value(Field::FlowRoomPressure)?);
    Some(value(Field::FlowClosed)? / bench_flow_g_s(1.0, value(Field::FlowDrop)?, room))
}
