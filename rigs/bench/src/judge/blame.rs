//! Whose fault a refused learn is: the unit's, or that of what stands round it.

use firmware_core::learn::LearnRefusal;

use super::FaultOf;

/// Whether the unit or what stands round it is to blame.
#[must_use]
pub fn fault_of(refusal: &LearnRefusal) -> FaultOf {
    match refusal {
        // Leads, sensor or profile are the other way round: a sound unit on the wrong one looks the same.
        LearnRefusal::WrongDirection { .. }
        | LearnRefusal::SupplyOutOfRange { .. }
        | LearnRefusal::MovesAtRest { .. }
        | LearnRefusal::NotANumber { .. }
        | LearnRefusal::TickLost { .. }
        | LearnRefusal::HostLost
        // The bridge may have seen a short in the motor, or be broken itself.
        | LearnRefusal::BridgeFault
        | LearnRefusal::ConverterFrozen
        | LearnRefusal::OtherSetup { .. } => FaultOf::Rig,
        LearnRefusal::NoMotion { .. }
        | LearnRefusal::SpanShort { .. }
        | LearnRefusal::SpanLong { .. }
        | LearnRefusal::StopOutsideWindow { .. }
        | LearnRefusal::StopMissing { .. }
        | LearnRefusal::StopNotRepeatable { .. }
        | LearnRefusal::StopDrifting { .. }
        | LearnRefusal::SoftStop { .. }
        | LearnRefusal::StopNotSettled { .. }
        | LearnRefusal::Obstructed { .. }
        | LearnRefusal::TightTravel { .. }
        | LearnRefusal::SpringNotFelt { .. }
        | LearnRefusal::SensorJump { .. }
        | LearnRefusal::SensorStuck { .. }
        | LearnRefusal::SensorNoisy { .. }
        | LearnRefusal::SensorOutOfRange { .. }
        | LearnRefusal::OverCurrent { .. }
        | LearnRefusal::CurrentAtRest { .. }
        | LearnRefusal::CurrentNotFollowed { .. }
        | LearnRefusal::Timeout { .. }
        | LearnRefusal::MovedSincePrevious { .. }
        | LearnRefusal::Reserve { .. } => FaultOf::Unit,
    }
}
