//! The parts sheet: what a turbo in pieces measures, in TOML, with units, tolerances, and who measured
//! what with which tool.
//!
//! In: a file. Out: a [`PartsSheet`] in which every value is measured or marked as estimated by a stated
//! rule. Refuses what cannot be a turbo, naming each fault with advice: see [`Problem`].

#![cfg_attr(not(test), warn(clippy::wildcard_enum_match_arm))]

mod check;
pub mod compare;
pub mod compressor;
pub mod compressor_map;
mod entry;
pub mod errors;
mod field;
pub mod figures;
pub mod flow;
mod indexing;
pub mod matching;
pub mod pendulum;
mod pendulum_sheet;
mod problem;
mod quantity;
mod read;
mod sheet;
mod specs;
pub mod teardown;
pub mod uncertainty;
pub mod wheels;

pub use field::Field;

pub use problem::{Problem, SheetError, SheetFinding, Wheel};
pub use quantity::{Dimension, Quantity, ToleranceOrigin, UNITS, Unit, ValueOrigin};
pub use sheet::{ActsOn, Count, IndexLink, Indexing, Material, PartsSheet, WheelMaterial};
pub use specs::{EstimateRule, FieldSpec, Missing};

/// An empty sheet, every entry explained.
pub const TEMPLATE: &str = include_str!("template.toml");
