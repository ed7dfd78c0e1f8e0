//! Lever and ring over one step while neither touches a stop: the common case, without a branch.
//!
//! In: what the two bodies are like, how they move, motor and gas torque. Out: how they move a step later,
//! and how far a stop was overrun (then the step does not count). Alone and in lanes, the same function gives
//! the same bits.

use super::Bodies;
use super::contact::Contacts;
use super::params::{ActuatorParams, LeverJoint};
use crate::friction::stribeck_share;
use crate::lanes::{held, laned, larger, smaller};

/// Speed below which the load-dependent gear loss acts like a damper, rad/s: keeps its sign change smooth.
pub(super) const GEAR_LOSS_SPEED: f64 = 0.05;

laned! {
    /// Two bodies, ring friction and the joint, with the step length worked in. SI units at the lever.
    struct LeverAndRing across LeverAndRingLanes {
        dt,
        /// Inertia over the step length.
        lever_momentum,
        /// Everything that the new lever speed is multiplied by, but for gear loss and joint.
        lever_drag,
        preload,
        rate,
        gear_loss,
        ring_momentum,
        /// σ1/Δt.
        damping_per_dt,
        /// σ0 + σ1/Δt.
        gain,
        /// σ0 Δt.
        wear,
        /// What the new ring speed is multiplied by, friction apart.
        ring_drag,
        coulomb,
        breakaway,
        inverse_stribeck_speed,
        half_play,
        joint_stiffness,
        /// What the joint adds per difference of the new speeds.
        joint_slope,
        lever_from,
        lever_to,
        ring_from,
        ring_to,
    }
}

laned! {
    /// How the two bodies move, with g(v) near the present ring speed on its tangent.
    struct Motion across MotionLanes {
        lever_rad,
        lever_rad_s,
        ring_rad,
        ring_rad_s,
        bristle_rad,
        curve_speed,
        curve_level,
        curve_slope,
    }
}

laned! {
    /// What pushes the two bodies during a step, the same in both passes.
    struct Pushes across PushesLanes {
        /// As in [`BodyRow`].
        lever_push,
        lever_drag,
        lever_scale,
        /// On the ring, friction apart.
        ring,
    }
}

/// One body's equation, `drag × new speed = push` with the joint apart, all of it times `scale`: what would be
/// divided by it is multiplied in, so that one division at the end serves both bodies.
#[derive(Clone, Copy)]
struct BodyRow {
    push: f64,
    drag: f64,
    scale: f64,
}

impl BodyRow {
    /// With the joint's flank pushing `constant + slope × difference of the new speeds` against it.
    #[inline(always)]
    fn joined(self, constant: f64, slope: f64) -> Self {
        let Self { push, drag, scale } = self;
        Self { push: push - constant * scale, drag: drag + slope * scale, scale }
    }
}

impl LeverAndRing {
    pub(super) fn new(params: &ActuatorParams, bodies: &Bodies, stops: [&Contacts; 2], dt: f64) -> Self {
        let (friction, [lever, ring]) = (&params.ring.friction, stops.map(Contacts::free_range));
        let lever_momentum = bodies.lever_kg_m2 / dt;
        // A joint that is not there never closes its gap.
        let (half_play, joint_stiffness, joint_damping) = match params.linkage {
            LeverJoint::Lash { play_rad, stiffness_nm_per_rad, damping_nm_s_per_rad } => {
                (0.5 * play_rad, stiffness_nm_per_rad, damping_nm_s_per_rad)
            }
            LeverJoint::Rigid | LeverJoint::Detached => (f64::INFINITY, 0.0, 0.0),
        };
        Self {
            dt,
            lever_momentum,
            lever_drag: lever_momentum
                + params.gear.viscous_nm_s_per_rad
                + bodies.spring.rate_nm_per_rad * dt,
            preload: bodies.spring.preload_nm,
            rate: bodies.spring.rate_nm_per_rad,
            gear_loss: bodies.gear_loss,
            ring_momentum: params.ring.inertia_kg_m2 / dt,
            damping_per_dt: friction.bristle_damping / dt,
            gain: friction.bristle_stiffness + friction.bristle_damping / dt,
            wear: dt * friction.bristle_stiffness,
            ring_drag: params.ring.inertia_kg_m2 / dt + friction.viscous,
            coulomb: friction.coulomb,
            breakaway: friction.breakaway,
            inverse_stribeck_speed: 1.0 / friction.stribeck_speed,
            half_play,
            joint_stiffness,
            joint_slope: joint_stiffness * dt + joint_damping,
            lever_from: lever.0,
            lever_to: lever.1,
            ring_from: ring.0,
            ring_to: ring.1,
        }
    }

    /// The motion a step later, and by how much (rad) either body passed a stop on the way; 0 or less: clear.
    /// `patch` multiplies the friction level.
    pub(super) fn step(&self, from: &Motion, motor_nm: f64, gas_nm: f64, patch: f64) -> (Motion, f64) {
        let pushes = self.pushes(from, motor_nm, gas_nm);
        let mut now = *from;
        let overrun = self.pass(&mut now, &pushes, patch);
        self.take_tangent(&mut now);
        let overrun = larger(self.pass(&mut now, &pushes, patch), overrun);
        self.arrive(&mut now, patch);
        (now, overrun)
    }

    #[inline(always)]
    pub(super) fn pushes(&self, from: &Motion, motor_nm: f64, gas_nm: f64) -> Pushes {
        // What the gear loses stands against the motion: torque lost over speed is drag, held where the lever is slow.
        let scale = larger(from.lever_rad_s.abs(), GEAR_LOSS_SPEED);
        let push =
            self.lever_momentum * from.lever_rad_s + motor_nm - self.preload - self.rate * from.lever_rad;
        Pushes {
            lever_push: push * scale,
            lever_drag: self.lever_drag * scale + self.gear_loss * motor_nm.abs(),
            lever_scale: scale,
            ring: self.ring_momentum * from.ring_rad_s + gas_nm,
        }
    }

    /// New speeds with friction and joint linearised at the present ones; gives the overrun at those.
    #[inline(always)]
    pub(super) fn pass(&self, now: &mut Motion, pushes: &Pushes, patch: f64) -> f64 {
        let overrun = self.overrun(now);
        let level = patch * self.level(now);
        let scale = level + self.wear * now.ring_rad_s.abs();
        let held = self.gain * level;
        let lever = BodyRow { push: pushes.lever_push, drag: pushes.lever_drag, scale: pushes.lever_scale };
        let ring = BodyRow {
            push: (pushes.ring + self.damping_per_dt * now.bristle_rad) * scale - held * now.bristle_rad,
            drag: self.ring_drag * scale + held * self.dt,
            scale,
        };
        (now.lever_rad_s, now.ring_rad_s) = self.join(now, lever, ring);
        overrun
    }

    /// Bristle and angles with the new speeds.
    #[inline(always)]
    pub(super) fn arrive(&self, now: &mut Motion, patch: f64) {
        let level = patch * self.level(now);
        let worn = self.wear * now.ring_rad_s.abs();
        now.bristle_rad = (now.bristle_rad + self.dt * now.ring_rad_s) * level / (level + worn);
        now.lever_rad += self.dt * now.lever_rad_s;
        now.ring_rad += self.dt * now.ring_rad_s;
    }

    /// How far the angles, now or at the end of the step, lie beyond the free range; `guess` holds the
    /// angles of now and the guessed speeds.
    #[inline(always)]
    pub(super) fn overrun(&self, guess: &Motion) -> f64 {
        let beyond = |angle: f64, speed: f64, from: f64, to: f64| {
            let next = angle + self.dt * speed;
            larger(from - smaller(angle, next), larger(angle, next) - to)
        };
        larger(
            beyond(guess.lever_rad, guess.lever_rad_s, self.lever_from, self.lever_to),
            beyond(guess.ring_rad, guess.ring_rad_s, self.ring_from, self.ring_to),
        )
    }

    /// New speeds of lever and ring: together through the joint's flank where that pushes, else each on its own.
    #[inline(always)]
    fn join(&self, guess: &Motion, lever: BodyRow, ring: BodyRow) -> (f64, f64) {
        let gap = guess.lever_rad - guess.ring_rad;
        let next = gap + self.dt * (guess.lever_rad_s - guess.ring_rad_s);
        let is_high = larger(gap, next) > self.half_play;
        let is_low = smaller(gap, next) < -self.half_play;
        let side = if is_high { 1.0 } else { -1.0 };
        let constant = self.joint_stiffness * (gap - side * self.half_play);
        let slope = self.joint_slope;
        let (a, b) = (lever.joined(constant, slope), ring.joined(-constant, slope));
        let lever_share = a.push * b.drag + slope * a.scale * b.push;
        let ring_share = b.push * a.drag + slope * b.scale * a.push;
        let determinant = a.drag * b.drag - (slope * a.scale) * (slope * b.scale);
        let push = side * (constant * determinant + slope * (lever_share - ring_share));
        let is_joined = (is_high | is_low) & (push > 0.0);
        let inverse = 1.0 / if is_joined { determinant } else { lever.drag * ring.drag };
        let lever_share = if is_joined { lever_share } else { lever.push * ring.drag };
        let ring_share = if is_joined { ring_share } else { ring.push * lever.drag };
        (lever_share * inverse, ring_share * inverse)
    }

    /// g at the ring speed of `at`, from its tangent, held to the curve's own range.
    #[inline(always)]
    fn level(&self, at: &Motion) -> f64 {
        let straight = at.curve_level + at.curve_slope * (at.ring_rad_s - at.curve_speed);
        held(straight, self.coulomb, self.breakaway)
    }

    #[inline(always)]
    pub(super) fn take_tangent(&self, at: &mut Motion) {
        let ratio = at.ring_rad_s * self.inverse_stribeck_speed;
        let fall = (self.breakaway - self.coulomb) * stribeck_share(ratio);
        at.curve_speed = at.ring_rad_s;
        at.curve_level = self.coulomb + fall;
        at.curve_slope = -2.0 * ratio * self.inverse_stribeck_speed * fall;
    }
}
