//! One file per verb: its arguments and the order of its work.

pub mod bench;
pub mod campaign;
mod campaign_job;
pub mod campaign_merge;
pub mod characterise;
pub mod cycle;
pub mod demo;
pub mod gauge_study;
pub mod guard_campaign;
pub mod guard_report;
pub mod judge;
pub mod learn;
pub mod learn_campaign;
pub mod learn_picture;
pub mod manual;
pub mod match_parts;
pub mod monitor;
pub mod moves;
mod parts_on_engine;
pub mod parts_sheet;
pub mod ports;
pub mod profile;
mod profile_limits;
mod profile_limits_file;
#[cfg(unix)]
pub mod rig;
pub mod scenario_campaign;
pub mod schema;
pub mod sheet;
pub mod simulate;
pub mod tune;
pub mod tune_boost;
mod tune_boost_file;
pub mod tune_position;
pub mod unit;
