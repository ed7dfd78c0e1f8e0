//! Figures of a run against outside definitions.

mod gauge;
mod step;
mod sweep;
