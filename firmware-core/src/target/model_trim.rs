//! The law `model-trim`: the opening at which an engine at rest would make the wanted boost, and a trim.
//!
//! The model is the static part of Wahlström and Eriksson, "Modelling diesel engines with a variable-geometry
//! turbocharger and exhaust gas recirculation by optimization of model parameters for capturing non-linear system
//! dynamics", Proc. IMechE Part D 225(7), 2011, 960–986, turned round. At rest the turbine gives what the compressor
//! takes, and its nozzle passes what the engine swallows, recirculation closed:
//!
//! 1. air: volumetric efficiency × p V n / (120 R T); fuel by load; exhaust temperature by fuel per exhaust;
//! 2. power: m_e c_pe T_e h η = m_a c_pa T_0 (Π_c^(2/7) − 1), so h = 1 − Π_t^(1/4) is known;
//! 3. nozzle: m_e = A p_e √((1 − Π_t^K) / (R T_e)), so the area A is known, and by the nozzle's law the opening.
//!
//! γ is 7/5 for air and 4/3 for exhaust, and K is 3 (the invented engine: 1.33 and 2.9), so that Π_t^K is (1 − h)^12.
//! Efficiency is one number: the trim corrects that, heat that the manifold keeps, and recirculation.

use crate::position::regulator::OutputRange;
use crate::settings::{ModelSettings, TargetSettings};
use crate::units::{larger, smaller};

use super::law::{Aim, Forward, Law};
use super::trim::Trim;

/// Memory of the law.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct ModelTrim {
    trim: Trim,
}

/// Gas constant of air and of exhaust, J/(kg K).
const GAS: f32 = 287.0;
/// Specific heat of air over that of exhaust: 1005 over 1149.
const HEATS: f32 = 0.875;
/// Temperature of the air outside, K (ISO 2533 at sea level).
const OUTSIDE_K: f32 = 288.15;
/// 1 − 1/γ of air.
const AIR_EXPONENT: f32 = 2.0 / 7.0;
/// Share of the exhaust's heat that the turbine takes at least, so that the turbo keeps turning at light load, and at
/// most, where the model ends. Invented.
const WORK: OutputRange = OutputRange { low: 0.03, high: 0.5 };

/// The opening for the wanted boost; no number where the engine stands.
fn opening(model: &ModelSettings, aim: &Aim<'_>) -> f32 {
    let demand = &aim.air.demand;
    let per_s = demand.engine_speed.0 / 60.0;
    // Litres and kPa make joules.
    let air_kg_s =
        model.volumetric * aim.target * model.displacement_l * 0.5 * per_s / (GAS * model.intake_k);
    let exhaust_kg_s = air_kg_s + demand.load.get() * model.fuel_mg_per_rev * 1.0e-6 * per_s;
    let per_exhaust = 1.0 / exhaust_kg_s;
    let air_share = air_kg_s * per_exhaust;
    let exhaust_k = model.intake_k + model.warming_k * (1.0 - air_share);
    let ratio = larger(aim.target / aim.air.barometer.0, 1.0);
    let rise = libm::powf(ratio, AIR_EXPONENT) - 1.0;
    let work = WORK.hold(HEATS * OUTSIDE_K * rise * air_share / (model.efficiency * exhaust_k));
    let left = (1.0 - work) * (1.0 - work);
    let expansion = left * left;
    let exhaust_pa = 1000.0 * aim.air.barometer.0 / expansion;
    let flow = 1.0 - expansion * expansion * expansion;
    let area_mm2 = 1.0e6 * exhaust_kg_s * libm::sqrtf(GAS * exhaust_k / flow) / exhaust_pa;
    let share = (area_mm2 - model.closed_mm2) / (model.open_mm2 - model.closed_mm2);
    libm::powf(smaller(larger(share, 0.0), 1.0), 1.0 / model.area_exponent)
}

impl Law for ModelTrim {
    #[inline(never)]
    fn forward(&mut self, settings: &TargetSettings, aim: &Aim<'_>) -> Forward {
        let modelled = opening(&settings.model, aim);
        let opening = if modelled.is_finite() { modelled } else { aim.feed_forward };
        let authority = settings.trim.authority;
        Forward { opening: larger(opening, aim.minimum), closes: authority, opens: authority }
    }

    #[inline(never)]
    fn start(&mut self, settings: &TargetSettings, aim: &Aim<'_>, correction: f32) {
        self.trim.start(&settings.trim, aim, correction);
    }

    #[inline(never)]
    fn tick(&mut self, settings: &TargetSettings, aim: &Aim<'_>, range: OutputRange) -> f32 {
        self.trim.tick(&settings.trim, aim, range)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::{EngineDemand, Mode};
    use crate::units::{Kilopascal, Load, Rpm};

    /// The published relations of the head of this file in double precision (Python 3.11), by hand from air to area;
    /// there the specific heats stand as 1005 and 1149.
    #[test]
    fn the_model_gives_the_opening_of_the_published_relations() {
        for (target, barometer, speed, load, expected) in [
            (180.0, 101.325, 2000.0, 0.625, 0.368_718),
            (230.0, 101.325, 3200.0, 1.0, 0.745_519),
            (140.0, 80.0, 1600.0, 0.4, 0.193_092),
        ] {
            let demand = EngineDemand {
                mode: Mode::Boost,
                boost_target: Kilopascal(target),
                engine_speed: Rpm(speed),
                load: Load::saturating(load, Load::MIN),
            };
            let air = crate::plausibility::Air {
                boost: None,
                boost_floor: None,
                boost_saturated: false,
                barometer: Kilopascal(barometer),
                exhaust: None,
                turbo_speed: None,
                demand,
            };
            let aim =
                Aim { target, boost: 120.0, feed_forward: 0.5, minimum: 0.0, gain_factor: 1.0, air: &air };
            let found = opening(&ModelSettings::DEFAULT, &aim);
            assert!((found - expected).abs() < 5.0e-4, "{found} for {expected}");
        }
    }
}
