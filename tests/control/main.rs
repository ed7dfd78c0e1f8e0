//! The controller against outside solvers and many worlds.

mod guard;
mod identify;
mod laws;
mod limits;
mod own_law;
mod position;
mod recirculation;
mod tuning;
