//! Ctrl-C: asks the running procedure to release the drive and close its record.

use std::sync::atomic::{AtomicBool, Ordering};

static STOP: AtomicBool = AtomicBool::new(false);

/// Starts listening for Ctrl-C. A second call does nothing.
pub fn listen() {
    // The only error is a handler that is already there, which is the state wanted.
    let _already_listening = ctrlc::set_handler(|| STOP.store(true, Ordering::SeqCst));
}

/// True once the user has asked to stop.
#[must_use]
pub fn asked() -> bool {
    STOP.load(Ordering::SeqCst)
}
