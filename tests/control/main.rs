//! The controller against outside solvers and many worlds.

mod guard;
mod identify;
mod limits;
mod position;
mod recirculation;
mod tuning;
