//! The turbine wheel's own throat, in series with the vane nozzle.
//!
//! In: effective areas of nozzle and wheel, the gas, wheel speed. Out: the flow that passes both, the pressure
//! between them, which of them chokes; and what share of a nozzle's own flow is left with the wheel behind it.
//! Total: no flow where the wheel's field holds it back.
//!
//! Perfect gas, both throats isentropic. The gas enters the wheel with the wheel's own speed (no incidence), and
//! the radial part of its kinetic energy at the wheel's inlet is dropped: with swirl from the vanes and incidence
//! losses the flow is up to 3 % higher.

use serde::{Deserialize, Serialize};

use crate::check::{BadParameter, above_zero, between};
use crate::gas::Gas;

/// A turbine wheel as its throat counts in the flow.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TurbineWheel {
    /// Effective throat area between the blades at the exducer, mm².
    pub throat_mm2: f64,
    /// Radius of that throat (root mean square) over the radius at the inlet.
    pub radius_ratio: f64,
}

/// The wheel of the invented bench engine A, which its flow law was made with: what ring A's sheet comes to.
pub(crate) const INVENTED_WHEEL: TurbineWheel =
    TurbineWheel { throat_mm2: 469.951_062_993_632_1, radius_ratio: 0.641_948_828_705_800_1 };

/// Where the throats are asked together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoThroatCase {
    /// The gas.
    pub gas: Gas,
    /// Total pressure before the nozzle over static pressure behind the wheel.
    pub expansion_ratio: f64,
    /// Static pressure behind the wheel, Pa.
    pub outlet_pa: f64,
    /// Total temperature before the nozzle, K.
    pub inlet_k: f64,
    /// Tip speed at the wheel's inlet, m/s.
    pub inlet_speed_m_s: f64,
    /// Blade speed at the wheel's throat, m/s.
    pub throat_speed_m_s: f64,
}

/// What passes both throats.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoThroatFlow {
    /// Flow, kg/s.
    pub kg_s: f64,
    /// Static pressure between nozzle and wheel, Pa.
    pub between_pa: f64,
    /// Is the nozzle choked?
    pub nozzle_is_choked: bool,
    /// Is the wheel choked?
    pub wheel_is_choked: bool,
}

/// Exhaust in the reference case: γ 1.33, R 286 J/(kg K).
const EXHAUST: Gas = Gas { gamma: 1.33, r: 286.0 };
/// The reference case, own choice: expansion 2, 900 K, blade-speed ratio 0.65.
const REFERENCE_RATIO: f64 = 2.0;
const REFERENCE_K: f64 = 900.0;
const REFERENCE_BLADE_SPEED: f64 = 0.65;
/// Relative difference of the two flows at which they count as equal.
const AGREES: f64 = 1e-12;
const MOST_TRIES: u32 = 200;

impl TwoThroatCase {
    /// The case at which a turbine's throats are compared.
    #[must_use]
    pub fn reference(radius_ratio: f64) -> Self {
        let gas = EXHAUST;
        let exponent = (gas.gamma - 1.0) / gas.gamma;
        let drop = 1.0 - libm::pow(REFERENCE_RATIO, -exponent);
        let spouting_m_s = libm::sqrt(2.0 * gas.cp() * REFERENCE_K * drop);
        let inlet_speed_m_s = REFERENCE_BLADE_SPEED * spouting_m_s;
        Self {
            gas,
            expansion_ratio: REFERENCE_RATIO,
            outlet_pa: 101_325.0,
            inlet_k: REFERENCE_K,
            inlet_speed_m_s,
            throat_speed_m_s: radius_ratio * inlet_speed_m_s,
        }
    }

    /// Relative total temperature in the wheel's throat, K, and what the wheel's field leaves of the pressure
    /// before it.
    fn relative(&self) -> (f64, f64) {
        let Gas { gamma, .. } = self.gas;
        let cp = self.gas.cp();
        let (u, u3) = (self.inlet_speed_m_s, self.throat_speed_m_s);
        let in_throat_k = self.inlet_k - u * u / cp + u3 * u3 / (2.0 * cp);
        let at_inlet_k = self.inlet_k - u * u / (2.0 * cp);
        (in_throat_k, libm::pow(in_throat_k / at_inlet_k, gamma / (gamma - 1.0)))
    }

    /// What flows through `nozzle_m2` and then `wheel_m2`.
    #[must_use]
    pub fn flow(&self, nozzle_m2: f64, wheel_m2: f64) -> TwoThroatFlow {
        let inlet_pa = self.expansion_ratio * self.outlet_pa;
        let (throat_k, left) = self.relative();
        let gas = self.gas;
        let nozzle = |pa: f64| gas.nozzle_flow(nozzle_m2, inlet_pa, self.inlet_k, pa);
        let wheel = |pa: f64| gas.nozzle_flow(wheel_m2, left * pa, throat_k, self.outlet_pa);
        let (low, high) = (self.outlet_pa / left, inlet_pa);
        if low >= high {
            return TwoThroatFlow {
                kg_s: 0.0,
                between_pa: high,
                nozzle_is_choked: false,
                wheel_is_choked: false,
            };
        }
        let between_pa = root(low, high, nozzle(low), |pa| wheel(pa) - nozzle(pa));
        let choked = |ratio: f64| ratio <= gas.critical_ratio();
        TwoThroatFlow {
            kg_s: nozzle(between_pa),
            between_pa,
            nozzle_is_choked: choked(between_pa / inlet_pa),
            wheel_is_choked: choked(self.outlet_pa / (left * between_pa)),
        }
    }
}

/// Where a rising function crosses zero, to `AGREES` of `scale`: false position with halved weights (Illinois).
fn root(mut low: f64, mut high: f64, scale: f64, rising: impl Fn(f64) -> f64) -> f64 {
    let (mut below, mut above) = (rising(low), rising(high));
    let mut stayed_above = None;
    let mut place = low;
    for _ in 0..MOST_TRIES {
        place = (low * above - high * below) / (above - below);
        let off = rising(place);
        if off.abs() <= AGREES * scale {
            break;
        }
        if off > 0.0 {
            (high, above) = (place, off);
            if stayed_above == Some(true) {
                below /= 2.0;
            }
            stayed_above = Some(true);
        } else {
            (low, below) = (place, off);
            if stayed_above == Some(false) {
                above /= 2.0;
            }
            stayed_above = Some(false);
        }
    }
    place
}

impl TurbineWheel {
    /// Checks both fields.
    ///
    /// # Errors
    /// Names the one that is out of range.
    pub fn validate(&self) -> Result<(), BadParameter> {
        above_zero("throat_mm2", self.throat_mm2)?;
        between("radius_ratio", self.radius_ratio, 0.2, 1.0)
    }

    /// What of its own flow a nozzle of `nozzle_mm2` passes with this wheel behind it, in the reference case.
    #[must_use]
    pub fn share_of_flow(&self, nozzle_mm2: f64) -> f64 {
        const M2_PER_MM2: f64 = 1e-6;
        let case = TwoThroatCase::reference(self.radius_ratio);
        let alone = case.gas.nozzle_flow(
            nozzle_mm2 * M2_PER_MM2,
            case.expansion_ratio * case.outlet_pa,
            case.inlet_k,
            case.outlet_pa,
        );
        case.flow(nozzle_mm2 * M2_PER_MM2, self.throat_mm2 * M2_PER_MM2).kg_s / alone
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_wide_wheel_leaves_nearly_all_of_the_flow() {
        let wheel = TurbineWheel { throat_mm2: 1e6, radius_ratio: 0.6 };
        assert!((wheel.share_of_flow(300.0) - 1.0).abs() < 0.02);
    }

    proptest! {
        #[test]
        fn more_wheel_never_passes_less_and_more_nozzle_loses_a_larger_share(
            throat_mm2 in 100.0..2000.0_f64, more in 1.0..1.5_f64, nozzle_mm2 in 30.0..1500.0_f64,
        ) {
            let wheel = |throat_mm2| TurbineWheel { throat_mm2, radius_ratio: 0.64 };
            let (small, large) = (wheel(throat_mm2), wheel(throat_mm2 * more));
            let share = |wheel: TurbineWheel, nozzle_mm2| wheel.share_of_flow(nozzle_mm2);
            prop_assert!(share(large, nozzle_mm2) >= share(small, nozzle_mm2) - 1e-9);
            prop_assert!(share(small, nozzle_mm2 * more) <= share(small, nozzle_mm2) + 1e-9);
            // More nozzle still passes more in all.
            let passed = |nozzle_mm2: f64| nozzle_mm2 * share(small, nozzle_mm2);
            prop_assert!(passed(nozzle_mm2 * more) >= passed(nozzle_mm2) * (1.0 - 1e-9));
        }
    }
}
