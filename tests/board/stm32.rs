//! An emulated STM32F405 that runs by its own timer, and a host on its line.

use std::io::{ErrorKind, Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use firmware_core::link::Decoder;
use firmware_core::link::message::{ToBoard, ToHost};
use firmware_core::link::refusal::Outcome;
use firmware_core::link::state::Welcome;
use lockstep::INSTRUCTION_SHIFT;
use tempfile::TempDir;

use crate::support::Host;

/// Longest wait for what must come; the board itself takes milliseconds, a busy machine makes seconds of them.
const PATIENCE: Duration = Duration::from_secs(30);
/// Seconds after which an emulator that no longer ends by itself is killed: a test that hangs must not stay.
const LIFE: &str = "120";
/// Between a hello and the next, as a host that opens the port repeats it.
const HELLO_AGAIN: Duration = Duration::from_millis(500);
/// Between two signs of life; the drive's lease is 500 ms.
const SIGN_OF_LIFE: Duration = Duration::from_millis(100);
/// Between two looks at a line or a file.
const LOOK: Duration = Duration::from_millis(20);

/// Images as `rigs/board/build-stm32f4.sh` leaves them.
pub(crate) fn image(name: &str) -> PathBuf {
    PathBuf::from(format!("rigs/board/target/images/vanebench-{name}.elf"))
}

/// A board that was powered, and everything connected to it.
pub(crate) struct Stm32 {
    emulator: Child,
    link: UnixStream,
    drills: UnixStream,
    monitor: UnixStream,
    folder: TempDir,
    host: Host,
    decoder: Decoder,
    pub(crate) heard: Vec<ToHost>,
}

impl Stm32 {
    /// Powers a board with an image of this name.
    pub(crate) fn powered(name: &str) -> Self {
        Self::powered_with(&image(name))
    }

    /// Powers a board with this image.
    pub(crate) fn powered_with(image: &Path) -> Self {
        assert!(image.is_file(), "{}: build it with rigs/board/build-stm32f4.sh", image.display());
        let folder = TempDir::new().unwrap();
        let place = |name: &str| folder.path().join(name);
        let ports = ["monitor", "link", "drills"].map(|name| UnixListener::bind(place(name)).unwrap());
        let mut command = Command::new("timeout");
        command.args(["-k", "5", LIFE, "qemu-system-arm", "-M", "netduinoplus2", "-display", "none"]);
        command.args(["-monitor", &format!("unix:{}", place("monitor").display())]);
        command.args(["-icount", &format!("shift={INSTRUCTION_SHIFT}")]);
        for name in ["link", "drills"] {
            command.args(["-serial", &format!("unix:{}", place(name).display())]);
        }
        command.args(["-d", "unimp", "-D"]).arg(place("trace")).arg("-kernel").arg(image);
        let emulator =
            command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        let [monitor, link, drills] = ports.map(|port| port.accept().unwrap().0);
        link.set_read_timeout(Some(LOOK)).unwrap();
        let (host, decoder) = (Host::default(), Decoder::new());
        Self { emulator, link, drills, monitor, folder, host, decoder, heard: Vec::new() }
    }

    /// Says one message.
    pub(crate) fn say(&mut self, message: &ToBoard) {
        let bytes = self.host.say(message);
        self.link.write_all(&bytes).unwrap();
    }

    /// Says one message and waits for what `wanted` finds among all that comes from then on.
    pub(crate) fn ask<T>(&mut self, message: &ToBoard, wanted: impl Fn(&ToHost) -> Option<T>) -> T {
        self.heard.clear();
        self.say(message);
        self.wait_for(PATIENCE, wanted).unwrap_or_else(|| {
            panic!(
                "{message:?}: heard {:?}; the trace ends {:#?}",
                self.heard,
                self.accesses().iter().rev().take(12).collect::<Vec<_>>()
            )
        })
    }

    /// Waits for what `wanted` finds, in what was heard since the last question or still comes.
    pub(crate) fn wait_for<T>(
        &mut self,
        patience: Duration,
        wanted: impl Fn(&ToHost) -> Option<T>,
    ) -> Option<T> {
        let until = Instant::now() + patience;
        let mut seen = 0;
        loop {
            if let Some(found) = self.heard.iter().skip(seen).find_map(&wanted) {
                return Some(found);
            }
            seen = self.heard.len();
            if Instant::now() > until {
                return None;
            }
            self.hear();
        }
    }

    fn hear(&mut self) {
        let mut bytes = [0; 1024];
        let count = match self.link.read(&mut bytes) {
            Ok(count) => count,
            Err(error) if error.kind() == ErrorKind::WouldBlock => 0,
            Err(error) => panic!("{error}"),
        };
        let frames = bytes[..count].iter().filter_map(|byte| self.decoder.push(*byte));
        self.heard.extend(frames.map(|frame| frame.unwrap().message().unwrap()));
    }

    /// A new host's hello, repeated as a host repeats it until the board is up.
    pub(crate) fn greet(&mut self) -> Welcome {
        let until = Instant::now() + PATIENCE;
        while Instant::now() < until {
            (self.host, self.decoder) = (Host::default(), Decoder::new());
            self.heard.clear();
            self.say(&ToBoard::Hello);
            let welcome = |message: &ToHost| match message {
                ToHost::Welcome(welcome) => Some(welcome.clone()),
                _ => None,
            };
            if let Some(welcome) = self.wait_for(HELLO_AGAIN, welcome) {
                return welcome;
            }
        }
        panic!("no welcome; the trace ends with {:?}", self.accesses().last());
    }

    /// Breaks the board on purpose: the emulated image's second serial port.
    pub(crate) fn break_by(&mut self, letter: u8) {
        self.drills.write_all(&[letter]).unwrap();
    }

    /// Waits for what `wanted` finds in all that comes from now on, with a sign of life now and then as a host gives it.
    pub(crate) fn wait_alive<T>(&mut self, wanted: impl Fn(&ToHost) -> Option<T>) -> T {
        let until = Instant::now() + PATIENCE;
        while Instant::now() < until {
            if let Some(found) = self.wait_for(SIGN_OF_LIFE, &wanted) {
                return found;
            }
            self.say(&ToBoard::KeepAlive);
        }
        panic!("heard {:?}", self.heard)
    }

    /// Accesses to devices that the emulator lacks, in their order: `GPIOB write 018 20000000`, `RCC read 030`.
    pub(crate) fn accesses(&self) -> Vec<String> {
        let trace = String::from_utf8(std::fs::read(self.folder.path().join("trace")).unwrap()).unwrap();
        // The last line may still be in the making.
        let whole = trace.rfind('\n').map_or("", |end| &trace[..end]);
        whole.lines().filter_map(access).collect()
    }

    /// Waits until the accesses are as wanted.
    pub(crate) fn wait_for_accesses(&self, is_wanted: impl Fn(&[String]) -> bool) -> Vec<String> {
        let until = Instant::now() + PATIENCE;
        loop {
            let accesses = self.accesses();
            if is_wanted(&accesses) {
                return accesses;
            }
            assert!(Instant::now() < until, "the last accesses: {:#?}", accesses.iter().rev().take(20));
            std::thread::sleep(LOOK);
        }
    }
}

/// The outcome that a reply tells.
pub(crate) fn reply(message: &ToHost) -> Option<Outcome> {
    match message {
        ToHost::Reply { outcome, .. } => Some(outcome.clone()),
        _ => None,
    }
}

/// One line of the emulator's trace.
fn access(line: &str) -> Option<String> {
    let (device, rest) = line.split_once(": unimplemented device ")?;
    let kind = rest.split_whitespace().next()?;
    let number = |name: &str| {
        let (_, from) = rest.split_once(name)?;
        from.split([',', ')']).next()
    };
    let (offset, value) = (number("offset 0x")?, number("value 0x").unwrap_or_default());
    Some(format!("{device} {kind} {offset} {value}").trim_end().to_owned())
}

/// What the runtime paints the stack with before the image runs.
const PAINT: [u8; 4] = 0xCCCC_CCCC_u32.to_le_bytes();
const STACK_ADDRESS: u32 = 0x2000_0000;
const STACK_BYTES: usize = 6 * 1024;

impl Stm32 {
    /// Bytes of stack that have been in use since the start, interrupts included.
    pub(crate) fn stack_high_water(&mut self) -> usize {
        let bytes = self.memory(STACK_ADDRESS, STACK_BYTES);
        STACK_BYTES - bytes.chunks(PAINT.len()).take_while(|word| **word == PAINT).count() * PAINT.len()
    }

    /// The log's ring as crate defmt-rtt lays it out: bytes that were put in, and what happens when it is full.
    pub(crate) fn log_ring(&mut self, image: &Path) -> (u32, u32) {
        const WRITTEN_AT: usize = 36;
        const FLAGS_AT: usize = 44;
        let names = Command::new("nm").arg(image).output().unwrap();
        let names = String::from_utf8(names.stdout).unwrap();
        let line = names.lines().find(|line| line.ends_with(" _SEGGER_RTT")).expect("the image has a log");
        let address = u32::from_str_radix(&line[..8], 16).unwrap();
        let block = self.memory(address, FLAGS_AT + 4);
        let word = |at: usize| u32::from_le_bytes(block[at..at + 4].try_into().unwrap());
        (word(WRITTEN_AT), word(FLAGS_AT))
    }

    /// Once for each board: the monitor's echo, which nobody reads, would hold up a second command.
    fn memory(&mut self, address: u32, count: usize) -> Vec<u8> {
        let dump = self.folder.path().join("memory");
        writeln!(self.monitor, "pmemsave {address:#x} {count} \"{}\"", dump.display()).unwrap();
        let until = Instant::now() + PATIENCE;
        loop {
            match std::fs::read(&dump) {
                Ok(bytes) if bytes.len() == count => break bytes,
                _ => assert!(Instant::now() < until, "the emulator saved no memory"),
            }
            std::thread::sleep(LOOK);
        }
    }
}

impl Drop for Stm32 {
    fn drop(&mut self) {
        // `timeout` ends its emulator with it.
        let _asked = Command::new("kill").arg(self.emulator.id().to_string()).status();
        let _reaped = self.emulator.wait();
    }
}
