//! A board in process for the link's checks: a session, the simulated unit, and a line that can be troubled.
#![allow(dead_code, unreachable_pub)] // each test file uses its own part

use std::collections::VecDeque;
use std::io::{self, Read, Write};
use std::sync::{Arc, Mutex};

use firmware_core::link::{Identity, Pacing, SelfTest};
use firmware_core::session::Session;
use firmware_core::settings::{Settings, StopWindow, StopWindows};
use firmware_core::store::StoreResult;
use firmware_core::units::{Duty, Tick};
use plant::actuator::ActuatorParams;
use plant::world::{EngineState, World, WorldConfig};
use virtual_rig::line::{BAUD, LineBudget};

/// Readings of the unit's ring stops: 2800 counts at lever angle 0, 10 700 counts of travel.
const OPEN: i16 = 2800;
const CLOSED: i16 = 13_500;
/// Half width of the windows.
const WINDOW: i16 = 200;

/// A stepped board behind a line of 115 200 baud.
pub struct Board {
    session: Session,
    world: World,
    next: Tick,
    duty: Duty,
    budget: LineBudget,
    out: VecDeque<u8>,
}

impl Board {
    /// The sound invented unit.
    pub fn sound(seed: u64) -> Self {
        let actuator = ActuatorParams::bench_actuator_a_in_service();
        let mut config = WorldConfig { actuator, ..WorldConfig::default() };
        config.sensors.position.counts_at_zero = f64::from(OPEN);
        Self {
            session: session(),
            world: World::new(&config, seed).unwrap(),
            next: Tick(0),
            duty: Duty::ZERO,
            budget: LineBudget::new(BAUD),
            out: VecDeque::new(),
        }
    }

    /// What losing power does to the board's memory.
    pub fn restart(&mut self) {
        self.session = session();
        self.out.clear();
    }

    /// Hears bytes, whoever they are from.
    pub fn receive(&mut self, bytes: &[u8]) {
        self.session.receive(bytes);
        self.run();
    }

    /// Lets time pass without the host: ticks run although nobody granted them.
    pub fn pass(&mut self, ticks: u32) {
        for _ in 0..ticks {
            self.tick();
        }
    }

    /// Duty of the last tick.
    pub fn duty(&self) -> Duty {
        self.duty
    }

    fn tick(&mut self) {
        if self.session.take_save().is_some() {
            self.session.saved(StoreResult::Written);
        }
        let sample = self.world.sample(self.next);
        self.duty = self.session.tick(&sample).duty;
        self.world.step(self.duty, &EngineState::Standing).unwrap();
        self.next = self.next.after(1);
    }

    fn run(&mut self) {
        while self.session.may_advance(self.next) {
            self.tick();
            let room = self.budget.bytes_this_tick();
            self.send(room);
        }
        // Time stands still now; the line goes on.
        while self.send(256) > 0 {}
    }

    fn send(&mut self, room: usize) -> usize {
        let mut bytes = vec![0; room];
        let count = self.session.transmit(&mut bytes);
        self.out.extend(&bytes[..count]);
        count
    }
}

/// Settings whose windows lie around this unit's own stops.
pub fn settings() -> Settings {
    let window = |centre| StopWindow::around(centre, WINDOW);
    let mut settings = Settings::default();
    settings.learn.windows.attached.cold = StopWindows { closed: window(CLOSED), open: window(OPEN) };
    settings
}

fn session() -> Session {
    let identity = Identity {
        model: "checks".parse().unwrap(),
        software: "checks 1".parse().unwrap(),
        build: 0,
        layout: firmware_core::store::LAYOUT_VERSION,
        board: "in process".parse().unwrap(),
        serial: Default::default(),
        pacing: Pacing::Stepped,
        started: firmware_core::link::state::StartReason::PowerOn,
    };
    Session::new(identity, SelfTest::NOT_FITTED)
}

/// What the line does to whole writes of the host and to runs of bytes from the board.
pub type Trouble = Box<dyn FnMut(Vec<u8>) -> Vec<u8> + Send>;

/// One end of a line to a [`Board`] that others may hold too.
pub struct BoardLine {
    pub board: Arc<Mutex<Board>>,
    pub to_board: Trouble,
    pub to_host: Trouble,
    pub is_cut: Arc<Mutex<bool>>,
    pub heard: Arc<Mutex<Vec<u8>>>,
}

impl BoardLine {
    pub fn new(board: Board) -> Self {
        Self {
            board: Arc::new(Mutex::new(board)),
            to_board: Box::new(|bytes| bytes),
            to_host: Box::new(|bytes| bytes),
            is_cut: Arc::default(),
            heard: Arc::default(),
        }
    }
}

impl Write for BoardLine {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if *self.is_cut.lock().unwrap() {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        let mut board = self.board.lock().unwrap();
        board.receive(&(self.to_board)(bytes.to_vec()));
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Read for BoardLine {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if *self.is_cut.lock().unwrap() {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        let mut board = self.board.lock().unwrap();
        let count = into.len().min(board.out.len()).min(512);
        let bytes = (self.to_host)(board.out.drain(..count).collect());
        if bytes.is_empty() {
            return Err(io::ErrorKind::WouldBlock.into());
        }
        into[..bytes.len()].copy_from_slice(&bytes);
        self.heard.lock().unwrap().extend(&bytes);
        Ok(bytes.len())
    }
}

/// A line that sends back what it is given and carries nothing.
#[derive(Default)]
pub struct Loop(VecDeque<u8>);

impl Write for Loop {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.extend(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Read for Loop {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.0.is_empty() { Err(io::ErrorKind::WouldBlock.into()) } else { self.0.read(into) }
    }
}

/// A line on which somebody else talks: the same bytes over and over, or none at all.
pub struct Stranger(pub Vec<u8>);

impl Write for Stranger {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Read for Stranger {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        std::thread::sleep(std::time::Duration::from_millis(5));
        let count = self.0.len().min(into.len());
        if count == 0 {
            return Err(io::ErrorKind::TimedOut.into());
        }
        into[..count].copy_from_slice(&self.0[..count]);
        Ok(count)
    }
}
