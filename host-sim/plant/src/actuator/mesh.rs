//! Friction between a gear's teeth: a share of the load that they carry, against the motion, held at rest.
//!
//! In: the efficiencies of the gear, the load on its output, the torque that would move it. Out: the friction
//! torque. A back-driving efficiency of 0 or less is a gear that locks itself: no load moves the motor.
//!
//! A square-threaded screw of lead angle λ and friction angle φ has the efficiencies tan λ/tan(λ + φ) driving and
//! tan(λ − φ)/tan λ driven back; it locks itself where φ is at least λ (screw theory, as in any handbook of
//! machine elements; from memory).

use serde::{Deserialize, Serialize};

use crate::check::{BadParameter, above_zero, between};
use crate::lanes::held;

/// What the mesh passes on either way.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeshParams {
    /// Share of the motor torque that reaches the load when the motor drives it; above 0, at most 1.
    pub driving_efficiency: f64,
    /// Share of the load that reaches the motor when the load drives it, −20 to 1; 0 or less: the gear locks
    /// itself, and the motor has to push that share to move with the load.
    pub back_driving_efficiency: f64,
}

impl MeshParams {
    pub(super) fn validate(&self) -> Result<(), BadParameter> {
        above_zero("driving_efficiency", self.driving_efficiency)?;
        between("driving_efficiency", self.driving_efficiency, 0.0, 1.0)?;
        between("back_driving_efficiency", self.back_driving_efficiency, -20.0, 1.0)
    }

    /// The mesh under a load, N m on the lever, positive where it would raise the angle.
    pub(super) fn under(&self, load_nm: f64) -> Mesh {
        Mesh {
            load_nm,
            against_nm: load_nm.abs() * (1.0 / self.driving_efficiency - 1.0),
            along_nm: load_nm.abs() * (1.0 - self.back_driving_efficiency),
        }
    }
}

/// A mesh under load over one step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mesh {
    load_nm: f64,
    /// Friction when the lever moves against the load.
    against_nm: f64,
    /// Friction when it moves the way that the load pushes.
    along_nm: f64,
}

impl Mesh {
    /// Friction torque where all else would push the lever with `push_nm` from rest, momentum included.
    pub(super) fn friction(&self, push_nm: f64) -> f64 {
        let most = if push_nm * self.load_nm > 0.0 { self.along_nm } else { self.against_nm };
        held(push_nm, -most, most)
    }
}
