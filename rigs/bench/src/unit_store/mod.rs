//! How a unit stands: which calibration is in force for a setup and warmth, from which learn, and how far it may be
//! trusted.
//!
//! In: the unit's learn runs, each closed with its checksums. Out: [`UnitStanding`], and [`mod@ground`]: what a motion may
//! stand on, or why nothing moves. Nothing is kept beside the runs: a calibration that lies loose in a file is not
//! read. A newest learn that was changed, refused or cut short leaves nothing in force; an older one never steps in.

mod ground;
mod history;
mod origin;
mod standing;
mod wanted;
mod words;

pub use ground::ground;
pub(crate) use ground::to_confirm;
pub(crate) use ground::to_relearn;
pub(crate) use history::as_recorded;
pub use history::read;
pub use origin::tag;
pub use standing::{InForce, NoneWhy, UnitStanding};
pub use wanted::{Mismatch, OnUnproven, WantedUnit};
pub(crate) use words::stands_briefly;
pub(crate) use words::why_nothing;
pub use words::{because, stands};
pub(crate) use words::{how_to_confirm, in_force};
