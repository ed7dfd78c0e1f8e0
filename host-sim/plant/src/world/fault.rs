//! Everything that can go wrong in this world, with the time it sets in and, where it heals, ends.
//!
//! In: a fault as it stands in a file. `apply` has what each does.

use serde::{Deserialize, Serialize};

use super::DebrisParams;
use crate::actuator::{Obstruction, SootPatch, StopCondition, TravelEnd};
use crate::airpath::FuelResponse;
use crate::check::{BadParameter, between, not_negative};
use crate::friction::RingCondition;
use crate::sensor::{ChannelFault, PositionFault};

/// One fault with its times.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fault {
    /// When it sets in, s; 0 is from the start.
    #[serde(default)]
    pub at_s: f64,
    /// When it ends, s; without it, it stays.
    pub until_s: Option<f64>,
    /// What is wrong.
    pub what: FaultKind,
}

impl Fault {
    /// A fault that is there from the start and stays.
    #[must_use]
    pub fn standing(what: FaultKind) -> Self {
        Self { at_s: 0.0, until_s: None, what }
    }

    /// Checks the times, and what no part checks.
    ///
    /// # Errors
    /// Names the field.
    pub fn validate(&self) -> Result<(), BadParameter> {
        not_negative("at_s", self.at_s)?;
        if let FaultKind::Debris(debris) = &self.what {
            debris.validate().map_err(|e| e.within("what.debris"))?;
        }
        match self.until_s {
            Some(until_s) => between("until_s", until_s, self.at_s, f64::MAX),
            None => Ok(()),
        }
    }

    pub(crate) fn is_present(&self, time_s: f64) -> bool {
        time_s >= self.at_s && self.until_s.is_none_or(|until_s| time_s < until_s)
    }
}

/// What has become of an end stop.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum StopFault {
    /// It has changed.
    Changed(StopCondition),
    /// It is gone.
    Missing,
    /// It sits loose: each touch finds it elsewhere within ± `play_rad`, and pushes it out by `drift_rad`.
    Loose {
        /// Half the range of positions, rad.
        play_rad: f64,
        /// Outward creep per touch, rad.
        drift_rad: f64,
    },
}

/// What is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum FaultKind {
    /// Position sensor.
    PositionSensor(PositionFault),
    /// Motor current sensor, A.
    CurrentSensor(ChannelFault),
    /// Boost pressure sensor, kPa.
    BoostSensor(ChannelFault),
    /// Exhaust pressure sensor, kPa.
    ExhaustSensor(ChannelFault),
    /// Barometer, kPa.
    Barometer(ChannelFault),
    /// Turbo speed sensor, rpm.
    TurboSpeedSensor(ChannelFault),
    /// Supply voltage without load is this, V (brown-out; 0 is lost supply).
    Supply(f64),
    /// A bad contact adds this resistance to the supply, Ω.
    SupplyResistance(f64),
    /// Winding broken: no current flows.
    WindingOpen,
    /// The board's converter stops: its counts and readings stand still.
    ConverterFrozen,
    /// The bridge reports a fault and switches itself off.
    Bridge,
    /// Motor leads swapped: opening duty closes.
    MotorReversed,
    /// Return spring broken.
    SpringBroken,
    /// Ring friction has changed.
    Ring(RingCondition),
    /// Soot on a part of the travel.
    SootPatch(SootPatch),
    /// Something stands in the way of the ring.
    Obstruction(Obstruction),
    /// Debris in the way of the ring gives way under force.
    Debris(DebrisParams),
    /// A ring stop has changed.
    RingStop(TravelEnd, StopFault),
    /// A stop inside the actuator has changed.
    LeverStop(TravelEnd, StopFault),
    /// Play between lever and ring is this much, degrees.
    JointPlayDeg(f64),
    /// The rod is off: lever and ring move on their own.
    RodOff,
    /// The boost hose leaks through so many mm².
    HoseLeakMm2(f64),
    /// The boost hose is clogged or iced: it loses so many kPa at 0.06 kg/s.
    HoseBlockedKpa(f64),
    /// The engine answers fuel requests in another way.
    Fuel(FuelResponse),
}
