//! What is asked of the world: scenarios, runs and their metrics, the catalogue of faults, campaigns.

pub mod campaign;
pub mod catalogue;
pub mod metrics;
pub mod run;
pub mod scenario;
pub mod trace;
