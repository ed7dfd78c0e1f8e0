//! How large a kind of actuator is: what the catalogue's numbers, written for 70° of travel, 12 V and 1.6 Ω, become on it.
//!
//! In: the nominal unit of a kind. Out: its travel, stops and friction, and the factors that take a fault to
//! the same share of its own travel, supply and resistance. Bench actuator A has every factor 1.

use plant::actuator::{ActuatorParams, BENCH_TRAVEL_RAD, LeverJoint, StopParams, TravelEnd};
use plant::friction::LuGreParams;
use plant::sensor::PositionSensorParams;
use plant::world::{OpeningDirection, WorldConfig};

/// A kind's own measures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Size {
    /// Travel between the ring's stops, rad.
    pub travel_rad: f64,
    /// Angle of the low stop, rad.
    low_rad: f64,
    /// Travel, times 70°.
    travel: f64,
    /// Counts over the travel, times A's.
    pub counts: f64,
    /// Range of the position reading, times A's.
    pub range: f64,
    /// Supply, times 12 V.
    pub supply: f64,
    /// Winding resistance, times A's.
    pub resistance: f64,
    /// Sensor noise, times A's.
    pub noise: f64,
    /// A sound stop.
    pub stop: StopParams,
    /// Friction of the sound ring.
    pub friction: LuGreParams,
    linkage: LeverJoint,
    opening: OpeningDirection,
}

/// Counts over bench actuator A's travel.
const A_COUNTS: f64 = 10_700.0;

/// Nominal travel of a kind, counts.
pub(crate) fn travel_counts(nominal: &WorldConfig) -> f64 {
    A_COUNTS * Size::of(nominal).counts
}

impl Size {
    pub(super) fn of(nominal: &WorldConfig) -> Self {
        let (own, position) = (&nominal.actuator, &nominal.sensors.position);
        let (a, a_position) = (ActuatorParams::default(), PositionSensorParams::default());
        let [low, high] = [TravelEnd::Low, TravelEnd::High].map(|end| own.ring.stops.at(end).copied());
        let low_rad = low.map_or(0.0, |stop| stop.angle_rad);
        let travel_rad = high.map_or(BENCH_TRAVEL_RAD, |stop| stop.angle_rad) - low_rad;
        let travel = travel_rad / BENCH_TRAVEL_RAD;
        Self {
            travel_rad,
            low_rad,
            travel,
            counts: travel * (position.counts_per_rad.abs() / a_position.counts_per_rad),
            range: position.highest() / a_position.highest(),
            supply: own.bridge.supply_v / a.bridge.supply_v,
            resistance: own.motor.resistance_ohm / a.motor.resistance_ohm,
            noise: position.noise_counts / a_position.noise_counts,
            stop: high.or(low).unwrap_or(StopParams::bench_a(0.0)),
            friction: own.ring.friction,
            linkage: own.linkage,
            opening: nominal.opening,
        }
    }

    /// So many degrees of a travel of 70°, as an angle of this travel, rad.
    pub(super) fn rad(&self, degrees: f64) -> f64 {
        degrees.to_radians() * self.travel
    }

    /// An angle on a travel of 70° as the same share of this travel, rad.
    pub(super) fn rad_of(&self, angle_rad: f64) -> f64 {
        angle_rad * self.travel
    }

    /// Current that the supply drives through the standing winding, times A's.
    pub(super) fn current(&self) -> f64 {
        self.supply / self.resistance
    }

    /// A joint as this kind's with so much play, degrees of a travel of 70°.
    pub(super) fn joint(&self, play_deg: f64) -> LeverJoint {
        self.linkage.with_play(play_deg * self.travel)
    }

    /// Ring angle at an opening, rad.
    pub(super) fn ring_rad(&self, opening: f64) -> f64 {
        let share = match self.opening {
            OpeningDirection::LowersAngle => 1.0 - opening,
            OpeningDirection::RaisesAngle => opening,
        };
        self.low_rad + share * self.travel_rad
    }

    /// The end where the vanes are closed.
    pub(super) fn closed(&self) -> TravelEnd {
        match self.opening {
            OpeningDirection::LowersAngle => TravelEnd::High,
            OpeningDirection::RaisesAngle => TravelEnd::Low,
        }
    }

    /// The end where the vanes are open.
    pub(super) fn open(&self) -> TravelEnd {
        match self.opening {
            OpeningDirection::LowersAngle => TravelEnd::Low,
            OpeningDirection::RaisesAngle => TravelEnd::High,
        }
    }
}
