//! The parts sheet: what a turbo in pieces measures, in TOML, with units, tolerances, and who measured
//! what with which tool.
//!
//! In: a file. Out: a [`PartsSheet`] in which every value is measured or marked as estimated by a stated
//! rule. Refuses what cannot be a turbo, naming each fault with advice: see [`Problem`].

mod check;
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
pub mod uncertainty;
pub mod wheels;

pub use field::Field;

pub use problem::{Finding, Problem, SheetError, Wheel};
pub use quantity::{Dimension, Origin, Quantity, ToleranceOrigin, UNITS, Unit};
pub use sheet::{ActsOn, Count, IndexLink, Indexing, Material, PartsSheet, WheelMaterial};
pub use specs::{EstimateRule, FieldSpec, Missing};
