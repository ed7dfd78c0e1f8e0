//! The bench tool as a library: link client, procedures, records, verdicts, reports.
//!
//! `main.rs` parses and calls one verb; each verb reads top to bottom: settings → caution → procedure →
//! record → verdict → what the technician sees. This crate never knows a plant equation: the world is
//! `host-sim/`, and even the built-in rig is reached through a serial line.

#![cfg_attr(not(test), warn(clippy::wildcard_enum_match_arm))]

pub mod actuator;
pub mod caution;
pub mod characterise;
pub mod checks;
pub mod cli;
pub mod client;
pub mod console;
pub mod criteria;
pub mod document;
mod document_kind;
pub mod evaluate;
pub mod exit;
pub mod figures;
mod fold;
pub mod interrupt;
pub mod judge;
pub mod limits;
pub mod link_rig;
mod number;
pub mod output;
pub mod port;
pub mod procedure;
pub mod profile;
mod progress;
pub mod record;
pub mod report;
pub mod rig;
mod screen;
pub mod short_text;
pub mod span;
mod terminal;
pub mod unit_name;
pub mod unit_result;
pub mod unit_store;
pub mod verbs;
mod whole_number;
