//! A hostile line: stands between a rig's serial device and the tool, and does to the frames what lines do.
//!
//! ```text
//! tool ── pty ── hostile line ── pty ── rig
//! ```
//!
//! In: a [`Trouble`] with a seed. Out: the path of a device that behaves so. Chance is drawn per frame and
//! direction, never per read, so that on a stepped rig the same seed does the same.
#![allow(dead_code, unused_imports, unreachable_pub, clippy::unwrap_used)] // each test file uses its part; a helper that cannot go on fails its test

pub mod against;
mod direction;
pub mod frames;
mod relay;
pub mod runs;
mod trouble;
pub mod watched;

use std::fs::OpenOptions;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};

use nix::fcntl::OFlag;
use virtual_rig::pty::Pty;

pub use trouble::{Disguise, Mishap, Trouble};

use relay::{LOOK_AGAIN, Relay, name};

/// A line in service.
pub struct HostileLine {
    path: PathBuf,
    trouble: Arc<Mutex<Option<Trouble>>>,
    struck: Arc<AtomicU32>,
    struck_driving: Arc<AtomicU32>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl HostileLine {
    /// Begins to stand before the device `rig`, clean at first; the tool's device gets a name in `folder`.
    pub fn before(rig: &Path, folder: &Path) -> Self {
        let rig = OpenOptions::new()
            .read(true)
            .write(true)
            .custom_flags((OFlag::O_NONBLOCK | OFlag::O_NOCTTY).bits())
            .open(rig)
            .unwrap();
        let path = folder.join("line");
        let tool = Pty::open().unwrap();
        name(&path, &tool);
        let (trouble, stop) = <(Arc<Mutex<Option<Trouble>>>, Arc<AtomicBool>)>::default();
        let (struck, struck_driving) = <(Arc<AtomicU32>, Arc<AtomicU32>)>::default();
        let mut relay = Relay::new(tool, rig, &path, (Arc::clone(&struck), Arc::clone(&struck_driving)));
        let (orders, asked_to_stop) = (Arc::clone(&trouble), Arc::clone(&stop));
        let thread = thread::spawn(move || {
            while !asked_to_stop.load(Ordering::SeqCst) {
                if let Some(trouble) = orders.lock().unwrap().take() {
                    relay.turn_to(trouble);
                }
                relay.carry();
            }
        });
        Self { path, trouble, struck, struck_driving, stop, thread: Some(thread) }
    }

    /// The device that the tool opens.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Behaves so from the next frame on; counts strikes anew.
    pub fn turn_to(&self, trouble: Trouble) {
        *self.trouble.lock().unwrap() = Some(trouble);
        while self.trouble.lock().unwrap().is_some() {
            thread::sleep(LOOK_AGAIN);
        }
    }

    /// Frames that were struck since.
    pub fn struck(&self) -> u32 {
        self.struck.load(Ordering::SeqCst)
    }

    /// Of these, frames that were struck once the drive had been started.
    pub fn struck_driving(&self) -> u32 {
        self.struck_driving.load(Ordering::SeqCst)
    }
}

impl Drop for HostileLine {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            thread.join().unwrap();
        }
    }
}
