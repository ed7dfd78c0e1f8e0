//! A parts sheet that was read and checked: the measured turbo, ready to compute with.
//!
//! In: nothing from outside; [`super::read`] makes it. Out: values by [`Field`], the nozzle they make, the
//! volute's area. Refuses nothing: what it holds was checked.

use std::collections::BTreeMap;

use super::field::Field;
use super::quantity::{Origin, Quantity};
use plant::nozzle::{FourBar, Linkage, NozzleModel, RingDimensions, RingError, SlotDrive, VaneRing};

/// A counted number with its origin.
#[derive(Debug, Clone, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct Count {
    /// How many.
    pub value: u32,
    /// Counted or estimated.
    pub origin: Origin,
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
    pub origin: Origin,
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

    /// The nozzle that the parts make.
    ///
    /// # Errors
    /// Dimensions that make no ring: not on a sheet as read, possible after [`Self::with_value`].
    pub fn nozzle(&self) -> Result<NozzleModel, RingError> {
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

    /// Was the volute's area measured, directly or through A/R and radius?
    #[must_use]
    pub fn volute_is_measured(&self) -> bool {
        let measured = |field| self.get(field).is_some_and(|quantity| !quantity.is_estimated());
        measured(Field::VoluteArea) || (measured(Field::AreaOverRadius) && measured(Field::VoluteRadius))
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
                .map(|travel| (self.value(Field::OpenAngle) - self.value(Field::ClosedAngle)) / travel.value),
        }
    }
}
