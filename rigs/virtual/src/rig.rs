//! Joins the controller's session and the simulated unit.
