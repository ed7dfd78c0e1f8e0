//! How units and engines of one kind differ: the distributions that a campaign draws from.
//!
//! In: a spread as it stands in TOML, and one generator per run. Out: that run's world. Every run draws the
//! same number of times in the same order, so one distribution can change without moving the others.
//! All default widths are invented.

use rand::{Rng, RngExt};
use serde::{Deserialize, Serialize};

use plant::actuator::LeverJoint;
use plant::airpath::Switchable;
use plant::check::{BadParameter, between};
use plant::sensor::{ChannelFault, PositionFault};
use plant::toml_file::{TomlError, TomlFile};
use plant::world::{Fault, FaultKind, WorldConfig};

/// One quantity's distribution.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(crate) enum Distribution {
    /// Always this.
    Fixed(f64),
    /// Anything between, equally likely.
    Uniform {
        /// Least.
        low: f64,
        /// Most.
        high: f64,
    },
    /// Normal, held to ± 3 deviations.
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation.
        deviation: f64,
    },
}

/// Deviations at which a normal distribution is cut.
const CUT_DEVIATIONS: f64 = 3.0;

impl Distribution {
    /// Smallest and largest value that can be drawn.
    fn range(&self) -> (f64, f64) {
        match *self {
            Self::Fixed(value) => (value, value),
            Self::Uniform { low, high } => (low, high),
            Self::Normal { mean, deviation } => {
                (mean - CUT_DEVIATIONS * deviation, mean + CUT_DEVIATIONS * deviation)
            }
        }
    }

    /// One draw; every kind takes two numbers from the generator, so that streams stay in step.
    fn draw(&self, rng: &mut impl Rng) -> f64 {
        let (first, second) = (rng.random::<f64>(), rng.random::<f64>());
        match *self {
            Self::Fixed(value) => value,
            Self::Uniform { low, high } => low + first * (high - low),
            Self::Normal { mean, deviation } => {
                // Box and Muller 1958; 1 − first is never 0.
                let radius = libm::sqrt(-2.0 * libm::log(1.0 - first));
                let off = radius * libm::cos(core::f64::consts::TAU * second);
                mean + deviation * off.clamp(-CUT_DEVIATIONS, CUT_DEVIATIONS)
            }
        }
    }
}

macro_rules! spread {
    ($($(#[$doc:meta])* $field:ident: $default:expr, $low:expr, $high:expr;)*) => {
        /// The distributions of a campaign.
        #[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
        #[serde(default, deny_unknown_fields)]
        pub struct Spread { $($(#[$doc])* pub(crate) $field: Distribution,)* }

        /// One draw of everything.
        #[derive(Debug, Clone, Copy, PartialEq)]
        struct Draw { $($field: f64,)* }

        impl Default for Spread {
            fn default() -> Self {
                Self { $($field: $default,)* }
            }
        }

        impl Spread {
            /// Checks that no distribution can leave what its quantity allows.
            ///
            /// # Errors
            /// Names the field.
            pub fn validate(&self) -> Result<(), BadParameter> {
                $(
                    let (low, high) = self.$field.range();
                    between(stringify!($field), low, $low, $high)?;
                    between(stringify!($field), high, low, $high)?;
                )*
                Ok(())
            }

            fn draw(&self, rng: &mut impl Rng) -> Draw {
                Draw { $($field: self.$field.draw(rng),)* }
            }
        }
    };
}

use Distribution::{Normal, Uniform};

spread! {
    /// Factor on sliding and break-away friction of the ring.
    friction_factor: Uniform { low: 0.7, high: 2.0 }, 0.05, 50.0;
    /// Further factor on break-away friction.
    breakaway_factor: Uniform { low: 1.0, high: 1.5 }, 1.0, 20.0;
    /// Play between lever and ring, degrees.
    play_deg: Uniform { low: 0.1, high: 1.2 }, 0.0, 10.0;
    /// Position sensor's offset since it was learned, counts.
    position_offset_counts: Normal { mean: 0.0, deviation: 25.0 }, -5000.0, 5000.0;
    /// Position sensor's gain since it was learned.
    position_gain: Normal { mean: 1.0, deviation: 0.003 }, 0.5, 1.5;
    /// Position sensor's noise, counts.
    position_noise_counts: Uniform { low: 0.5, high: 5.0 }, 0.0, 500.0;
    /// Boost sensor's offset, kPa.
    boost_offset_kpa: Normal { mean: 0.0, deviation: 1.5 }, -50.0, 50.0;
    /// Boost sensor's gain.
    boost_gain: Normal { mean: 1.0, deviation: 0.005 }, 0.5, 1.5;
    /// Supply without load, V.
    supply_v: Uniform { low: 11.0, high: 14.8 }, 6.0, 32.0;
    /// Resistance of supply and leads, Ω.
    source_resistance_ohm: Uniform { low: 0.04, high: 0.25 }, 0.0, 5.0;
    /// Actuator housing temperature, °C.
    housing_c: Uniform { low: -10.0, high: 120.0 }, -50.0, 200.0;
    /// Factor on the best turbine efficiency.
    turbine_factor: Normal { mean: 1.0, deviation: 0.015 }, 0.5, 1.4;
    /// Factor on the best compressor efficiency.
    compressor_factor: Normal { mean: 1.0, deviation: 0.015 }, 0.5, 1.3;
    /// Factor on the nozzle area.
    nozzle_factor: Normal { mean: 1.0, deviation: 0.03 }, 0.3, 3.0;
    /// Factor on the volumetric efficiency.
    volumetric_factor: Normal { mean: 1.0, deviation: 0.01 }, 0.5, 1.2;
    /// Factor on the rotor's inertia.
    inertia_factor: Normal { mean: 1.0, deviation: 0.03 }, 0.3, 3.0;
    /// Back pressure of the exhaust system, kPa.
    back_pressure_kpa: Uniform { low: 0.0, high: 8.0 }, 0.0, 60.0;
    /// Geometric altitude, m, where the scenario does not set it.
    altitude_m: Uniform { low: 0.0, high: 1500.0 }, -400.0, 5000.0;
    /// Factor on the best blade-speed ratio of the turbine.
    blade_speed_factor: Normal { mean: 1.0, deviation: 0.02 }, 0.5, 1.5;
    /// Factor on the fall of turbine efficiency with the vane angle.
    vane_fall_factor: Normal { mean: 1.0, deviation: 0.15 }, 0.0, 4.0;
    /// Factor on the gas-to-wall conductance of the exhaust.
    heat_soak_factor: Normal { mean: 1.0, deviation: 0.15 }, 0.1, 5.0;
    /// Effectiveness of the charge-air cooler.
    cooler_effectiveness: Normal { mean: 0.7, deviation: 0.03 }, 0.0, 1.0;
    /// Air outside, °C.
    air_c: Uniform { low: -20.0, high: 45.0 }, -60.0, 60.0;
}

impl Spread {
    /// Reads a spread from TOML and checks it.
    ///
    /// # Errors
    /// Names line, field, value and what is allowed.
    pub fn from_toml(text: &str, file: &str) -> Result<Self, TomlError> {
        TomlFile::from_text(file, text).checked(Self::validate)
    }

    /// One run's world: `base` as one unit of the kind happens to be.
    #[must_use]
    pub fn world(&self, base: &WorldConfig, rng: &mut impl Rng) -> WorldConfig {
        let draw = self.draw(rng);
        let mut world = base.clone();
        draw.apply_to_actuator(&mut world);
        draw.apply_to_sensors(&mut world);
        draw.apply_to_engine(&mut world);
        world
    }
}

impl Draw {
    fn apply_to_actuator(&self, world: &mut WorldConfig) {
        let actuator = &mut world.actuator;
        actuator.ring.friction.coulomb *= self.friction_factor;
        actuator.ring.friction.breakaway *= self.friction_factor * self.breakaway_factor;
        actuator.linkage = LeverJoint::with_play_deg(self.play_deg);
        actuator.bridge.supply_v = self.supply_v;
        actuator.bridge.source_resistance_ohm = self.source_resistance_ohm;
        if let Some(heat) = &mut actuator.motor.heat {
            heat.surroundings_c = self.housing_c;
        }
    }

    fn apply_to_sensors(&self, world: &mut WorldConfig) {
        world.sensors.position.noise_counts = self.position_noise_counts;
        world.sensors.boost.offset += self.boost_offset_kpa;
        world.sensors.boost.gain *= self.boost_gain;
        // As faults, because they came after the stops were learned.
        for change in
            [ChannelFault::Offset(self.position_offset_counts), ChannelFault::Gain(self.position_gain)]
        {
            let what = FaultKind::PositionSensor(PositionFault::Channel(change));
            world.faults.push(Fault::standing(what));
        }
    }

    fn apply_to_engine(&self, world: &mut WorldConfig) {
        world.engine.scale_nozzle(self.nozzle_factor);
        let air = &mut world.engine.air;
        air.turbine_best *= self.turbine_factor;
        air.compressor_best *= self.compressor_factor;
        air.volumetric_base *= self.volumetric_factor;
        air.rotor_inertia_kg_m2 *= self.inertia_factor;
        air.exhaust_back_pressure_pa += 1e3 * self.back_pressure_kpa;
        air.blade_speed_best *= self.blade_speed_factor;
        air.closed_fall *= self.vane_fall_factor;
        air.open_fall *= self.vane_fall_factor;
        let effects = &mut world.engine.effects;
        if let Switchable::On(soak) = &mut effects.heat_soak {
            soak.gas_wall_w_per_k *= self.heat_soak_factor;
        }
        if let Switchable::On(cooler) = &mut effects.cooler {
            cooler.effectiveness = self.cooler_effectiveness;
        }
        world.altitude_m = self.altitude_m;
        world.air_c = Some(self.air_c);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    #[test]
    fn every_world_of_the_default_spread_is_sound() {
        let spread = Spread::default();
        spread.validate().unwrap();
        for seed in 0..500 {
            let mut rng = rand_pcg::Pcg64Mcg::seed_from_u64(seed);
            spread.world(&WorldConfig::default(), &mut rng).validate().unwrap();
        }
    }

    #[test]
    fn fixing_one_quantity_leaves_the_others_where_they_were() {
        let draw = |spread: Spread| spread.draw(&mut rand_pcg::Pcg64Mcg::seed_from_u64(5));
        let fixed = Spread { supply_v: Distribution::Fixed(12.0), ..Spread::default() };
        let (a, b) = (draw(Spread::default()), draw(fixed));
        assert_eq!((a.friction_factor, a.altitude_m), (b.friction_factor, b.altitude_m));
        assert_eq!(b.supply_v, 12.0);
    }

    #[test]
    fn a_spread_that_can_leave_its_range_is_refused_by_name() {
        let message = Spread::from_toml("play_deg = { uniform = { low = -1.0, high = 1.0 } }", "s.toml");
        let message = message.unwrap_err().to_string();
        assert!(message.starts_with("s.toml, line 1: play_deg = -1: allowed: 0 to 10. "), "{message}");
    }
}
