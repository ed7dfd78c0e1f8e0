//! Figures of a run against outside definitions.

mod conformity;
mod gauge;
mod one_way;
mod step;
mod sweep;
mod tolerance;
