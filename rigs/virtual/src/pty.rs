//! The rig's end of a pseudo-terminal: what a USB serial adapter would be.

use std::io;
use std::os::fd::{AsFd, OwnedFd};
use std::path::{Path, PathBuf};
use std::time::Duration;

use nix::errno::Errno;
use nix::fcntl::{FcntlArg, OFlag, fcntl};
use nix::poll::{PollFd, PollFlags, PollTimeout, poll};
use nix::pty::openpty;
use nix::sys::termios::{BaudRate, SetArg, cfmakeraw, cfsetspeed, tcgetattr, tcsetattr};
use nix::unistd::{read, ttyname, write};

use crate::line::{BAUD, LineEnd};

/// A pseudo-terminal pair; the bench tool opens [`Pty::path`] as it opens any serial port.
///
/// The device side is kept open as well, so that a client may come and go.
#[derive(Debug)]
pub struct Pty {
    rig_side: OwnedFd,
    device_side: OwnedFd,
    path: PathBuf,
}

impl Pty {
    /// Opens a pair in raw mode at the link's speed, so that nothing is echoed before a client comes.
    ///
    /// # Errors
    /// When the system has no pseudo-terminal left.
    pub fn open() -> io::Result<Self> {
        let pair = openpty(None, None)?;
        let mut settings = tcgetattr(&pair.slave)?;
        cfmakeraw(&mut settings);
        cfsetspeed(&mut settings, BaudRate::B115200)?;
        tcsetattr(&pair.slave, SetArg::TCSANOW, &settings)?;
        fcntl(&pair.master, FcntlArg::F_SETFL(OFlag::O_NONBLOCK))?;
        let path = ttyname(&pair.slave)?;
        Ok(Self { rig_side: pair.master, device_side: pair.slave, path })
    }

    /// Path of the device that a client opens.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }
}

impl LineEnd for Pty {
    fn has_link_speed(&self) -> bool {
        // Not nix: its speeds are an enum, and a client may set any number.
        rustix::termios::tcgetattr(&self.device_side).is_ok_and(|settings| settings.output_speed() == BAUD)
    }

    fn wait_for_bytes(&self, patience: Duration) {
        let mut watched = [PollFd::new(self.rig_side.as_fd(), PollFlags::POLLIN)];
        let timeout = PollTimeout::try_from(patience).unwrap_or(PollTimeout::ZERO);
        // Woken early by a signal: the caller loops anyway.
        let _woken = poll(&mut watched, timeout);
    }

    fn receive(&self, into: &mut [u8]) -> io::Result<usize> {
        nothing_yet(read(&self.rig_side, into))
    }

    fn send(&self, bytes: &[u8]) -> io::Result<usize> {
        nothing_yet(write(&self.rig_side, bytes))
    }
}

fn nothing_yet(moved: nix::Result<usize>) -> io::Result<usize> {
    match moved {
        Ok(count) => Ok(count),
        Err(Errno::EAGAIN | Errno::EINTR) => Ok(0),
        Err(error) => Err(error.into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fresh_pty_is_raw_and_at_link_speed() {
        let pty = Pty::open().unwrap();
        assert!(pty.has_link_speed());
        assert_eq!(pty.send(b"hello").unwrap(), 5);
        let mut echo = [0; 8];
        pty.wait_for_bytes(Duration::from_millis(20));
        assert_eq!(pty.receive(&mut echo).unwrap(), 0, "a raw terminal does not echo");
    }
}
