//! What the bench does to a unit: hand over the settings, move, record, close.
//!
//! In: a [`Target`]. Out: closed run folders. A run that is cut short (link, disk, Ctrl-C) is kept, marked
//! incomplete with its reason, and the drive is released.

mod bench;
mod diagnostic;
mod doubt;
mod ended;
mod history;
mod learn;
mod motions;
mod moves;
mod observer;
mod recording;
mod replay;
mod simulated;
mod stop;
mod target;

pub use bench::Bench;
pub use diagnostic::{diagnostic_peak, record_diagnostic};
pub use ended::UnitEnd;
pub use history::{Wander, wander};
pub use learn::{LearnChoice, Learned, learn};
pub use motions::{duration, friction_ramps, full_stroke, slow_reversal, staircase, steps};
pub use moves::{Basis, MoveKind, record_move};
pub use observer::{Observed, Observer, PlanBar, PlanPart};
pub use replay::{Replayed, replay};
pub use simulated::record_simulation;
pub use stop::RunStop;
pub use target::{SetupWord, Target, TargetArgs, WarmthWord};
