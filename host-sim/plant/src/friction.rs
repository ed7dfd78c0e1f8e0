//! LuGre friction with a Stribeck curve, advanced one fixed step at a time.
//!
//! In: bristle deflection and the speed of the rubbing body. Out: the friction torque (or force) as a
//! straight line in the new speed, so that the body's own implicit update can take it in. Works in any
//! consistent units; the actuator uses N m and rad. Refuses parameters that would create energy.
//!
//! Model: Canudas de Wit, Olsson, Åström, Lischinsky, "A new model for control of systems with
//! friction", IEEE Trans. Automatic Control 40(3), 1995, 419–425:
//! dz/dt = v − σ0 |v| z / g(v), g = Fc + (Fs − Fc) exp(−(v/vs)²), F = σ0 z + σ1 dz/dt + σ2 v.

use serde::{Deserialize, Serialize};

use crate::check::{BadParameter, above_zero, not_negative};
use crate::lanes;

/// What a rubbing pair is like. Torque units here are N m and rad; a linear pair uses N and m alike.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct LuGreParams {
    /// σ0, bristle stiffness, N m/rad; above 0.
    pub bristle_stiffness: f64,
    /// σ1, bristle damping, N m s/rad; 0 or more.
    pub bristle_damping: f64,
    /// σ2, viscous coefficient, N m s/rad; 0 or more.
    pub viscous: f64,
    /// Fc, sliding (Coulomb) level, N m; above 0.
    pub coulomb: f64,
    /// Fs, break-away level at rest, N m; at least the Coulomb level.
    pub breakaway: f64,
    /// vs, Stribeck speed, rad/s; above 0.
    pub stribeck_speed: f64,
}

/// State of the ring's bearing surfaces. The factors are invented; the directions are common practice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RingCondition {
    /// As assembled.
    #[default]
    Clean,
    /// Soot in the pivots: much more break-away, more sliding friction.
    Sooted,
    /// Pivots worn: less friction, softer bristles.
    Worn,
    /// Hot and dry: more sliding friction, the Stribeck fall gets steeper.
    Hot,
    /// So much soot that the motor cannot break the ring away.
    Seized,
}

impl Default for LuGreParams {
    fn default() -> Self {
        Self::bench_ring_a()
    }
}

/// How one condition scales the clean parameters.
struct Scaling {
    coulomb: f64,
    breakaway: f64,
    stiffness: f64,
    stribeck_speed: f64,
}

impl RingCondition {
    fn scaling(self) -> Scaling {
        let (coulomb, breakaway, stiffness, stribeck_speed) = match self {
            Self::Clean => (1.0, 1.0, 1.0, 1.0),
            Self::Sooted => (3.0, 4.0, 1.5, 0.6),
            Self::Worn => (0.6, 0.55, 0.5, 1.2),
            Self::Hot => (1.4, 1.5, 1.0, 0.7),
            Self::Seized => (40.0, 45.0, 4.0, 1.0),
        };
        Scaling { coulomb, breakaway, stiffness, stribeck_speed }
    }
}

impl LuGreParams {
    /// Ring of the invented bench actuator A, clean.
    #[must_use]
    pub fn bench_ring_a() -> Self {
        Self {
            bristle_stiffness: 200.0,
            bristle_damping: 0.6,
            viscous: 0.0,
            coulomb: 0.18,
            breakaway: 0.26,
            stribeck_speed: 0.05,
        }
    }

    /// The same pair in another condition; bristle damping scales with the root of the stiffness.
    #[must_use]
    pub fn in_condition(self, condition: RingCondition) -> Self {
        let s = condition.scaling();
        Self {
            bristle_stiffness: self.bristle_stiffness * s.stiffness,
            bristle_damping: self.bristle_damping * libm::sqrt(s.stiffness),
            viscous: self.viscous,
            coulomb: self.coulomb * s.coulomb,
            breakaway: self.breakaway * s.breakaway,
            stribeck_speed: self.stribeck_speed * s.stribeck_speed,
        }
    }

    /// The same pair with sliding and break-away friction this many times as high.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        Self { coulomb: self.coulomb * factor, breakaway: self.breakaway * factor, ..self }
    }

    /// Checks every field.
    ///
    /// # Errors
    /// Names the first field that is out of range.
    pub fn validate(&self) -> Result<(), BadParameter> {
        above_zero("bristle_stiffness", self.bristle_stiffness)?;
        not_negative("bristle_damping", self.bristle_damping)?;
        not_negative("viscous", self.viscous)?;
        above_zero("coulomb", self.coulomb)?;
        above_zero("stribeck_speed", self.stribeck_speed)?;
        if self.breakaway.is_finite() && self.breakaway >= self.coulomb {
            return Ok(());
        }
        let allowed = format!("a finite number, at least `coulomb` ({})", self.coulomb);
        Err(BadParameter::new("breakaway", self.breakaway, allowed))
    }
}

/// Friction of the next step as a line in the new speed: `constant + slope × speed`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrictionLine {
    /// Torque at zero new speed, N m.
    pub constant: f64,
    /// Torque per new speed, N m s/rad; never negative.
    pub slope: f64,
}

/// g(v) near one speed, on a straight line, held between Coulomb and break-away level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelTangent {
    pub(crate) speed: f64,
    pub(crate) level: f64,
    pub(crate) slope: f64,
    lowest: f64,
    highest: f64,
}

impl LevelTangent {
    /// g at a speed close by, N m. Held to the curve's own range, so the bristle bound holds.
    #[inline]
    #[must_use]
    pub fn level(&self, speed: f64) -> f64 {
        lanes::held(self.level + self.slope * (speed - self.speed), self.lowest, self.highest)
    }
}

/// A LuGre pair, ready to step. The bristle deflection lives with the caller.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LuGre {
    params: LuGreParams,
    inverse_stribeck_speed: f64,
}

/// (v/vs)² beyond which the Stribeck term is below half a unit in the last place of the sum.
const STRIBECK_GONE: f64 = 40.0;

/// exp(−(v/vs)²), held where it no longer counts. The exponential agrees with libm's to 4 units in the last place.
#[inline(always)]
pub(crate) fn stribeck_share(ratio: f64) -> f64 {
    let [share] = lanes::exp([-lanes::smaller(ratio * ratio, STRIBECK_GONE)]);
    share
}

impl LuGre {
    /// Takes checked parameters.
    ///
    /// # Errors
    /// See [`LuGreParams::validate`].
    pub fn try_new(params: LuGreParams) -> Result<Self, BadParameter> {
        params.validate()?;
        Ok(Self { params, inverse_stribeck_speed: 1.0 / params.stribeck_speed })
    }

    /// The parameters it was made of.
    #[must_use]
    pub fn params(&self) -> &LuGreParams {
        &self.params
    }

    /// g(v): the level that a steadily sliding bristle carries, N m.
    #[inline]
    #[must_use]
    pub fn level(&self, speed: f64) -> f64 {
        self.level_and_fall(speed).0
    }

    /// g(v), and the Stribeck part (Fs − Fc) exp(−(v/vs)²) in it.
    #[inline]
    fn level_and_fall(&self, speed: f64) -> (f64, f64) {
        let share = stribeck_share(speed * self.inverse_stribeck_speed);
        let fall = (self.params.breakaway - self.params.coulomb) * share;
        (self.params.coulomb + fall, fall)
    }

    /// The curve's tangent at a speed: cheap levels for speeds close by.
    #[inline]
    #[must_use]
    pub fn tangent(&self, speed: f64) -> LevelTangent {
        let (level, fall) = self.level_and_fall(speed);
        let slope = -2.0 * speed * self.inverse_stribeck_speed * self.inverse_stribeck_speed * fall;
        LevelTangent { speed, level, slope, lowest: self.params.coulomb, highest: self.params.breakaway }
    }

    /// Friction at steady speed: sign(v) g(v) + σ2 v, N m.
    #[must_use]
    pub fn steady(&self, speed: f64) -> f64 {
        let direction = if speed == 0.0 { 0.0 } else { 1.0_f64.copysign(speed) };
        direction * self.level(speed) + self.params.viscous * speed
    }

    /// Friction at an instant, N m.
    #[must_use]
    pub fn torque(&self, bristle: f64, speed: f64) -> f64 {
        let p = &self.params;
        let rate = speed - p.bristle_stiffness * speed.abs() / self.level(speed) * bristle;
        p.bristle_stiffness * bristle + p.bristle_damping * rate + p.viscous * speed
    }

    /// Friction over the next step, linear in the new speed, with |v|/g(v) taken at `speed_guess`
    /// and the local friction level `level` = g(`speed_guess`) (times any local factor).
    #[inline]
    #[must_use]
    pub fn line(&self, bristle: f64, speed_guess: f64, level: f64, dt: f64) -> FrictionLine {
        let p = &self.params;
        let damping_per_dt = p.bristle_damping / dt;
        // c / (1 + Δt σ0 |v| / g), with one division.
        let share = level / (level + dt * p.bristle_stiffness * speed_guess.abs());
        let gain = (p.bristle_stiffness + damping_per_dt) * share;
        FrictionLine { constant: (gain - damping_per_dt) * bristle, slope: gain * dt + p.viscous }
    }

    /// New bristle deflection once the new speed is known. The same speed stands in numerator and
    /// denominator: that keeps |z| ≤ max(|z|, g/σ0) for every step length.
    #[inline]
    #[must_use]
    pub fn advance(&self, bristle: f64, new_speed: f64, level: f64, dt: f64) -> f64 {
        let worn = dt * self.params.bristle_stiffness * new_speed.abs();
        (bristle + dt * new_speed) * level / (level + worn)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_breakaway_below_coulomb_is_refused_by_name() {
        let params = LuGreParams { breakaway: 0.1, ..LuGreParams::bench_ring_a() };
        assert_eq!(LuGre::try_new(params).unwrap_err().field, "breakaway");
    }

    #[test]
    fn every_condition_of_the_bench_ring_is_valid() {
        use RingCondition::*;
        for condition in [Clean, Sooted, Worn, Hot, Seized] {
            LuGreParams::bench_ring_a().in_condition(condition).validate().unwrap();
        }
    }

    proptest! {
        #[test]
        fn the_bristle_stays_bounded_at_any_speed_and_step(
            speeds in proptest::collection::vec(-1e3_f64..1e3, 1..200), dt in 1e-6_f64..1.0,
        ) {
            let friction = LuGre::try_new(LuGreParams::bench_ring_a()).unwrap();
            let bound = friction.params.breakaway / friction.params.bristle_stiffness;
            let mut bristle = 0.0;
            for speed in speeds {
                bristle = friction.advance(bristle, speed, friction.level(speed), dt);
                prop_assert!(bristle.abs() <= bound * (1.0 + 1e-12));
            }
        }
    }
}
