//! The world around the controller: actuator, ring, stops, sensors, nozzle and air path.

pub mod actuator;
pub mod airpath;
pub mod atmosphere;
pub mod campaign;
pub mod catalogue;
pub mod check;
pub mod files;
pub mod friction;
pub mod gas;
mod lanes;
pub mod matching;
pub mod metrics;
pub mod nozzle;
pub mod parts;
pub mod run;
pub mod scenario;
pub mod sensor;
pub mod settings_file;
pub mod shown;
pub mod tuning;
pub mod uncertainty;
pub mod world;
