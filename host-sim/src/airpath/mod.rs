//! Air path: the reduced model that campaigns run, the published model that it is checked against, and
//! the engine around it.

mod engine;
mod gas_torque;
mod lanes;
pub mod published;
mod reduced;
mod rk4;
mod steady;

pub use engine::{AirDiverged, Engine, EngineInputs, EngineParams, FuelRequest, FuelResponse, HoseState};
pub use gas_torque::GasTorqueParams;
pub use reduced::{AirState, Flows, Operating, ReducedModel, ReducedParams, Vanes};
pub use rk4::rk4;
pub use steady::NoSteadyState;
