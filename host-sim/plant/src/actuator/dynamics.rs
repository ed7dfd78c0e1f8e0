//! Lever and ring over one step: the implicit update of one body or of two in contact.
//!
//! In: the present state, the current at the step's end, the gas torque. Out: new speeds, angles and
//! bristles. Friction and contacts are linear in the new speed; two passes find where they are linearised.

use super::Actuator;
use super::between_stops::{GEAR_LOSS_SPEED, LeverAndRing, Motion};
use super::contact::{Contacts, SpeedRow};
use super::mesh::Mesh;
use super::params::{LeverJoint, SootPatch};

/// Fixed-point passes on |v|/g(v) and the contacts: with two, the scheme is first order and the bristle bound holds.
const PASSES: usize = 2;

impl Actuator {
    /// Motor torque at the lever, N m.
    pub(super) fn motor_torque(&self) -> f64 {
        self.params.gear.ratio * self.winding.torque_constant * self.state.current_a
    }

    /// Lever's own equation: inertia, motor, spring, viscous and load-dependent gear loss.
    #[inline]
    fn lever_row(&self, inertia: f64, dt: f64) -> SpeedRow {
        let motor = self.motor_torque();
        let speed = self.state.lever_rad_s;
        let momentum = inertia / dt;
        let lost = if self.bodies.gear_loss == 0.0 {
            0.0
        } else {
            self.bodies.gear_loss * motor.abs() / speed.abs().max(GEAR_LOSS_SPEED)
        };
        let (preload, rate) = (self.bodies.spring.preload_nm, self.bodies.spring.rate_nm_per_rad);
        SpeedRow {
            numerator: momentum * speed + motor - preload - rate * self.state.lever_rad,
            denominator: momentum + self.params.gear.viscous_nm_s_per_rad + lost + rate * dt,
        }
    }

    /// The gear's mesh under the load that stands on the lever now; `gas_nm` on a ring that is one with it.
    fn mesh(&self, gas_nm: f64) -> Option<Mesh> {
        let mesh = self.params.gear.mesh?;
        let state = &self.state;
        let beyond = match self.params.linkage {
            LeverJoint::Rigid => gas_nm - self.friction.torque(state.bristle_rad, state.ring_rad_s),
            LeverJoint::Lash { .. } | LeverJoint::Detached => self
                .flank((state.lever_rad_s, state.ring_rad_s), 0.0)
                .map_or(0.0, |flank| -flank.torque((state.lever_rad_s, state.ring_rad_s))),
        };
        let stops = self.lever_contacts.torque(state.lever_rad, state.lever_rad_s);
        Some(mesh.under(beyond + stops - self.bodies.spring.torque(state.lever_rad)))
    }

    /// Adds the ring's friction to a row.
    #[inline]
    fn rub(&self, row: SpeedRow, guess: f64, level: f64, dt: f64) -> SpeedRow {
        let line = self.friction.line(self.state.bristle_rad, guess, level, dt);
        SpeedRow { numerator: row.numerator - line.constant, denominator: row.denominator + line.slope }
    }

    pub(super) fn step_as_one(&mut self, gas_torque_nm: f64, dt: f64) {
        let inertia = self.bodies.lever_kg_m2 + self.params.ring.inertia_kg_m2;
        let angle = self.state.lever_rad;
        let patch = patch_factor(self.params.ring.soot_patch, angle);
        let (mut lever, mesh) = (self.lever_row(inertia, dt), self.mesh(gas_torque_nm));
        lever.numerator += gas_torque_nm;
        let (mut guess, mut curve) = (self.state.lever_rad_s, self.curve);
        for pass in 1..=PASSES {
            let row = self.rub(lever, guess, patch * curve.level(guess), dt);
            let next = touch(&self.lever_contacts, row, mesh, angle, guess, dt);
            let is_settled = self.is_settled(guess, next);
            guess = next;
            if is_settled || pass == PASSES {
                break;
            }
            curve = self.friction.tangent(guess);
        }
        let level = patch * curve.level(guess);
        self.state.bristle_rad = self.friction.advance(self.state.bristle_rad, guess, level, dt);
        self.curve = curve;
        self.state.lever_rad_s = guess;
        self.state.lever_rad += dt * guess;
        self.state.ring_rad_s = guess;
        self.state.ring_rad = self.state.lever_rad;
    }

    pub(super) fn step_as_two(&mut self, gas_torque_nm: f64, dt: f64) {
        let patch = patch_factor(self.params.ring.soot_patch, self.state.ring_rad);
        if self.params.gear.mesh.is_some() {
            return self.step_part_by_part(gas_torque_nm, patch, dt);
        }
        let (from, motor_nm) = (self.motion(), self.motor_torque());
        let pair = self.pair(dt);
        // What is over at the start needs no try.
        if pair.overrun(&from) <= 0.0 {
            let (motion, overrun) = pair.step(&from, motor_nm, gas_torque_nm, patch);
            if overrun <= 0.0 {
                return self.set_motion(&motion);
            }
        }
        self.step_part_by_part(gas_torque_nm, patch, dt);
    }

    /// Both bodies with a stop within reach of one of them, or a gear whose mesh rubs.
    fn step_part_by_part(&mut self, gas_torque_nm: f64, patch: f64, dt: f64) {
        let lever = (self.lever_row(self.bodies.lever_kg_m2, dt), self.mesh(gas_torque_nm));
        let momentum = self.params.ring.inertia_kg_m2 / dt;
        let ring =
            SpeedRow { numerator: momentum * self.state.ring_rad_s + gas_torque_nm, denominator: momentum };
        let mut guess = (self.state.lever_rad_s, self.state.ring_rad_s);
        let mut curve = self.curve;
        for pass in 1..=PASSES {
            let rubbed = self.rub(ring, guess.1, patch * curve.level(guess.1), dt);
            let next = self.join(lever, rubbed, guess, dt);
            let is_settled = self.is_settled(guess.0, next.0) && self.is_settled(guess.1, next.1);
            guess = next;
            if is_settled || pass == PASSES {
                break;
            }
            curve = self.friction.tangent(guess.1);
        }
        let level = patch * curve.level(guess.1);
        self.state.bristle_rad = self.friction.advance(self.state.bristle_rad, guess.1, level, dt);
        self.curve = curve;
        (self.state.lever_rad_s, self.state.ring_rad_s) = guess;
        self.state.lever_rad += dt * guess.0;
        self.state.ring_rad += dt * guess.1;
    }

    /// The two bodies with this step length worked in.
    #[inline]
    pub(super) fn pair(&mut self, dt: f64) -> &LeverAndRing {
        if self.pair.dt != dt {
            let stops = [&self.lever_contacts, &self.ring_contacts];
            self.pair = LeverAndRing::new(&self.params, &self.bodies, stops, dt);
        }
        &self.pair
    }

    #[inline]
    pub(super) fn motion(&self) -> Motion {
        let (state, curve) = (&self.state, &self.curve);
        Motion {
            lever_rad: state.lever_rad,
            lever_rad_s: state.lever_rad_s,
            ring_rad: state.ring_rad,
            ring_rad_s: state.ring_rad_s,
            bristle_rad: state.bristle_rad,
            curve_speed: curve.speed,
            curve_level: curve.level,
            curve_slope: curve.slope,
        }
    }

    #[inline]
    pub(super) fn set_motion(&mut self, to: &Motion) {
        let (state, curve) = (&mut self.state, &mut self.curve);
        (state.lever_rad, state.lever_rad_s) = (to.lever_rad, to.lever_rad_s);
        (state.ring_rad, state.ring_rad_s, state.bristle_rad) = (to.ring_rad, to.ring_rad_s, to.bristle_rad);
        (curve.speed, curve.level, curve.slope) = (to.curve_speed, to.curve_level, to.curve_slope);
    }

    /// Whether the speed changed by less than a millionth of the Stribeck speed: what another pass could
    /// still change then is below 1e-8 of the friction.
    #[inline]
    fn is_settled(&self, guess: f64, next: f64) -> bool {
        const NEGLIGIBLE: f64 = 1e-6;
        (next - guess).abs() <= NEGLIGIBLE * self.params.ring.friction.stribeck_speed
    }

    /// New speeds of lever and ring: the joint's flank where it pushes, else each on its own.
    #[inline]
    fn join(
        &self,
        (lever, mesh): (SpeedRow, Option<Mesh>),
        ring: SpeedRow,
        guess: (f64, f64),
        dt: f64,
    ) -> (f64, f64) {
        let (lever_rad, ring_rad) = (self.state.lever_rad, self.state.ring_rad);
        if let Some(flank) = self.flank(guess, dt) {
            let is_clear = self.lever_contacts.is_clear(lever_rad, guess.0, dt)
                && self.ring_contacts.is_clear(ring_rad, guess.1, dt);
            let speeds = if is_clear {
                flank.couple(lever, mesh, ring)
            } else {
                self.couple_at_stops(&flank, (lever, mesh), ring, guess, dt)
            };
            if flank.is_pushing(speeds) {
                return speeds;
            }
        }
        (
            touch(&self.lever_contacts, lever, mesh, lever_rad, guess.0, dt),
            touch(&self.ring_contacts, ring, None, ring_rad, guess.1, dt),
        )
    }

    /// Both bodies with the joint in contact and stops within reach.
    fn couple_at_stops(
        &self,
        flank: &Flank,
        (lever, mesh): (SpeedRow, Option<Mesh>),
        ring: SpeedRow,
        guess: (f64, f64),
        dt: f64,
    ) -> (f64, f64) {
        let (lever_rad, ring_rad) = (self.state.lever_rad, self.state.ring_rad);
        let loaded = |pushing: (Option<f64>, Option<f64>)| {
            flank.couple(
                self.lever_contacts.load(lever, lever_rad, guess.0, dt, pushing.0),
                mesh,
                self.ring_contacts.load(ring, ring_rad, guess.1, dt, pushing.1),
            )
        };
        let speeds = loaded((None, None));
        if self.lever_contacts.would_pull(lever_rad, guess.0, speeds.0, dt)
            || self.ring_contacts.would_pull(ring_rad, guess.1, speeds.1, dt)
        {
            return loaded((Some(speeds.0), Some(speeds.1)));
        }
        speeds
    }

    /// The flank of the joint that is in contact now or will be at the guessed speeds.
    #[inline]
    fn flank(&self, guess: (f64, f64), dt: f64) -> Option<Flank> {
        let LeverJoint::Lash { play_rad, stiffness_nm_per_rad, damping_nm_s_per_rad } = self.params.linkage
        else {
            return None;
        };
        let gap = self.state.lever_rad - self.state.ring_rad;
        let next = gap + dt * (guess.0 - guess.1);
        let half = 0.5 * play_rad;
        let side = if gap.max(next) > half {
            1.0
        } else if gap.min(next) < -half {
            -1.0
        } else {
            return None;
        };
        Some(Flank {
            side,
            constant: stiffness_nm_per_rad * (gap - side * half),
            slope: stiffness_nm_per_rad * dt + damping_nm_s_per_rad,
        })
    }
}

/// The joint's contact over one step: torque on the ring = constant + slope × (lever − ring speed).
#[derive(Debug, Clone, Copy)]
struct Flank {
    side: f64,
    constant: f64,
    slope: f64,
}

impl Flank {
    #[inline]
    fn couple(&self, lever: SpeedRow, mesh: Option<Mesh>, ring: SpeedRow) -> (f64, f64) {
        let (a, b) = (lever.denominator + self.slope, ring.denominator + self.slope);
        let (mut c, d) = (lever.numerator - self.constant, ring.numerator + self.constant);
        if let Some(mesh) = mesh {
            c -= mesh.friction(c + self.slope * d / b);
        }
        let inverse = 1.0 / (a * b - self.slope * self.slope);
        ((c * b + self.slope * d) * inverse, (a * d + self.slope * c) * inverse)
    }

    /// On the ring, N m.
    #[inline]
    fn torque(&self, speeds: (f64, f64)) -> f64 {
        self.constant + self.slope * (speeds.0 - speeds.1)
    }

    #[inline]
    fn is_pushing(&self, speeds: (f64, f64)) -> bool {
        self.side * self.torque(speeds) > 0.0
    }
}

/// New speed of a body on its own: free, or held by the contacts that push and by the gear.
#[inline]
fn touch(contacts: &Contacts, row: SpeedRow, mesh: Option<Mesh>, angle: f64, guess: f64, dt: f64) -> f64 {
    let speed = |row: SpeedRow| match mesh {
        None => row.speed(),
        Some(mesh) => (row.numerator - mesh.friction(row.numerator)) / row.denominator,
    };
    if contacts.is_clear(angle, guess, dt) {
        return speed(row);
    }
    let held = speed(contacts.load(row, angle, guess, dt, None));
    if contacts.would_pull(angle, guess, held, dt) {
        speed(contacts.load(row, angle, guess, dt, Some(held)))
    } else {
        held
    }
}

#[inline]
fn patch_factor(patch: Option<SootPatch>, angle: f64) -> f64 {
    let Some(patch) = patch else { return 1.0 };
    let off = ((angle - patch.centre_rad) / patch.half_width_rad).abs();
    if off >= 1.0 { 1.0 } else { 1.0 + (patch.factor - 1.0) * (1.0 - off * off) }
}
