//! What the board tests share: the image's path and a host that speaks to a board.
#![allow(dead_code, reason = "each test uses a part of it")]

use firmware_core::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use firmware_core::held::{Held, Origin, OriginTag, Standing};
use firmware_core::link::message::{ToBoard, ToHost};
use firmware_core::link::state::Welcome;
use firmware_core::link::{Decoder, Talk, encode};
use firmware_core::motion::{Footing, Goal, Segment};
use firmware_core::sample::{BridgeLine, Conversions, Sample};
use firmware_core::settings::{LawName, Settings};
use firmware_core::units::{Ampere, Counts, Duty, Kilopascal, Opening, Tick, Volt};
use virtual_rig::board::{Board, BoardError, image};

/// Bytes that the link takes at once: all there is.
pub(crate) const ROOM: usize = 4096;

/// A board that has just been powered. Tests of this package run in the top folder.
pub(crate) fn powered_board() -> Board {
    Board::start(&image()).unwrap()
}

/// Numbers messages as a host does.
#[derive(Default)]
pub(crate) struct Host {
    sequence: u16,
}

impl Host {
    /// The bytes of the next message.
    pub(crate) fn say(&mut self, message: &ToBoard) -> Vec<u8> {
        let frame = encode(Talk::FIRST, self.sequence, message).unwrap();
        self.sequence = self.sequence.wrapping_add(1);
        frame.to_vec()
    }

    /// Lets time run up to `until`.
    pub(crate) fn grant(&mut self, until: Tick) -> Vec<u8> {
        self.say(&ToBoard::Grant { until })
    }
}

/// A calibration with stops at these counts.
pub(crate) fn calibration(closed_counts: f32, open_counts: f32) -> Calibration {
    let stop = |at: f32| LearnedStop {
        zero_push_counts: at,
        pressed_counts: at,
        released_counts: at,
        compliance_counts_per_a: 20.0,
        repeat_range_counts: 1.0,
        contact: Contact::ActuatorInternal,
    };
    Calibration {
        closed: stop(closed_counts),
        open: stop(open_counts),
        setup: Setup::Attached,
        warmth: Warmth::Cold,
        supply: Volt(12.0),
        temperature: None,
        clearance: Opening::saturating(0.02, Opening::CLOSED),
    }
}

/// Names the law of boost control; the default one where it does not.
const LAW_VARIABLE: &str = "BOARD_LAW";

/// The built-in settings under the law that is asked for.
pub(crate) fn settings() -> Settings {
    let mut settings = Settings::default();
    if let Ok(word) = std::env::var(LAW_VARIABLE) {
        let named = LawName::ALL.into_iter().find(|law| law.word() == word);
        settings.target.law = named.expect("the word of a law");
    }
    settings
}

/// A calibration with these stops, as a learn of these tests would leave it.
pub(crate) fn held(closed_counts: f32, open_counts: f32, standing: Standing) -> Held {
    let origin = Origin { tag: OriginTag(0xB0A2D), settings: settings().hash(), tick: Tick(9000) };
    Held::of_full_learn(calibration(closed_counts, open_counts), standing, origin)
}

/// A board, its host, and a lever that stands still.
pub(crate) struct Bench {
    pub(crate) board: Board,
    pub(crate) next: Tick,
    pub(crate) heard: Vec<ToHost>,
    host: Host,
    decoder: Decoder,
}

impl Bench {
    pub(crate) fn powered() -> Self {
        let board = powered_board();
        Self { board, next: Tick(0), heard: Vec::new(), host: Host::default(), decoder: Decoder::new() }
    }

    /// Says one message and hears what comes back.
    pub(crate) fn ask(&mut self, message: &ToBoard) {
        let bytes = self.host.say(message);
        let step = self.board.step(&bytes, &[], ROOM).unwrap();
        self.hear(&step.link);
    }

    /// Hands are clear, and the settings are what the board was given.
    pub(crate) fn arm(&mut self) {
        for section in settings().sections() {
            self.ask(&ToBoard::Settings(section));
        }
        self.ask(&ToBoard::Arm { settings: settings().hash() });
    }

    /// A new host's hello.
    pub(crate) fn greet(&mut self) -> Welcome {
        self.host = Host::default();
        self.decoder = Decoder::new();
        self.next = Tick(0);
        self.heard.clear();
        self.ask(&ToBoard::Hello);
        let welcome = self.heard.iter().find_map(|message| match message {
            ToHost::Welcome(welcome) => Some(welcome.clone()),
            _ => None,
        });
        welcome.unwrap()
    }

    /// Greets, arms, and drives the lever open with a constant duty for a minute.
    pub(crate) fn drive_open_loop(&mut self) {
        self.greet();
        let goal = Goal::Duty(Duty::saturating(0.1, Duty::ZERO));
        let hold = [Segment { goal, ticks: 0 }, Segment { goal, ticks: 60_000 }];
        self.arm();
        self.ask(&ToBoard::MotionClear);
        self.ask(&ToBoard::MotionAppend(hold.into_iter().collect()));
        self.ask(&ToBoard::StartMotion {
            start_at: self.next,
            setup: Setup::Attached,
            warmth: Warmth::Cold,
            footing: Footing::Diagnostic,
        });
    }

    /// Runs ticks on a silent link; gives each tick's duty.
    pub(crate) fn run(&mut self, ticks: u32) -> Result<Vec<Duty>, BoardError> {
        let mut duties = Vec::new();
        for _ in 0..ticks {
            duties.extend(self.run_hearing(&[], 1)?);
        }
        Ok(duties)
    }

    /// Runs ticks after these bytes have come over the link.
    pub(crate) fn run_hearing(&mut self, bytes: &[u8], ticks: u32) -> Result<Vec<Duty>, BoardError> {
        let samples: Vec<Sample> = (0..ticks).map(|count| standing(self.next.after(count))).collect();
        let step = self.board.step(bytes, &samples, ROOM)?;
        self.next = self.next.after(ticks);
        self.hear(&step.link);
        Ok(step.ticks.iter().map(|tick| tick.output.duty).collect())
    }

    fn hear(&mut self, bytes: &[u8]) {
        let frames = bytes.iter().filter_map(|byte| self.decoder.push(*byte));
        self.heard.extend(frames.map(|frame| frame.unwrap().message().unwrap()));
    }
}

/// A lever at rest in mid-travel, nothing wrong.
fn standing(tick: Tick) -> Sample {
    Sample {
        tick,
        position: Counts(8000),
        motor_current: Ampere(0.0),
        supply: Volt(12.0),
        temperature: None,
        boost: Kilopascal(101.0),
        barometer: Kilopascal(101.0),
        exhaust: None,
        turbo_speed: None,
        conversions: Conversions::all(tick.0.to_le_bytes()[0]),
        bridge: BridgeLine::Quiet,
    }
}
