//! A unit and what happens around it while it learns.

use firmware_core::learn::{Check, CheckSet};
use firmware_core::units::Duty;
use serde::Serialize;

use super::Size;
use plant::actuator::{StopCondition, TravelEnd};
use plant::world::{DebrisParams, Fault, FaultKind, StopFault, WorldConfig};

/// What happens around the unit while it learns.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Mishaps {
    /// The host goes silent at this time, s, and its lease runs out.
    pub host_silent_at_s: Option<f64>,
    /// The controller restarts at this time, s: the tick number jumps.
    pub restart_at_s: Option<f64>,
    /// The bridge keeps this duty from this time on, s.
    pub duty_stuck: Option<(f64, f64)>,
    /// Share of the asked duty that the bridge gives; nothing means all of it.
    pub duty_share: Option<f64>,
    /// Noise bytes arrive on the line all the time; the learner runs on the board and must not notice.
    pub garbage_on_line: Option<u32>,
}

impl Mishaps {
    /// The duty that the bridge gives at a time.
    #[must_use]
    pub fn duty(&self, asked: Duty, time_s: f64) -> Duty {
        match self.duty_stuck {
            Some((at_s, duty)) if time_s >= at_s => Duty::saturating(duty as f32, Duty::ZERO),
            _ => match self.duty_share {
                Some(share) => Duty::saturating(asked.get() * share as f32, Duty::ZERO),
                None => asked,
            },
        }
    }
}

/// A unit and what happens around it.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// The unit.
    pub world: WorldConfig,
    /// What happens around it.
    pub mishaps: Mishaps,
    /// Checks that a person would find failed on this unit, looking carefully.
    pub failed_checks: Vec<Check>,
    pub(super) size: Size,
}

impl Case {
    /// A case without a fault; the unit is the nominal one of its kind.
    #[must_use]
    pub fn of(world: WorldConfig) -> Self {
        let size = Size::of(&world);
        Self { world, mishaps: Mishaps::default(), failed_checks: Vec::new(), size }
    }

    /// A case without a fault: one unit of the kind whose nominal unit is given.
    #[must_use]
    pub fn of_kind(nominal: &WorldConfig, world: WorldConfig) -> Self {
        Self { size: Size::of(nominal), ..Self::of(world) }
    }

    /// The same unit taken off its ring for a free learn: the lever turns alone.
    #[must_use]
    pub fn off_the_ring(mut self) -> Self {
        self.fault(FaultKind::RodOff);
        self
    }

    /// What a careful person confirms on this unit: everything but what fails.
    #[must_use]
    pub fn checks_passed(&self) -> CheckSet {
        self.failed_checks.iter().fold(CheckSet::ALL, |passed, failed| passed.without(*failed))
    }

    /// Openings between which the lever can stand, from what shuts off its ends.
    #[must_use]
    pub fn free_openings(&self) -> [f64; 2] {
        let Ok(travel) = self.world.travel() else { return [0.0, 1.0] };
        let mut free = [0.0_f64, 1.0_f64];
        for fault in &self.world.faults {
            let at = match fault.what {
                FaultKind::Obstruction(obstruction) | FaultKind::Debris(DebrisParams { obstruction, .. }) => {
                    (obstruction.shuts_off, obstruction.stop.angle_rad)
                }
                FaultKind::RingStop(end, StopFault::Changed(StopCondition::Shifted(by_rad))) => {
                    let Some(stop) = self.world.actuator.ring.stops.at(end) else { continue };
                    (end, stop.angle_rad + by_rad)
                }
                FaultKind::RingStop(..)
                | FaultKind::LeverStop(..)
                | FaultKind::PositionSensor(_)
                | FaultKind::CurrentSensor(_)
                | FaultKind::BoostSensor(_)
                | FaultKind::ExhaustSensor(_)
                | FaultKind::Barometer(_)
                | FaultKind::TurboSpeedSensor(_)
                | FaultKind::Supply(_)
                | FaultKind::SupplyResistance(_)
                | FaultKind::WindingOpen
                | FaultKind::ConverterFrozen
                | FaultKind::Bridge
                | FaultKind::MotorReversed
                | FaultKind::SpringBroken
                | FaultKind::Ring(_)
                | FaultKind::SootPatch(_)
                | FaultKind::JointPlayDeg(_)
                | FaultKind::RodOff
                | FaultKind::HoseLeakMm2(_)
                | FaultKind::HoseBlockedKpa(_)
                | FaultKind::Fuel(_) => continue,
            };
            let opening = travel.opening(at.1);
            if at.0 == self.size.open() {
                free[1] = free[1].min(opening);
            } else {
                free[0] = free[0].max(opening);
            }
        }
        free
    }

    /// Where to put the lever before the start: a share of the free range, or where the spring would hold it
    /// when that is not its usual place.
    #[must_use]
    pub fn start_opening(&self, share: Option<f64>) -> Option<f64> {
        let [low, high] = self.free_openings();
        match (share, self.size.closed()) {
            (Some(share), _) => Some(low + share * (high - low)),
            // The spring pulls toward the low angle.
            (None, TravelEnd::High) => (high < 1.0).then_some(high),
            (None, TravelEnd::Low) => (low > 0.0).then_some(low),
        }
    }

    /// +1 where closing raises the counts.
    pub(super) fn counts_sign_toward_closed(&self) -> f64 {
        self.size.closed().sign() * self.world.sensors.position.counts_per_rad.signum()
    }

    pub(super) fn fault(&mut self, what: FaultKind) {
        self.world.faults.push(Fault::standing(what));
    }

    pub(super) fn fault_from(&mut self, at_s: f64, what: FaultKind) {
        self.world.faults.push(Fault { at_s, until_s: None, what });
    }
}
