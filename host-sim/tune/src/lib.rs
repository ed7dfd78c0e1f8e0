//! Tuning from measurement: from a recorded motion to proposed position-loop gains.
//!
//! In: samples of duty and opening at 1 kHz. Out: an identified model with its fit, gains by a published
//! rule, margins of the loop, and the step that the model predicts beside the one that the controller
//! itself makes on it. Refuses records without enough motion, or that no such model explains.
//!
//! Duty to position integrates where no strong spring is; the sensor sits on the motor's side of the
//! joint, so play between lever and ring cannot be seen, and is not guessed.

#![cfg_attr(not(test), warn(clippy::wildcard_enum_match_arm))]

mod gains;
mod identify;
mod least_squares;
mod margins;
mod process;
mod relay;
mod response;
mod rules;

pub use gains::Gains;
pub use identify::{Identified, IdentifyError, TunePoint, identify};
pub use margins::{Loop, Margins};
pub use process::Process;
pub use relay::{RelayCycle, relay_cycle};
pub use response::{StepRecord, predicted, simulated};
pub use rules::{Rule, tuned_settings};
