//! The log: what happened outside link and tick, in words, through the debug port. Without the feature `log` every call is
//! empty.
//!
//! Frames go into a ring in RAM, which a debug probe reads while the processor runs. Nobody waits for a probe: what finds
//! no room is cut off, and the next whole frame is read as such. Only start and main loop log. Interrupts are masked while
//! a frame grows, so the tick never meets a half one; what ends a run leaves its last words instead, and the next start
//! logs those.

#[cfg(feature = "log")]
use defmt_rtt as _;
use firmware_core::link::self_test::SelfTest;
use firmware_core::link::state::StartReason;
use firmware_core::store::{Condition, Loaded, StoreResult};

/// The image started, with this clock.
pub fn started(_reason: StartReason, _clock: &str) {
    #[cfg(feature = "log")]
    defmt::info!("started: {}, clock: {=str}", _reason, _clock);
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

/// What the board found out about itself.
pub fn self_test(_found: &SelfTest) {
    #[cfg(feature = "log")]
    defmt::info!("{}", _found);
}

/// How a save ended.
pub fn stored(_result: StoreResult) {
    #[cfg(feature = "log")]
    defmt::info!("save: {}", _result);
}
