//! The simulated world against closed forms and independent solvers.

mod actuator;
mod airpath;
mod boost_loop;
mod effects;
mod envelope;
mod friction;
mod gas;
mod mesh;
mod reference;
mod ring;
