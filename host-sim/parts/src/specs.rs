//! Every measurable value's place in the sheet, unit, plausible range, and the rule for it where it was not measured.

use std::collections::BTreeMap;

use super::field::Field;
use super::quantity::{Dimension, Quantity};
use plant::nozzle::params::{USUAL_DISCHARGE, USUAL_GAP_DISCHARGE};

/// What happens when a value is not on the sheet.
#[derive(Debug, Clone, Copy)]
pub enum Missing {
    /// The sheet is refused.
    Refused,
    /// Left out: what needs it is not computed, or is computed without it.
    LeftOut,
    /// Estimated by a stated rule.
    Estimated(EstimateRule),
}

/// A rule for a missing value.
#[derive(Debug, Clone, Copy)]
pub struct EstimateRule {
    /// The rule in words, as it appears in tables.
    pub words: &'static str,
    /// Value and half-width from the values already known.
    pub value: fn(&BTreeMap<Field, Quantity>) -> (f64, f64),
}

/// Where a value stands and what it may be.
#[derive(Debug, Clone, Copy)]
pub struct FieldSpec {
    /// The value.
    pub field: Field,
    /// Table of the sheet.
    pub section: &'static str,
    /// Key in that table.
    pub key: &'static str,
    /// What kind of unit it takes.
    pub dimension: Dimension,
    /// Plausible range in the base unit; outside it the sheet is refused.
    pub range: (f64, f64),
    /// What to do where it is missing.
    pub missing: Missing,
}

impl Field {
    /// Its row of [`SPECS`].
    #[must_use]
    pub fn spec(self) -> &'static FieldSpec {
        // Every field has a row: a test walks them all.
        SPECS.iter().find(|spec| spec.field == self).unwrap_or(&SPECS[0])
    }

    /// `section.key`, as written in the sheet.
    #[must_use]
    pub fn path(self) -> String {
        let spec = self.spec();
        format!("{}.{}", spec.section, spec.key)
    }
}

const fn refused(
    field: Field,
    section: &'static str,
    key: &'static str,
    dimension: Dimension,
    range: (f64, f64),
) -> FieldSpec {
    FieldSpec { field, section, key, dimension, range, missing: Missing::Refused }
}

const fn left_out(
    field: Field,
    section: &'static str,
    key: &'static str,
    dimension: Dimension,
    range: (f64, f64),
) -> FieldSpec {
    FieldSpec { field, section, key, dimension, range, missing: Missing::LeftOut }
}

const fn estimated(
    field: Field,
    (section, key): (&'static str, &'static str),
    dimension: Dimension,
    range: (f64, f64),
    words: &'static str,
    value: fn(&BTreeMap<Field, Quantity>) -> (f64, f64),
) -> FieldSpec {
    let missing = Missing::Estimated(EstimateRule { words, value });
    FieldSpec { field, section, key, dimension, range, missing }
}

fn of(known: &BTreeMap<Field, Quantity>, field: Field) -> f64 {
    known.get(&field).map_or(f64::NAN, |quantity| quantity.value)
}

use Dimension::{Angle, Area, Inertia, Length, Mass, MassFlow, Pressure, Ratio, Speed, Temperature, Time};
use Field as F;

/// All values, each section's required ones before those estimated from them. The ranges are wide
/// (turbos from motorcycle to large truck); they catch wrong units, not bad parts. Estimate rules are
/// common practice without a source, with half-widths to match.
pub(crate) const SPECS: &[FieldSpec] = &[
    refused(F::VaneHeight, "nozzle", "height", Length, (2.0, 40.0)),
    refused(F::VaneChord, "nozzle", "chord", Length, (5.0, 60.0)),
    refused(F::PivotRadius, "nozzle", "pivot_radius", Length, (15.0, 120.0)),
    refused(F::ClosedAngle, "nozzle", "closed_angle", Angle, (0.0, 60.0)),
    refused(F::OpenAngle, "nozzle", "open_angle", Angle, (5.0, 85.0)),
    estimated(F::VaneThickness, ("nozzle", "thickness"), Length, (0.3, 7.0), "0.10 × chord", |k| {
        (0.10 * of(k, F::VaneChord), 0.03 * of(k, F::VaneChord))
    }),
    estimated(F::PivotFraction, ("nozzle", "pivot_fraction"), Ratio, (0.0, 1.0), "0.45 of the chord", |_| {
        (0.45, 0.05)
    }),
    left_out(F::LeastAngle, "nozzle", "least_angle", Angle, (0.0, 60.0)),
    left_out(F::ThroatClosed, "nozzle", "throat_closed", Length, (0.2, 15.0)),
    left_out(F::ThroatOpen, "nozzle", "throat_open", Length, (1.0, 40.0)),
    left_out(F::FlowClosed, "nozzle", "flow_closed", MassFlow, (0.2, 500.0)),
    left_out(F::FlowDrop, "nozzle", "flow_drop", Pressure, (0.2, 60.0)),
    left_out(F::FlowRoomPressure, "nozzle", "flow_room_pressure", Pressure, (60.0, 110.0)),
    left_out(F::FlowRoomTemperature, "nozzle", "flow_room_temperature", Temperature, (-10.0, 50.0)),
    left_out(F::StopScrewPitch, "nozzle", "stop_screw_pitch", Length, (0.3, 3.0)),
    left_out(F::StopScrewRadius, "nozzle", "stop_screw_radius", Length, (8.0, 200.0)),
    estimated(F::EndGap, ("nozzle", "end_gap"), Length, (0.0, 1.5), "0.01 × vane height", |k| {
        (0.01 * of(k, F::VaneHeight), 0.005 * of(k, F::VaneHeight))
    }),
    estimated(F::Discharge, ("nozzle", "discharge"), Ratio, (0.5, 1.05), "0.90 for vane throats", |_| {
        (USUAL_DISCHARGE, 0.05)
    }),
    estimated(F::GapDischarge, ("nozzle", "gap_discharge"), Ratio, (0.2, 1.0), "0.60, sharp-edged", |_| {
        (USUAL_GAP_DISCHARGE, 0.15)
    }),
    left_out(F::PinRadius, "nozzle", "pin_radius", Length, (10.0, 160.0)),
    refused(F::CompressorInducer, "compressor", "inducer", Length, (18.0, 180.0)),
    refused(F::CompressorExducer, "compressor", "exducer", Length, (24.0, 240.0)),
    estimated(
        F::CompressorTipHeight,
        ("compressor", "tip_height"),
        Length,
        (0.8, 24.0),
        "0.07 × exducer",
        |k| (0.07 * of(k, F::CompressorExducer), 0.02 * of(k, F::CompressorExducer)),
    ),
    refused(F::TurbineInducer, "turbine", "inducer", Length, (20.0, 220.0)),
    refused(F::TurbineExducer, "turbine", "exducer", Length, (16.0, 200.0)),
    estimated(F::TurbineTipHeight, ("turbine", "tip_height"), Length, (2.0, 40.0), "vane height", |k| {
        (of(k, F::VaneHeight), 0.1 * of(k, F::VaneHeight))
    }),
    estimated(F::TurbineHub, ("turbine", "hub"), Length, (4.0, 90.0), "0.30 × exducer", |k| {
        (0.30 * of(k, F::TurbineExducer), 0.05 * of(k, F::TurbineExducer))
    }),
    estimated(
        F::TurbineBladeThickness,
        ("turbine", "blade_thickness"),
        Length,
        (0.2, 5.0),
        "0.02 × exducer",
        |k| (0.02 * of(k, F::TurbineExducer), 0.008 * of(k, F::TurbineExducer)),
    ),
    estimated(
        F::TurbineExitAngle,
        ("turbine", "exit_angle"),
        Angle,
        (20.0, 75.0),
        "57° from the axis",
        |_| (57.0, 4.0),
    ),
    left_out(F::TurbineThroat, "turbine", "throat_area", Area, (40.0, 20_000.0)),
    estimated(F::TurbineDischarge, ("turbine", "discharge"), Ratio, (0.5, 1.0), "0.92 for wheels", |_| {
        (0.92, 0.04)
    }),
    left_out(F::RotorInertia, "rotor", "inertia", Inertia, (1.0e-7, 1.0e-2)),
    left_out(F::RotorMass, "rotor", "mass", Mass, (0.02, 60.0)),
    left_out(F::PendulumRadius, "rotor", "pendulum_radius", Length, (5.0, 500.0)),
    left_out(F::PendulumTopRadius, "rotor", "pendulum_top_radius", Length, (5.0, 500.0)),
    left_out(F::PendulumLength, "rotor", "pendulum_length", Length, (100.0, 5000.0)),
    left_out(F::PendulumPeriod, "rotor", "pendulum_period", Time, (0.05, 60.0)),
    left_out(F::PendulumAmplitude, "rotor", "pendulum_amplitude", Angle, (0.5, 45.0)),
    left_out(F::PlatformMass, "rotor", "platform_mass", Mass, (0.005, 20.0)),
    left_out(F::PlatformPeriod, "rotor", "platform_period", Time, (0.05, 60.0)),
    left_out(F::SpeedLimit, "rotor", "speed_limit", Speed, (10_000.0, 500_000.0)),
    estimated(F::AreaOverRadius, ("housing", "ar"), Length, (4.0, 100.0), "0.6 × pivot radius", |k| {
        (0.6 * of(k, F::PivotRadius), 0.15 * of(k, F::PivotRadius))
    }),
    estimated(
        F::VoluteRadius,
        ("housing", "volute_radius"),
        Length,
        (20.0, 250.0),
        "2 × pivot radius",
        |k| (2.0 * of(k, F::PivotRadius), 0.3 * of(k, F::PivotRadius)),
    ),
    left_out(F::VoluteArea, "housing", "volute_area", Area, (100.0, 20_000.0)),
    left_out(F::LeverLength, "actuator", "lever_length", Length, (8.0, 90.0)),
    left_out(F::LeverTravel, "actuator", "lever_travel", Angle, (10.0, 150.0)),
    left_out(F::LeverClosedAngle, "actuator", "lever_closed_angle", Angle, (0.0, 180.0)),
    left_out(F::RodLength, "actuator", "rod_length", Length, (10.0, 260.0)),
    left_out(F::RingLever, "actuator", "ring_lever", Length, (8.0, 160.0)),
    left_out(F::PivotDistance, "actuator", "pivot_distance", Length, (10.0, 360.0)),
    left_out(F::ClosedReserve, "actuator", "closed_reserve", Angle, (0.0, 90.0)),
    left_out(F::OpenReserve, "actuator", "open_reserve", Angle, (0.0, 90.0)),
    left_out(F::LeverPitch, "actuator", "lever_pitch", Angle, (1.0, 120.0)),
    left_out(F::RingPitch, "nozzle", "ring_pitch", Angle, (0.5, 180.0)),
];

#[cfg(test)]
mod tests {
    use super::SPECS;
    use crate::Field;

    #[test]
    fn every_value_has_one_row_and_every_row_its_own_place() {
        assert_eq!(SPECS.len(), Field::RingPitch as usize + 1);
        for (at, spec) in SPECS.iter().enumerate() {
            assert_eq!(spec.field.spec().key, spec.key);
            assert!(spec.range.0 < spec.range.1);
            let twin = SPECS.iter().skip(at + 1).find(|o| o.key == spec.key && o.section == spec.section);
            assert!(twin.is_none(), "{}.{} stands twice", spec.section, spec.key);
        }
    }
}
