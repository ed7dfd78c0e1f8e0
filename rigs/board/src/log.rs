//! The log: what happened, in words, beside the link. Without the feature `log` every call is empty.
//!
//! Frames go through a ring to the third serial port outside the tick. One that finds no room is
//! dropped and counted, and the count is logged once there is room again; the log never holds up the tick.

use core::panic::Location;

use firmware_core::controller::TickOutput;
use firmware_core::link::state::StartReason;
use firmware_core::store::{Condition, Loaded};

#[cfg(feature = "log")]
mod port;

/// Switches the log's port on.
pub fn start() {
    #[cfg(feature = "log")]
    port::start();
}

/// Moves waiting frames out, a few bytes at a time.
pub fn pump() {
    #[cfg(feature = "log")]
    port::pump(port::BYTES_PER_PUMP);
}

/// The image started.
pub fn started(_reason: StartReason) {
    #[cfg(feature = "log")]
    defmt::info!("started: {}", _reason);
}

/// How the store stands at the start.
pub fn store(_condition: Option<Condition>) {
    #[cfg(feature = "log")]
    match _condition {
        Some(condition) => defmt::info!("store: {}", condition),
        None => defmt::error!("no store"),
    }
}

/// What the store held.
pub fn loaded(_loaded: Option<Loaded>) {
    #[cfg(feature = "log")]
    if let Some(loaded) = _loaded {
        defmt::info!("{}", loaded);
    }
}

/// A panic; sent before the reset.
pub fn panicked(_place: Option<&Location>) {
    #[cfg(feature = "log")]
    {
        match _place {
            Some(place) => defmt::error!("panic at {=str}:{=u32}", place.file(), place.line()),
            None => defmt::error!("panic at an unknown place"),
        }
        port::pump(usize::MAX);
    }
}

/// What is kept reached the store, or did not.
pub fn stored(_done: bool) {
    #[cfg(feature = "log")]
    if _done {
        defmt::info!("stored");
    } else {
        defmt::error!("not stored");
    }
}

/// What changes from tick to tick and is worth a line.
pub struct LogWatch {
    #[cfg(feature = "log")]
    last: Option<TickOutput>,
}

impl LogWatch {
    /// Nothing seen so far.
    pub const fn new() -> Self {
        Self {
            #[cfg(feature = "log")]
            last: None,
        }
    }

    /// Logs changes of faults, limits and the guard's stage.
    pub fn see(&mut self, _output: &TickOutput) {
        #[cfg(feature = "log")]
        {
            port::note_tick(_output.tick.0);
            let before = self.last.replace(*_output);
            if before.map(|last| last.faults) != Some(_output.faults) {
                defmt::warn!("faults {}", _output.faults);
            }
            if before.map(|last| last.stage) != Some(_output.stage) {
                defmt::info!("guard {}", _output.stage);
            }
            if before.map(|last| last.limits) != Some(_output.limits) {
                defmt::debug!("limits {}", _output.limits);
            }
            defmt::trace!("duty {=f32}", _output.duty.get());
        }
    }
}
