//! Heat beside the air path: two thermal masses of the exhaust, and the charge-air cooler.
//!
//! In: gas temperatures and flows, now and then. Out: [`GasHeat`], what walls and cooler make of the gas,
//! held until the next look. Without effects the gas is left as it is, to the bit.

use super::effects::{Cooler, Effects, HeatSoak};
use super::reduced_params::ReducedParams;
use super::state::{Flows, GasHeat};
use crate::atmosphere::Ambient;

/// Time between two looks, s: walls take seconds.
pub(super) const LOOK_S: f64 = 0.01;
/// Flow at which the gas-to-wall conductance is stated, kg/s.
const REFERENCE_KG_S: f64 = 0.06;
/// Tangent at the reference flow of turbulent pipe flow's W^0.8 (Dittus and Boelter 1930, exponent from
/// memory): within 4 % up to twice that flow, within 16 % down to 0.3 of it.
const FLOW_EXPONENT: f64 = 0.8;

/// Temperatures of wall and body, K.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExhaustWalls {
    /// Manifold and volute.
    pub wall_k: f64,
    /// Housing.
    pub body_k: f64,
}

/// What heats and cools the walls.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WallGas {
    /// Gas that comes in, K.
    pub gas_k: f64,
    /// From that gas to the wall, W/K.
    pub w_per_k: f64,
    /// The air outside, K.
    pub air_k: f64,
}

impl ExhaustWalls {
    /// Wall and body `dt` s later, by Heun's method: second order in steps that are short for the walls.
    #[must_use]
    pub fn after(&self, soak: &HeatSoak, gas: &WallGas, dt: f64) -> Self {
        let first = self.rates(soak, gas);
        let ahead = Self { wall_k: self.wall_k + dt * first[0], body_k: self.body_k + dt * first[1] };
        let second = ahead.rates(soak, gas);
        Self {
            wall_k: self.wall_k + 0.5 * dt * (first[0] + second[0]),
            body_k: self.body_k + 0.5 * dt * (first[1] + second[1]),
        }
    }

    fn rates(&self, soak: &HeatSoak, gas: &WallGas) -> [f64; 2] {
        let into_body = soak.wall_body_w_per_k * (self.wall_k - self.body_k);
        let into_wall = gas.w_per_k * (gas.gas_k - self.wall_k) - into_body;
        let lost = soak.body_air_w_per_k * (self.body_k - gas.air_k);
        [into_wall / soak.wall_j_per_k, (into_body - lost) / soak.body_j_per_k]
    }

    /// Where they come to rest.
    #[must_use]
    pub fn at_rest(soak: &HeatSoak, gas: &WallGas) -> Self {
        let through = 1.0 / (1.0 / gas.w_per_k + 1.0 / soak.wall_body_w_per_k + 1.0 / soak.body_air_w_per_k)
            * (gas.gas_k - gas.air_k);
        let body_k = gas.air_k + through / soak.body_air_w_per_k;
        Self { wall_k: body_k + through / soak.wall_body_w_per_k, body_k }
    }
}

/// Gas that mixes well: of its excess over the wall it gives off G / (W cp + G).
fn given_off(soak: &HeatSoak, gas_kg_s: f64, cp: f64) -> (f64, f64) {
    let share = 1.0 - FLOW_EXPONENT + FLOW_EXPONENT * gas_kg_s / REFERENCE_KG_S;
    let (conductance, carried) = (soak.gas_wall_w_per_k * share, gas_kg_s * cp);
    let given_off = conductance / (carried + conductance);
    (given_off, given_off * carried)
}

/// Air behind the cooler at rest, K.
#[must_use]
pub(super) fn cooled_k(cooler: &Cooler, compressed_k: f64, air_k: f64) -> f64 {
    compressed_k - cooler.effectiveness * (compressed_k - air_k)
}

/// All heat of one engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct EngineHeat {
    effects: Effects,
    walls: ExhaustWalls,
    intake_k: f64,
    since_s: f64,
    gas: GasHeat,
}

impl EngineHeat {
    /// An engine as cold as the air outside.
    pub(super) fn cold(effects: Effects, air: &ReducedParams, ambient: &Ambient) -> Self {
        let outside_k = ambient.temperature_k;
        let intake_k = effects.cooler.size().map_or(air.intake_k, |_| outside_k);
        let walls = ExhaustWalls { wall_k: outside_k, body_k: outside_k };
        let mut heat = Self { effects, walls, intake_k, since_s: 0.0, gas: GasHeat::NONE };
        heat.tell(air, 0.0);
        heat
    }

    /// Leaves the gas as the parameters have it, until the first look: a start for the search for rest.
    pub(super) fn begin_settling(&mut self) {
        self.gas = GasHeat::NONE;
    }

    /// What the air path is told.
    pub(super) fn gas(&self) -> &GasHeat {
        &self.gas
    }

    /// The walls, where they take heat.
    pub(super) fn walls(&self) -> Option<ExhaustWalls> {
        self.effects.heat_soak.size().map(|_| self.walls)
    }

    /// True once a look is due, `dt` s after the last call.
    pub(super) fn is_due(&mut self, dt: f64) -> bool {
        const HALF_TICK_S: f64 = 0.5e-3;
        self.since_s += dt;
        self.since_s > LOOK_S - HALF_TICK_S && self.effects != Effects::OFF
    }

    /// Goes on to now.
    pub(super) fn look(&mut self, air: &ReducedParams, ambient: &Ambient, flows: &Flows) {
        let dt = core::mem::take(&mut self.since_s);
        if let Some(soak) = self.effects.heat_soak.size() {
            self.walls = self.walls.after(soak, &wall_gas(soak, air, ambient, flows), dt);
        }
        if let Some(cooler) = self.effects.cooler.size() {
            let rest_k = cooled_k(cooler, compressed_k(air, ambient, flows), ambient.temperature_k);
            self.intake_k += (rest_k - self.intake_k) * (dt / (cooler.time_s + dt));
        }
        self.tell(air, flows.engine_kg_s + flows.fuel_kg_s);
    }

    /// Goes to rest under these flows; gives the largest change of a temperature, K.
    pub(super) fn rest(&mut self, air: &ReducedParams, ambient: &Ambient, flows: &Flows) -> f64 {
        let (walls, intake_k) = (self.walls, self.intake_k);
        if let Some(soak) = self.effects.heat_soak.size() {
            self.walls = ExhaustWalls::at_rest(soak, &wall_gas(soak, air, ambient, flows));
        }
        if let Some(cooler) = self.effects.cooler.size() {
            self.intake_k = cooled_k(cooler, compressed_k(air, ambient, flows), ambient.temperature_k);
        }
        let before = self.gas;
        self.tell(air, flows.engine_kg_s + flows.fuel_kg_s);
        let told = (self.gas.given_off - before.given_off).abs() * self.walls.wall_k;
        let moved = (self.walls.wall_k - walls.wall_k).abs().max((self.intake_k - intake_k).abs());
        moved.max(told)
    }

    fn tell(&mut self, air: &ReducedParams, gas_kg_s: f64) {
        if self.effects.cooler.size().is_some() {
            self.gas.intake_ratio = self.intake_k / air.intake_k;
            self.gas.density_ratio = air.intake_k / self.intake_k;
        }
        if let Some(soak) = self.effects.heat_soak.size() {
            self.gas.wall_k = self.walls.wall_k;
            self.gas.given_off = given_off(soak, gas_kg_s, air.exhaust_cp).0;
        }
    }
}

fn wall_gas(soak: &HeatSoak, air: &ReducedParams, ambient: &Ambient, flows: &Flows) -> WallGas {
    let (_, w_per_k) = given_off(soak, flows.engine_kg_s + flows.fuel_kg_s, air.exhaust_cp);
    WallGas { gas_k: flows.cylinders_k, w_per_k, air_k: ambient.temperature_k }
}

/// Air behind the compressor, K: its shaft power over its flow.
fn compressed_k(air: &ReducedParams, ambient: &Ambient, flows: &Flows) -> f64 {
    const LEAST_KG_S: f64 = 1e-4;
    ambient.temperature_k + flows.compressor_w / (flows.compressor_kg_s.max(LEAST_KG_S) * air.air_cp)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cooler_cools_by_its_effectiveness() {
        // tests/reference/world/c6_volume.py: 405.767376 K, 298.15 K, 0.7 → 330.435213 K.
        let cooled = cooled_k(&Cooler::default(), 405.767_376, 298.15);
        assert!((cooled - 330.435_213).abs() < 1e-6, "{cooled}");
    }
}
