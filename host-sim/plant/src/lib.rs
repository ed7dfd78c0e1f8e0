//! The world around the controller: actuator, ring, stops, sensors, nozzle and air path.

#![cfg_attr(not(test), warn(clippy::wildcard_enum_match_arm))]

pub mod actuator;
pub mod airpath;
pub mod atmosphere;
pub mod check;
pub mod files;
pub mod friction;
pub mod gas;
pub mod lanes;
pub mod nozzle;
pub mod sensor;
pub mod shown;
pub mod toml_file;
pub mod world;
