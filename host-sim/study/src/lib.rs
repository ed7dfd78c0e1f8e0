//! What is asked of the world: scenarios, runs and their metrics, the catalogue of faults, campaigns.

#![cfg_attr(not(test), warn(clippy::wildcard_enum_match_arm))]

pub mod boost_tuning;
pub mod campaign;
pub mod catalogue;
pub mod foresight;
pub mod metrics;
pub mod run;
pub mod scenario;
mod search;
pub mod trace;
