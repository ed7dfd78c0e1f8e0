//! From an old turbo to a new one: the opening map that keeps the nozzle area, the controller settings that
//! go with it, what the engine sees, which measurement matters, and whether the learned travel fits the parts.

mod air;
mod breathing;
mod chain;
mod gauge;
mod learned;
mod limits;
mod on_engine;
mod opening_map;
mod outline;
mod remap;
mod same_boost;
mod sensitivity;
mod study;
mod turbo;

pub use air::{AirComparison, AirError, ENTERS, Response, compare};

pub use breathing::{AirBound, Breath, Breathing, Potential, PowerRanges, power_kw};
pub use chain::{Chain, ChainUncertainty, PointUncertainty};
pub use gauge::{BenchTarget, GaugeJob, GaugeTarget};
pub use learned::{
    ClockedPart, EndReserve, LearnedCounts, LeverSensor, NoLeverTravel, OpeningEnd, OpeningSign, TravelCheck,
    TravelFinding, check_travel,
};
pub use limits::{
    CarriedLimits, LimitReached, LimitedValue, NobodyAllows, SpeedLimitBy, StatedLimits, usual_tip_speed_m_s,
};
pub use on_engine::{AreaOnEngine, PartsOnEngine};
pub use opening_map::{Knot, Met, MinimumFlow, OpeningMatch, Unmet};
pub use outline::{RingOutline, StopOutline};
pub use remap::{ChangedSetting, Remapped, remap_settings};
pub use same_boost::{Reached, SameBoost};
pub use sensitivity::{Bar, DifferenceSpread, SWEPT, Sensitivity, StepsDone, sensitivity};
pub use study::{AreaPoint, SheetValue, Side, Study, StudyError, StudyPlan, match_sheets};
pub use turbo::{LoadStep, WheelEntry};
