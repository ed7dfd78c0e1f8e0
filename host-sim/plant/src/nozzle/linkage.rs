//! From the actuator's lever to the vanes: a four-bar linkage turns the ring, pins turn the vanes.
//!
//! In: the share of the lever's travel, 0 at the closed stop … 1 at the open stop. Out: the share of the
//! vane's rotation. Refuses linkages that cannot be assembled over their travel, or that fold back.

use core::f64::consts::TAU;

/// A planar four-bar linkage: crank and rocker on fixed pivots, joined by a rod.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FourBar {
    /// Actuator lever (crank), mm.
    pub crank_mm: f64,
    /// Rod (coupler), mm.
    pub rod_mm: f64,
    /// Ring lever (rocker), mm.
    pub rocker_mm: f64,
    /// Distance between the two fixed pivots, mm.
    pub base_mm: f64,
}

impl FourBar {
    /// Rocker angle in rad, 0 … 2π, for a crank angle in rad, both from the line of the fixed pivots, in the open
    /// (not crossed) assembly; none where the links do not meet. Freudenstein's equation, solved in the
    /// half angle.
    #[must_use]
    pub fn rocker_angle(&self, crank_rad: f64) -> Option<f64> {
        let (a, b, c, d) = (self.crank_mm, self.rod_mm, self.rocker_mm, self.base_mm);
        let (sin, cos) = (libm::sin(crank_rad), libm::cos(crank_rad));
        let k1 = d / a;
        let k2 = d / c;
        let k3 = (a * a - b * b + c * c + d * d) / (2.0 * a * c);
        let quadratic = cos - k1 - k2 * cos + k3;
        let linear = -2.0 * sin;
        let constant = k1 - (k2 + 1.0) * cos + k3;
        let root = linear * linear - 4.0 * quadratic * constant;
        if root < 0.0 {
            return None;
        }
        // atan2 instead of a division: the quadratic term may vanish.
        let angle = 2.0 * libm::atan2(-linear - libm::sqrt(root), 2.0 * quadratic);
        // The half angle's turn: back into one circle.
        Some(if angle < 0.0 { angle + TAU } else { angle })
    }
}

/// The pins of the ring in the slots of the vane arms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SlotDrive {
    /// Radius of the ring's pins, mm.
    pub pin_radius_mm: f64,
    /// Radius of the vanes' pivots, mm.
    pub pivot_radius_mm: f64,
}

impl SlotDrive {
    /// Rotation of the vane arm, rad, when the ring stands `ring_rad` away from the pin lying on the
    /// radius through the pivot.
    #[must_use]
    pub fn arm_angle(&self, ring_rad: f64) -> f64 {
        let across = self.pin_radius_mm * libm::sin(ring_rad);
        let outward = self.pin_radius_mm * libm::cos(ring_rad) - self.pivot_radius_mm;
        // Pins inside the pivot circle drive arms that point inward: measure from that direction.
        if self.pin_radius_mm < self.pivot_radius_mm {
            libm::atan2(across, -outward)
        } else {
            libm::atan2(across, outward)
        }
    }

    /// Vane degrees per ring degree at mid-travel.
    #[must_use]
    pub fn ratio_at_mid_travel(&self) -> f64 {
        self.pin_radius_mm / (self.pin_radius_mm - self.pivot_radius_mm).abs()
    }
}

/// How the lever's travel becomes vane rotation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Linkage {
    /// Not measured: the vane turns in proportion to the lever.
    Proportional,
    /// Lever, rod, ring and slots as measured.
    Measured {
        /// Lever, rod and ring lever.
        four_bar: FourBar,
        /// Lever angle at the closed stop, rad, from the line of the fixed pivots.
        lever_closed_rad: f64,
        /// Lever travel from the closed to the open stop, rad, signed.
        lever_travel_rad: f64,
        /// Ring pins and vane arms; the pins pass the pivots' radii at mid-travel.
        slots: SlotDrive,
    },
}

/// Why a linkage cannot work.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum LinkageError {
    /// The links do not reach each other.
    #[error(
        "the rod does not reach from lever to ring lever at {share:.2} of the travel; check the four \
         lengths"
    )]
    DoesNotAssemble {
        /// Share of the lever travel.
        share: f64,
    },
    /// The vane turns back although the lever goes on.
    #[error("the linkage folds back at {share:.2} of the travel; check lever angle, travel and lengths")]
    FoldsBack {
        /// Share of the lever travel.
        share: f64,
    },
}

impl Linkage {
    /// Vane rotation as a share of the rotation between the stops, for a share of lever travel. None
    /// where the links do not meet. Shares a little outside 0 … 1 are allowed: stops can be moved.
    #[must_use]
    pub fn vane_share(&self, lever_share: f64) -> Option<f64> {
        let Self::Measured { slots, .. } = self else { return Some(lever_share) };
        let (closed, open) = (self.ring_angle(0.0)?, self.ring_angle(1.0)?);
        let middle = (closed + open) / 2.0;
        let vane = |ring: f64| slots.arm_angle(ring - middle);
        let (from, to) = (vane(closed), vane(open));
        Some((vane(self.ring_angle(lever_share)?) - from) / (to - from))
    }

    /// Vane rotation between the stops that the measured linkage makes, degrees; none where it was not
    /// measured or does not assemble.
    #[must_use]
    pub fn vane_rotation_deg(&self) -> Option<f64> {
        let Self::Measured { slots, .. } = self else { return None };
        let half = (self.ring_angle(1.0)? - self.ring_angle(0.0)?) / 2.0;
        Some((slots.arm_angle(half) - slots.arm_angle(-half)).abs().to_degrees())
    }

    /// Ring rotation at a share of lever travel, rad.
    fn ring_angle(&self, lever_share: f64) -> Option<f64> {
        match self {
            Self::Proportional => Some(lever_share),
            Self::Measured { four_bar, lever_closed_rad, lever_travel_rad, .. } => {
                let lever = lever_closed_rad + lever_share * lever_travel_rad;
                four_bar.rocker_angle(lever)
            }
        }
    }

    /// Walks the travel and checks that it assembles and never turns back.
    ///
    /// # Errors
    /// At the first share of travel where it does not.
    pub fn check(&self) -> Result<(), LinkageError> {
        const STEPS: u32 = 200;
        let mut before = f64::NEG_INFINITY;
        for step in 0..=STEPS {
            let share = f64::from(step) / f64::from(STEPS);
            let vane = self.vane_share(share).ok_or(LinkageError::DoesNotAssemble { share })?;
            if vane.is_nan() || vane <= before {
                return Err(LinkageError::FoldsBack { share });
            }
            before = vane;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::{FourBar, Linkage, LinkageError, SlotDrive};

    fn measured(rod_mm: f64) -> Linkage {
        Linkage::Measured {
            four_bar: FourBar { crank_mm: 25.0, rod_mm, rocker_mm: 30.0, base_mm: 60.0 },
            lever_closed_rad: 60.0_f64.to_radians(),
            lever_travel_rad: 60.0_f64.to_radians(),
            slots: SlotDrive { pin_radius_mm: 36.0, pivot_radius_mm: 28.0 },
        }
    }

    #[test]
    fn a_measured_linkage_starts_at_0_ends_at_1_and_bends_in_between() {
        let linkage = measured(58.0);
        linkage.check().unwrap();
        assert!(linkage.vane_share(0.0).unwrap().abs() < 1e-12);
        assert!((linkage.vane_share(1.0).unwrap() - 1.0).abs() < 1e-12);
        assert!((linkage.vane_share(0.25).unwrap() - 0.25).abs() > 1e-3);
    }

    #[test]
    fn a_rod_too_short_is_refused() {
        assert!(matches!(measured(10.0).check(), Err(LinkageError::DoesNotAssemble { .. })));
    }

    #[test]
    fn a_linkage_past_its_dead_centre_is_refused() {
        let Linkage::Measured { four_bar, slots, .. } = measured(58.0) else { panic!("measured") };
        let full_turn = Linkage::Measured {
            four_bar,
            lever_closed_rad: 0.0,
            lever_travel_rad: core::f64::consts::TAU * 0.9,
            slots,
        };
        assert!(matches!(full_turn.check(), Err(LinkageError::FoldsBack { .. })));
    }
}
