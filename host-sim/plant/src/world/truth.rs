//! The true state of the world, beside what the sensors read.

use crate::actuator::{ActuatorParams, LeverJoint, TravelEnd};

/// The true state at this moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Truth {
    /// Vane opening from the ring's angle; beyond 0 … 1 when a stop is passed.
    pub opening: f64,
    /// Lever angle, rad.
    pub lever_rad: f64,
    /// Ring angle, rad.
    pub ring_rad: f64,
    /// Motor current toward open, A.
    pub current_a: f64,
    /// Winding temperature, °C.
    pub winding_c: f64,
    /// Intake manifold, kPa.
    pub boost_kpa: f64,
    /// Exhaust manifold, kPa.
    pub exhaust_kpa: f64,
    /// Turbo speed, rpm.
    pub turbo_rpm: f64,
    /// Fuel delivered, mg per stroke.
    pub fuel_mg: f64,
    /// Gas torque toward open, N m.
    pub gas_torque_nm: f64,
    /// Ambient pressure, kPa.
    pub ambient_kpa: f64,
}

/// Lever readings at the stops without push, counts of the sound sensor, fractions included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StopTruth {
    /// At the closed stop; nothing when the lever meets no stop there.
    pub closed_counts: Option<f64>,
    /// At the open stop.
    pub open_counts: Option<f64>,
}

/// Lever angle at which an end's first stop is met without push: the lever's own, or the ring's with the
/// joint's play taken up.
pub(super) fn zero_push_lever_rad(params: &ActuatorParams, end: TravelEnd) -> Option<f64> {
    let own = params.lever_stops.at(end).map(|stop| stop.angle_rad);
    let ring = params.ring.stops.at(end).and_then(|stop| through_joint(params, end, stop.angle_rad));
    own.into_iter().chain(ring).reduce(nearer(end))
}

/// As [`zero_push_lever_rad`], what stands in the ring's way counting as a stop of the end that it shuts off.
pub(super) fn first_contact_lever_rad(params: &ActuatorParams, end: TravelEnd) -> Option<f64> {
    let in_the_way = params.ring.obstruction.filter(|obstruction| obstruction.shuts_off == end);
    let in_the_way =
        in_the_way.and_then(|obstruction| through_joint(params, end, obstruction.stop.angle_rad));
    zero_push_lever_rad(params, end).into_iter().chain(in_the_way).reduce(nearer(end))
}

fn through_joint(params: &ActuatorParams, end: TravelEnd, ring_rad: f64) -> Option<f64> {
    match params.linkage {
        LeverJoint::Detached => None,
        linkage @ (LeverJoint::Rigid | LeverJoint::Lash { .. }) => {
            Some(ring_rad + end.sign() * 0.5 * linkage.play_rad())
        }
    }
}

fn nearer(end: TravelEnd) -> impl Fn(f64, f64) -> f64 {
    move |a: f64, b: f64| if end == TravelEnd::High { a.min(b) } else { a.max(b) }
}
