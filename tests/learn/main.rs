//! End-stop learning against the whole catalogue of faults.

mod bounds;
mod campaign;
mod end_stops;
