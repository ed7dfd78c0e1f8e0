//! Moves bytes between a link and a rig, and lets time pass: stepped by the host's grants, or paced by
//! the wall clock.

use std::fmt::Display;
use std::io;
#[cfg(unix)]
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use firmware_core::link::state::Pacing;

use crate::cable::{ClientEnd, RigEnd, cable};
use crate::line::{BAUD, LineBudget, LineEnd, garble};
#[cfg(unix)]
use crate::pty::Pty;

/// A controller and what it moves, one tick at a time.
pub trait TickedRig: Send {
    /// What can stop the rig for good.
    type Failure: Display + Send;
    /// What makes time pass.
    fn pacing(&self) -> Pacing;
    /// Takes bytes that came over the link.
    fn receive(&mut self, bytes: &[u8]);
    /// True when the next tick may run: always on a paced rig, up to the granted tick on a stepped one.
    fn may_advance(&self) -> bool;
    /// Runs one tick.
    ///
    /// # Errors
    /// When the rig cannot go on.
    fn advance(&mut self) -> Result<(), Self::Failure>;
    /// Puts bytes for the link into `room`; gives back how many.
    fn transmit(&mut self, room: &mut [u8]) -> usize;
}

/// Bytes that may wait for a slow reader before a stepped rig stops advancing and a paced one loses them.
const OUTBOX_LIMIT: usize = 8192;
/// Longest sleep while nothing happens; short enough that a grant is taken up at once.
const IDLE_WAIT: Duration = Duration::from_millis(2);
/// Ticks that a paced rig may catch up at once after it was not scheduled.
const CATCH_UP_TICKS: u32 = 200;
/// Ticks that a stepped rig runs before it looks at the line again.
const TICKS_PER_TURN: u32 = 64;

/// Bytes asked of the rig at once between grants.
const ROOM_WHILE_WAITING: usize = 256;

/// A rig behind a pseudo-terminal that runs in the background until it is dropped or unplugged.
#[cfg(unix)]
#[derive(Debug)]
pub struct RunningRig {
    path: PathBuf,
    background: Background,
}

/// A rig on an in-process cable that runs in the background until it is dropped.
#[derive(Debug)]
pub struct CabledRig(#[expect(dead_code, reason = "held so that its drop ends the rig")] Background);

/// Why a rig's thread came to its end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ended {
    /// It was unplugged.
    Unplugged,
    /// Its line or its world failed.
    Failed(String),
}

#[cfg(unix)]
impl RunningRig {
    /// Starts `rig` behind a new pseudo-terminal.
    ///
    /// # Errors
    /// When no pseudo-terminal or thread can be had.
    pub fn start(rig: impl TickedRig + 'static) -> io::Result<Self> {
        let pty = Pty::open()?;
        let path = pty.path().to_owned();
        Ok(Self { path, background: Background::start(rig, pty)? })
    }

    /// Path of the device to open.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// True once the rig has come to its end by itself.
    #[must_use]
    pub fn has_ended(&self) -> bool {
        self.background.thread.as_ref().is_none_or(JoinHandle::is_finished)
    }

    /// Closes the rig's end of the line, as pulling the plug would, and says how the rig ended.
    pub fn unplug(&mut self) -> Ended {
        self.background.unplug()
    }
}

impl CabledRig {
    /// Starts `rig` on a new cable and gives back the client's end of it.
    ///
    /// # Errors
    /// When no thread can be had.
    pub fn start(rig: impl TickedRig + 'static) -> io::Result<(Self, ClientEnd)> {
        let (rig_end, client_end): (RigEnd, ClientEnd) = cable();
        Ok((Self(Background::start(rig, rig_end)?), client_end))
    }
}

/// The thread that a rig runs on.
#[derive(Debug)]
struct Background {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<Ended>>,
}

impl Background {
    fn start(rig: impl TickedRig + 'static, end: impl LineEnd + 'static) -> io::Result<Self> {
        let stop = Arc::new(AtomicBool::new(false));
        let asked_to_stop = Arc::clone(&stop);
        let pacing = rig.pacing();
        let thread = thread::Builder::new().name("virtual-rig".into()).spawn(move || {
            Runner { rig, end, pacing, line: LineBudget::new(BAUD), outbox: Vec::new() }
                .run(&asked_to_stop)
                .map_or_else(Ended::Failed, |()| Ended::Unplugged)
        })?;
        Ok(Self { stop, thread: Some(thread) })
    }

    fn unplug(&mut self) -> Ended {
        self.stop.store(true, Ordering::SeqCst);
        match self.thread.take().map(JoinHandle::join) {
            Some(Ok(ended)) => ended,
            Some(Err(_)) => Ended::Failed("the rig's thread panicked".into()),
            None => Ended::Unplugged,
        }
    }
}

impl Drop for Background {
    fn drop(&mut self) {
        self.unplug();
    }
}

struct Runner<R, E> {
    rig: R,
    end: E,
    pacing: Pacing,
    line: LineBudget,
    outbox: Vec<u8>,
}

impl<R: TickedRig, E: LineEnd> Runner<R, E> {
    fn run(&mut self, stop: &AtomicBool) -> Result<(), String> {
        let started = Instant::now();
        let mut ticks_run = 0_u64;
        while !stop.load(Ordering::SeqCst) {
            self.hear().map_err(line_failed)?;
            let due = self.ticks_due(started.elapsed(), ticks_run);
            ticks_run += u64::from(self.advance(due)?);
            self.drain_while_waiting();
            let moved = self.send().map_err(line_failed)?;
            if moved == 0 && !self.has_work() {
                self.end.wait_for_bytes(IDLE_WAIT);
            }
        }
        Ok(())
    }

    fn hear(&mut self) -> io::Result<()> {
        let mut buffer = [0; 512];
        let count = self.end.receive(&mut buffer)?;
        if count == 0 {
            return Ok(());
        }
        let mut bytes = buffer.get(..count).unwrap_or_default().to_vec();
        if !self.end.has_link_speed() {
            garble(&mut bytes);
        }
        self.rig.receive(&bytes);
        Ok(())
    }

    fn ticks_due(&self, elapsed: Duration, ticks_run: u64) -> u32 {
        match self.pacing {
            Pacing::Stepped => TICKS_PER_TURN,
            Pacing::Paced => {
                let behind = u64::try_from(elapsed.as_millis()).unwrap_or(u64::MAX).saturating_sub(ticks_run);
                u32::try_from(behind).unwrap_or(CATCH_UP_TICKS).min(CATCH_UP_TICKS)
            }
        }
    }

    fn advance(&mut self, due: u32) -> Result<u32, String> {
        for done in 0..due {
            if !self.may_advance() {
                return Ok(done);
            }
            self.rig.advance().map_err(|failure| failure.to_string())?;
            let room = self.line.bytes_this_tick();
            self.take_from_rig(room);
        }
        Ok(due)
    }

    fn may_advance(&self) -> bool {
        self.rig.may_advance() && (self.pacing == Pacing::Paced || self.outbox.len() <= OUTBOX_LIMIT)
    }

    /// Between grants a stepped rig's clock stands still while the line goes on.
    fn drain_while_waiting(&mut self) {
        while !self.rig.may_advance() && self.take_from_rig(ROOM_WHILE_WAITING) > 0 {}
    }

    /// A wire that nobody reads loses what is sent: a paced rig does not wait for its reader.
    fn take_from_rig(&mut self, room: usize) -> usize {
        let mut bytes = vec![0; room];
        let count = self.rig.transmit(&mut bytes);
        if self.pacing == Pacing::Stepped || self.outbox.len() <= OUTBOX_LIMIT {
            self.outbox.extend(bytes.iter().take(count));
        }
        count
    }

    fn has_work(&self) -> bool {
        self.pacing == Pacing::Stepped && self.may_advance()
    }

    fn send(&mut self) -> io::Result<usize> {
        if self.outbox.is_empty() {
            return Ok(0);
        }
        if !self.end.has_link_speed() {
            garble(&mut self.outbox);
        }
        let count = self.end.send(&self.outbox)?;
        self.outbox.drain(..count);
        Ok(count)
    }
}

fn line_failed(error: io::Error) -> String {
    format!("the rig's end of the line failed: {error}")
}
