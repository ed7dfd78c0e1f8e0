//! A rig without hardware: `firmware-core` and `host-sim/` behind a pseudo-terminal or in process.
//!
//! ```text
//! bench tool ── serialport ── pty ── runner ── rig (Session ⇄ World)
//! ```
//!
//! Where a system has no pseudo-terminals, an in-process [`cable`] stands in for serialport and pty; what needs them
//! (a device for other programs, the emulated board) is for Unix alone.
//!
//! [`runner`] moves bytes and time and knows neither controller nor plant; [`rig`] joins the two, one
//! tick at a time. A stepped rig advances only to the tick that the host has granted, so that a run is
//! its configuration and its seed; a paced rig follows the wall clock.

#![cfg_attr(not(test), warn(clippy::wildcard_enum_match_arm))]

#[cfg(unix)]
pub mod board;
#[cfg(all(unix, feature = "board-log"))]
pub mod board_log;
#[cfg(unix)]
pub mod board_rig;
pub mod cable;
pub mod line;
#[cfg(unix)]
pub mod pty;
pub mod rig;
pub mod runner;
