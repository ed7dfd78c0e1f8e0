//! Tells what the emulated board logs, beside the talk with it.
//!
//! In: the board's image, which holds the words, and the file of its log. Out: lines on the error stream, and at the end how
//! many frames were lost. Refused: a tool that was built without the decoder.

use std::path::Path;

use crate::exit::Failure;

/// Follows a board's log until it is dropped.
pub(super) struct LogTeller {
    #[cfg(feature = "board-log")]
    _follower: follower::Follower,
}

impl LogTeller {
    /// Begins to tell.
    ///
    /// # Errors
    /// When the image does not log, or this tool cannot read logs.
    #[cfg(feature = "board-log")]
    pub(super) fn start(image: &Path, log: &Path) -> Result<Self, Failure> {
        Ok(Self { _follower: follower::Follower::start(image, log)? })
    }

    /// Begins to tell.
    ///
    /// # Errors
    /// Always: this tool cannot read logs.
    #[cfg(not(feature = "board-log"))]
    pub(super) fn start(_image: &Path, _log: &Path) -> Result<Self, Failure> {
        Err(Failure::usage(
            "--log: this tool was built without the log's decoder. Build it with `cargo build --features board-log`.",
        ))
    }
}

#[cfg(feature = "board-log")]
mod follower {
    use std::path::Path;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicBool, Ordering};
    use std::thread::{self, JoinHandle};
    use std::time::Duration;

    use plant::shown::printable;
    use virtual_rig::board_log::{LogFollower, LogTable};

    use crate::exit::Failure;

    /// Between two looks at the log.
    const LOOK_AGAIN: Duration = Duration::from_millis(50);

    pub(super) struct Follower {
        stop: Arc<AtomicBool>,
        thread: Option<JoinHandle<()>>,
    }

    impl Follower {
        pub(super) fn start(image: &Path, log: &Path) -> Result<Self, Failure> {
            let table = LogTable::of_image(image).map_err(Failure::usage)?;
            let log = log.to_owned();
            let stop = Arc::new(AtomicBool::new(false));
            let asked_to_stop = Arc::clone(&stop);
            let thread = thread::spawn(move || match table.follow(&log) {
                Ok(follower) => tell(follower, &asked_to_stop),
                Err(error) => eprintln!("board log: {error}"),
            });
            Ok(Self { stop, thread: Some(thread) })
        }
    }

    impl Drop for Follower {
        fn drop(&mut self) {
            self.stop.store(true, Ordering::SeqCst);
            if let Some(thread) = self.thread.take() {
                // A log that could not be told has said so already.
                let _told = thread.join();
            }
        }
    }

    fn tell(mut follower: LogFollower<'_>, stop: &AtomicBool) {
        loop {
            let is_last = stop.load(Ordering::SeqCst);
            match follower.new_lines() {
                Ok(lines) => {
                    lines.iter().for_each(|line| eprintln!("board {}", printable(&line.to_string())))
                }
                Err(error) => return eprintln!("board log: {error}"),
            }
            if is_last {
                return eprintln!("board log: {} frames lost", follower.lost());
            }
            thread::sleep(LOOK_AGAIN);
        }
    }
}
