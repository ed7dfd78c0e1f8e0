//! VGT vane-position controller core: the same code on a Cortex-M, in the simulator and behind the
//! bench tool's link.
//!
//! One tick reads like a sentence:
//!
//! ```text
//! Sample ─ plausibility ─▶ Vetted ─ target ─▶ Opening ─ guard ─▶ Opening ─ slew ─▶ Opening ─ position loop ─▶ Duty
//! ```
//!
//! The floors, lowest first; a module uses its own floor and those below. The house test reads this list:
//!
//! 1. [`units`], [`sample`], [`command`], [`calibration`], [`settings`], [`faults`], [`tables`], [`scaling`]
//! 2. the stages of the tick: [`plausibility`], [`target`], [`guard`], [`slew`], [`position`], [`limits`]
//! 3. [`learn`], [`held`], [`store`], [`motion`], [`probe`], [`link`]
//! 4. [`controller`], [`drive`]
//! 5. [`session`]
//!
//! Directions are fixed once: opening 0 is vanes closed (smallest nozzle area), 1 is fully open;
//! positive duty opens. Time is the tick number that the caller hands in; nothing here reads a clock.
#![no_std]
#![forbid(unsafe_code)]
#![warn(clippy::indexing_slicing, clippy::panic, clippy::expect_used, clippy::arithmetic_side_effects)]
#![cfg_attr(not(test), warn(clippy::wildcard_enum_match_arm))]

pub mod calibration;
pub mod command;
pub mod controller;
pub mod drive;
pub mod faults;
pub mod guard;
pub mod held;
pub mod learn;
pub mod limits;
pub mod link;
pub mod motion;
pub mod plausibility;
pub mod position;
pub mod probe;
pub mod sample;
pub mod scaling;
pub mod session;
pub mod settings;
pub mod slew;
pub mod store;
pub mod tables;
pub mod target;
pub mod units;
