//! Ctrl-C, SIGTERM and a closed terminal: the first asks what moves to stop, the second ends the program.
//!
//! Whoever moves or counts something holds a [`Watch`] and looks at [`asked`]; while nobody does, there is
//! nothing to bring to rest and the first signal ends the program as well.

use std::process;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use crate::console;
use crate::exit::Exit;

static STOP: AtomicBool = AtomicBool::new(false);
/// The same, asked with a key on a screen that reads the keyboard.
static KEY: AtomicBool = AtomicBool::new(false);
static WATCHES: AtomicUsize = AtomicUsize::new(0);

/// Starts listening. A second call does nothing.
pub(crate) fn listen() {
    // The only error is a handler that is already there, which is the state wanted.
    let _already_listening = ctrlc::set_handler(on_signal);
}

fn on_signal() {
    let is_second = STOP.swap(true, Ordering::SeqCst);
    if is_second || WATCHES.load(Ordering::SeqCst) == 0 {
        console::say("\nvanebench: stopped by the user");
        process::exit(Exit::Interrupted.code().into());
    }
    console::say("\nstopping; press again to end at once");
}

/// True once the user has asked to stop.
#[must_use]
pub fn asked() -> bool {
    STOP.load(Ordering::SeqCst) || KEY.load(Ordering::SeqCst)
}

/// A key asked what moves to stop.
pub(crate) fn ask_by_key() {
    KEY.store(true, Ordering::SeqCst);
}

/// What a key asked has been done; what comes next may be asked for anew.
pub(crate) fn key_is_answered() {
    KEY.store(false, Ordering::SeqCst);
}

/// Somebody looks at [`asked`] for as long as this lives, several times a second.
#[derive(Debug)]
pub struct Watch(());

/// Takes over from the signal: it is only noted, and the holder acts on it.
#[must_use]
pub fn watch() -> Watch {
    WATCHES.fetch_add(1, Ordering::SeqCst);
    Watch(())
}

impl Drop for Watch {
    fn drop(&mut self) {
        WATCHES.fetch_sub(1, Ordering::SeqCst);
    }
}
