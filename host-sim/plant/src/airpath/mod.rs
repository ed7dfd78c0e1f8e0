//! Air path: intake and exhaust pressure, turbo speed, nozzle or measured ring, and
//! the engine around it.

mod air_step;
mod effects;
mod engine;
mod engine_params;
mod equations;
mod gas_torque;
mod heat;
mod inputs;
mod measured_ring;
mod reduced;
mod reduced_params;
mod rk4;
mod state;
mod steady;

pub(crate) use air_step::{AirPathLanes, AirStepInput};
pub use effects::{Cooler, Effects, HeatSoak, Pulsation, RingHeat, Switchable, VaneAngle};
pub use engine::{AirDiverged, Engine};
pub use engine_params::{EngineParams, FuelResponse};
pub(crate) use gas_torque::GasOnRing;
pub use gas_torque::GasTorqueParams;
pub use heat::{ExhaustWalls, WallGas};
pub use inputs::{EngineInputs, FuelAsked, HoseState};
pub use measured_ring::MeasuredRing;
pub use reduced::ReducedModel;
pub use reduced_params::ReducedParams;
pub use rk4::rk4;
pub use state::{AirState, Flows, GasHeat, Operating, Vanes};
pub use steady::NoSteadyState;
