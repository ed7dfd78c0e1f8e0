//! What the bench does to a unit: hand over the settings, move, record, close.
//!
//! In: a [`Target`]. Out: closed run folders. A run that is cut short (link, disk, Ctrl-C) is kept, marked
//! incomplete with its reason, and the drive is released.

mod bench;
mod contradiction;
mod diagnostic;
mod doubt;
mod ended;
mod history;
mod learn;
mod look;
mod motions;
mod moves;
mod observer;
mod passed_limit;
mod pieces;
mod recording;
mod replay;
mod simulated;
mod stop;
mod strokes;
mod target;

pub use bench::Bench;
pub use contradiction::Contradiction;
pub(crate) use diagnostic::diagnostic_peak;
pub use diagnostic::record_diagnostic;
pub use ended::UnitEnd;
pub(crate) use history::Wander;
pub(crate) use history::wander;
pub use learn::{LearnChoice, Learned, learn};

pub use motions::{friction_ramps, full_stroke, slow_reversal, staircase, steps};
pub(crate) use moves::record_cycle;
pub use moves::{Basis, record_move};
pub use observer::{Observed, Observer, PlanPart};
pub use passed_limit::PassedLimit;
pub use pieces::MoveKind;
pub use replay::{Replayed, replay};
pub(crate) use simulated::record_simulation;
pub use stop::RunStop;
pub(crate) use strokes::{CyclePlan, hours_of, strokes_in};
pub use target::Target;
pub(crate) use target::{SetupWord, TargetArgs, WarmthWord};
