//! The emulator's process, its three serial ports and the memory that it shares.

use std::collections::VecDeque;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read};
use std::os::fd::AsFd;
use std::os::unix::fs::FileExt;
use std::os::unix::net::{UnixListener, UnixStream};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use lockstep::INSTRUCTION_SHIFT;
use nix::errno::Errno;
use nix::poll::{PollFd, PollFlags, PollTimeout, poll};

use super::{BoardError, EMULATOR, PATIENCE};

/// Between two looks at whether the emulator has connected.
const LOOK_AGAIN: Duration = Duration::from_millis(5);

/// A running emulator. Ends with its owner.
#[derive(Debug)]
pub(super) struct EmulatorProcess {
    child: Child,
    /// The bench link.
    pub(super) link: UnixStream,
    /// The bell.
    pub(super) bell: UnixStream,
    /// Link bytes that nobody has asked for yet.
    heard: VecDeque<u8>,
    window: File,
    folder: Folder,
}

impl EmulatorProcess {
    pub(super) fn start(image: &Path) -> Result<Self, BoardError> {
        let folder = Folder::create()?;
        let window =
            OpenOptions::new().read(true).write(true).create_new(true).open(folder.file("window"))?;
        window.set_len(u64::from(lockstep::WINDOW_BYTES))?;
        let link = UnixListener::bind(folder.file("link"))?;
        let bell = UnixListener::bind(folder.file("bell"))?;
        let mut child = command(image, &folder).spawn().map_err(BoardError::NoEmulator)?;
        let connected = accept(&link, &mut child).and_then(|link| Ok((link, accept(&bell, &mut child)?)));
        match connected {
            Ok((link, bell)) => {
                link.set_read_timeout(Some(PATIENCE))?;
                Ok(Self { child, link, bell, heard: VecDeque::new(), window, folder })
            }
            Err(error) => {
                end(&mut child);
                Err(error)
            }
        }
    }

    pub(super) fn log_path(&self) -> &Path {
        &self.folder.log
    }

    pub(super) fn window_read(&self, at: u32, into: &mut [u8]) -> io::Result<()> {
        self.window.read_exact_at(into, u64::from(at))
    }

    pub(super) fn window_write(&self, at: u32, bytes: &[u8]) -> io::Result<()> {
        self.window.write_all_at(bytes, u64::from(at))
    }

    /// Waits for a bell. What comes over the link meanwhile is taken in: the board waits for room there, and a
    /// socket holds only some hundred single bytes.
    pub(super) fn read_bell(&mut self, patience: Duration) -> Result<u8, BoardError> {
        let until = Instant::now() + patience;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            let ready = readable(&self.link, &self.bell, left)?;
            if ready.link {
                self.take_link_bytes()?;
            }
            if ready.bell {
                return self.take_letter();
            }
            if left.is_zero() {
                return Err(BoardError::Silent);
            }
        }
    }

    /// The next `count` bytes that the board has put on the link.
    pub(super) fn read_link(&mut self, count: usize) -> Result<Vec<u8>, BoardError> {
        while self.heard.len() < count {
            self.take_link_bytes()?;
        }
        Ok(self.heard.drain(..count).collect())
    }

    fn take_link_bytes(&mut self) -> Result<(), BoardError> {
        let mut bytes = [0; 4096];
        match self.link.read(&mut bytes) {
            Ok(0) => Err(self.ended()),
            Ok(count) => {
                self.heard.extend(bytes.iter().take(count));
                Ok(())
            }
            Err(error) if error.kind() == io::ErrorKind::WouldBlock => Err(BoardError::Silent),
            Err(error) => Err(error.into()),
        }
    }

    fn take_letter(&mut self) -> Result<u8, BoardError> {
        let mut letter = [0; 1];
        match self.bell.read(&mut letter)? {
            1 => Ok(letter[0]),
            _ => Err(self.ended()),
        }
    }

    fn ended(&mut self) -> BoardError {
        match self.child.wait() {
            Ok(status) => BoardError::Ended(status.to_string()),
            Err(error) => BoardError::Talk(error),
        }
    }
}

impl Drop for EmulatorProcess {
    fn drop(&mut self) {
        end(&mut self.child);
    }
}

/// Which of the two sockets has something to read.
struct Readable {
    link: bool,
    bell: bool,
}

fn readable(link: &UnixStream, bell: &UnixStream, patience: Duration) -> io::Result<Readable> {
    let watch = |stream| PollFd::new(stream, PollFlags::POLLIN);
    let mut watched = [watch(link.as_fd()), watch(bell.as_fd())];
    let timeout = PollTimeout::try_from(patience).unwrap_or(PollTimeout::MAX);
    match poll(&mut watched, timeout) {
        // Woken by a signal: the caller looks again.
        Ok(_) | Err(Errno::EINTR) => {}
        Err(error) => return Err(error.into()),
    }
    let [link, bell] = watched.map(|watched| watched.any().unwrap_or(false));
    Ok(Readable { link, bell })
}

fn command(image: &Path, folder: &Folder) -> Command {
    let mut command = Command::new(EMULATOR);
    let window = format!(
        "memory-backend-file,id=window,share=on,size={},mem-path={}",
        lockstep::WINDOW_BYTES,
        folder.file("window").display()
    );
    command.args(["-M", "mps2-an386,memory-backend=window", "-object", &window]);
    command.args(["-display", "none", "-monitor", "none", "-icount", &format!("shift={INSTRUCTION_SHIFT}")]);
    for port in ["link", "bell"] {
        command.args(["-serial", &format!("unix:{}", folder.file(port).display())]);
    }
    command.args(["-serial", &format!("file:{}", folder.log.display())]);
    command.arg("-kernel").arg(image);
    // A group of its own: Ctrl-C stops the tool, which then stops the drive and only after that the board.
    command.stdin(Stdio::null()).stdout(Stdio::null()).process_group(0);
    command
}

fn accept(listener: &UnixListener, child: &mut Child) -> Result<UnixStream, BoardError> {
    listener.set_nonblocking(true)?;
    let began = Instant::now();
    while began.elapsed() < PATIENCE {
        match listener.accept() {
            Ok((stream, _)) => {
                stream.set_nonblocking(false)?;
                return Ok(stream);
            }
            Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
            Err(error) => return Err(error.into()),
        }
        if let Some(status) = child.try_wait()? {
            return Err(BoardError::Ended(status.to_string()));
        }
        thread::sleep(LOOK_AGAIN);
    }
    Err(BoardError::Silent)
}

fn end(child: &mut Child) {
    // Both fail only when it has ended already.
    let _killed = child.kill();
    let _reaped = child.wait();
}

/// A folder of this board alone, gone with it.
#[derive(Debug)]
struct Folder {
    path: PathBuf,
    log: PathBuf,
}

impl Folder {
    fn create() -> io::Result<Self> {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let path = std::env::temp_dir().join(format!("vanebench-board-{}-{number}", std::process::id()));
        // Left behind by a process of the same number that was killed.
        if path.exists() {
            fs::remove_dir_all(&path)?;
        }
        fs::create_dir_all(&path)?;
        let log = path.join("log");
        Ok(Self { path, log })
    }

    fn file(&self, name: &str) -> PathBuf {
        self.path.join(name)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // Nothing but scratch; the system clears its temporary folder anyway.
        let _removed = fs::remove_dir_all(&self.path);
    }
}
