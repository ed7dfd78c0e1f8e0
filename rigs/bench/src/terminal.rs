//! What is asked of the terminal beside reading and writing, on each kind of system.

pub(crate) use system::{forget_typed, has_line, is_gone};

#[cfg(unix)]
mod system {
    use std::io;
    use std::os::fd::AsFd;
    use std::time::Duration;

    use nix::poll::{PollFd, PollFlags, PollTimeout, poll};
    use nix::sys::termios::{FlushArg, tcflush};

    /// Forgets what was typed before a question: it is no answer to it.
    pub(crate) fn forget_typed() {
        let _nothing_typed = tcflush(io::stdin(), FlushArg::TCIFLUSH);
    }

    /// True once a line waits at the terminal or its input has ended; waits at most `patience`.
    pub(crate) fn has_line(patience: Duration) -> bool {
        let stdin = io::stdin();
        let mut watched = [PollFd::new(stdin.as_fd(), PollFlags::POLLIN)];
        let patience = PollTimeout::try_from(patience).unwrap_or(PollTimeout::ZERO);
        // A signal ends the wait early: the caller looks for it.
        poll(&mut watched, patience).is_ok_and(|ready| ready > 0)
    }

    /// The terminal has been closed: the library that reads keys would read nothing for ever.
    pub(crate) fn is_gone() -> bool {
        let stdin = io::stdin();
        let mut look = [PollFd::new(stdin.as_fd(), PollFlags::POLLIN)];
        let looked = poll(&mut look, PollTimeout::ZERO);
        let closed = PollFlags::POLLHUP | PollFlags::POLLERR | PollFlags::POLLNVAL;
        looked.is_err() || look[0].revents().is_none_or(|seen| seen.intersects(closed))
    }
}

#[cfg(not(unix))]
mod system {
    use std::time::Duration;

    use ratatui::crossterm::event;

    /// Forgets what was typed before a question: it is no answer to it.
    pub(crate) fn forget_typed() {
        while event::poll(Duration::ZERO).unwrap_or(false) {
            let _forgotten = event::read();
        }
    }

    /// True once something was typed; waits at most `patience`.
    pub(crate) fn has_line(patience: Duration) -> bool {
        event::poll(patience).unwrap_or(true)
    }

    /// A console that is closed ends the program by itself here.
    pub(crate) fn is_gone() -> bool {
        false
    }
}
