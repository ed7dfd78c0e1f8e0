//! The rotor's inertia from the pendulum entries of a sheet.
//!
//! In: a sheet with all of them. Out: the sheet with the inertia they give and its uncertainty, read as measured.
//! Changes nothing where the inertia stands on the sheet or the pendulum is not whole; `check.rs` reports the latter.

use super::field::Field;
use super::figures::propagate_sheet;
use super::pendulum::Pendulum;
use super::quantity::{Quantity, ToleranceOrigin, ValueOrigin};
use super::sheet::PartsSheet;

/// All of these, or none.
pub(super) const PENDULUM: [Field; 5] = [
    Field::RotorMass,
    Field::PendulumRadius,
    Field::PendulumLength,
    Field::PendulumPeriod,
    Field::PendulumAmplitude,
];
/// Both of these, or none.
pub(super) const PLATFORM: [Field; 2] = [Field::PlatformMass, Field::PlatformPeriod];
/// A rectangular half-width over its standard uncertainty.
const ROOT_3: f64 = 1.732_050_807_568_877_2;

pub(super) fn add_inertia(sheet: &mut PartsSheet) {
    let is_whole = PENDULUM.iter().all(|&field| sheet.get(field).is_some());
    let (Some(swing), true) = (sheet.get(Field::PendulumPeriod), is_whole) else { return };
    if sheet.get(Field::RotorInertia).is_some() {
        return;
    }
    let ValueOrigin::Measured { by, .. } = swing.origin.clone() else { return };
    let found = propagate_sheet(sheet, inertia);
    let quantity = Quantity {
        value: found.value,
        tolerance: ROOT_3 * found.standard_uncertainty,
        tolerance_origin: ToleranceOrigin::Stated,
        origin: ValueOrigin::Measured { by, with: "pendulum, from its entries".into() },
        readings: Vec::new(),
    };
    sheet.quantities.insert(Field::RotorInertia, quantity);
}

/// Inertia of what hangs, less that of the platform, kg m².
fn inertia(sheet: &PartsSheet) -> f64 {
    const M_PER_MM: f64 = 1e-3;
    let value = |field| sheet.value(field);
    let platform_kg = sheet.get(Field::PlatformMass).map_or(0.0, |mass| mass.value);
    let radius_m = value(Field::PendulumRadius) * M_PER_MM;
    let loaded = Pendulum {
        mass_kg: value(Field::RotorMass) + platform_kg,
        radius_m,
        top_radius_m: sheet.get(Field::PendulumTopRadius).map_or(radius_m, |r| r.value * M_PER_MM),
        length_m: value(Field::PendulumLength) * M_PER_MM,
        period_s: value(Field::PendulumPeriod),
        amplitude_rad: value(Field::PendulumAmplitude).to_radians(),
    };
    let empty = sheet.get(Field::PlatformPeriod).map_or(0.0, |period| {
        Pendulum { mass_kg: platform_kg, period_s: period.value, ..loaded }.inertia_kg_m2()
    });
    loaded.inertia_kg_m2() - empty
}
