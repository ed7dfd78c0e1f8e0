//! What a controller is given in the bit-exact run, and what the one in this program makes of it: faults, motions, learns
//! and every mode of the engine, batch by batch.

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::controller::TickOutput;
use firmware_core::faults::{FaultSet, LimitSet};
use firmware_core::guard::GuardStage;
use firmware_core::held::{OriginTag, Standing};
use firmware_core::learn::{CheckSet, LearnOrder};
use firmware_core::link::SelfTest;
use firmware_core::link::message::ToBoard;
use firmware_core::link::state::{Identity, Pacing, StartReason, Streaming};
use firmware_core::motion::{Footing, Goal, Segment};
use firmware_core::sample::{EngineDemand, Mode, Sample};
use firmware_core::session::Session;
use firmware_core::store::{LAYOUT_VERSION, StoreResult};
use firmware_core::units::{Ampere, Duty, Kilopascal, Load, Opening, Rpm, Tick};
use lockstep::TickDone;
use plant::airpath::EngineInputs;
use plant::sensor::{ChannelFault, PositionFault};
use plant::world::{EngineState, Fault, FaultKind, World, WorldConfig};

use crate::support::{Host, ROOM, held, settings};

/// Ticks of a round: every fault once, from power on, with a world of its own.
pub(crate) const ROUND_TICKS: u32 = 102_400;
/// Seed of the first round's world.
pub(crate) const WORLD_SEED: u64 = 6;
/// Ticks between two turns of the link.
const BATCH: u32 = 64;
/// Ticks after which the engine's demand changes.
const DEMAND_TICKS: u32 = 3200;

/// As an image names itself, so that the welcome is the same too.
pub(crate) fn identity(model: &str, software: &str, board: &str, build: u32) -> Identity {
    Identity {
        model: model.try_into().unwrap(),
        software: software.try_into().unwrap(),
        build,
        layout: LAYOUT_VERSION,
        board: board.try_into().unwrap(),
        serial: Default::default(),
        pacing: Pacing::Stepped,
        started: StartReason::PowerOn,
    }
}

/// What is given between two turns of the link, and what came of it.
pub(crate) struct Batch {
    pub(crate) first: Tick,
    pub(crate) bytes: Vec<u8>,
    pub(crate) samples: Vec<Sample>,
    pub(crate) outputs: Vec<TickOutput>,
    link: Vec<u8>,
}

impl Batch {
    /// Holds what another processor made of it against what this one did.
    pub(crate) fn compare(&self, ticks: &[TickDone], link: &[u8]) {
        assert_eq!(ticks.len(), self.outputs.len());
        for (tick, host_side) in ticks.iter().zip(&self.outputs) {
            assert_eq!(bits(&tick.output), bits(host_side), "board {:?}, host {host_side:?}", tick.output);
        }
        assert_eq!(link, self.link, "link bytes of the batch at tick {}", self.first.0);
    }
}

/// A controller in this program, from power on, in one world.
pub(crate) struct Run {
    session: Session,
    seed: u64,
    world: World,
    host: Host,
    next: Tick,
    end: Tick,
}

impl Run {
    pub(crate) fn new(identity: Identity, seed: u64, ticks: u32) -> Self {
        let session = Session::new(identity, SelfTest::NOT_FITTED);
        Self { session, seed, world: world(seed), host: Host::default(), next: Tick(0), end: Tick(ticks) }
    }

    fn tick(&mut self, sample: &Sample) -> TickOutput {
        let output = self.session.tick(sample);
        if self.session.take_save().is_some() {
            self.session.saved(StoreResult::Written);
        }
        // A world that a planted fault has torn apart is put together again; both controllers see the jump.
        if self.world.step(output.duty, &running(sample.tick)).is_err() {
            self.world = world(self.seed);
        }
        output
    }
}

impl Iterator for Run {
    type Item = Batch;

    fn next(&mut self) -> Option<Batch> {
        let first = self.next;
        self.next = first.after(BATCH);
        if self.next.0 > self.end.0 {
            return None;
        }
        let bytes = talk(&mut self.host, first, &self.world);
        self.session.receive(&bytes);
        let (mut samples, mut outputs) = (Vec::new(), Vec::new());
        for tick in (0..BATCH).map(|count| first.after(count)) {
            let sample = self.world.sample(tick);
            outputs.push(self.tick(&sample));
            samples.push(sample);
        }
        let mut link = vec![0; ROOM];
        let length = self.session.transmit(&mut link);
        link.truncate(length);
        Some(Batch { first, bytes, samples, outputs, link })
    }
}

fn world(seed: u64) -> World {
    World::new(&WorldConfig { faults: faults(), ..WorldConfig::default() }, seed).unwrap()
}

/// Faults one after the other, each healing before the next: seconds of start and end in a round.
fn faults() -> Vec<Fault> {
    let at = |at_s: f64, until_s: f64, what| Fault { at_s, until_s: Some(until_s), what };
    let glitches = ChannelFault::Glitch { per_s: 40.0, size: 900.0 };
    vec![
        at(5.0, 7.0, FaultKind::BoostSensor(ChannelFault::DropOut(f64::NAN))),
        at(10.0, 12.0, FaultKind::BoostSensor(ChannelFault::Offset(150.0))),
        at(15.0, 17.0, FaultKind::PositionSensor(PositionFault::Channel(glitches))),
        at(20.0, 22.0, FaultKind::PositionSensor(PositionFault::Channel(ChannelFault::Freeze))),
        at(25.0, 27.0, FaultKind::Supply(7.5)),
        at(30.0, 31.0, FaultKind::Supply(0.0)),
        at(35.0, 37.0, FaultKind::CurrentSensor(ChannelFault::DropOut(f64::INFINITY))),
        at(40.0, 44.0, FaultKind::TurboSpeedSensor(ChannelFault::Gain(2.0))),
        at(48.0, 52.0, FaultKind::HoseLeakMm2(400.0)),
        at(56.0, 58.0, FaultKind::Barometer(ChannelFault::Drift(20.0))),
        at(62.0, 66.0, FaultKind::WindingOpen),
        at(70.0, 74.0, FaultKind::ExhaustSensor(ChannelFault::Noise(60.0))),
        at(80.0, 84.0, FaultKind::MotorReversed),
        at(90.0, 90.2, FaultKind::ConverterFrozen),
        at(94.0, 94.1, FaultKind::Bridge),
        at(97.0, 97.5, FaultKind::ConverterFrozen),
    ]
}

/// What the host says before the batch that begins at `tick`.
fn talk(host: &mut Host, tick: Tick, world: &World) -> Vec<u8> {
    let mut bytes = Vec::new();
    let stops = world.stop_truth();
    let (closed, open) = (stops.closed_counts.unwrap() as f32, stops.open_counts.unwrap() as f32);
    let learned = held(closed, open, Standing::Accepted);
    if tick == Tick(0) {
        bytes.extend(host.say(&ToBoard::Hello));
        for section in settings().sections() {
            bytes.extend(host.say(&ToBoard::Settings(section)));
        }
        bytes.extend(host.say(&ToBoard::SetCalibration(learned)));
        bytes.extend(host.say(&ToBoard::Store));
        bytes.extend(host.say(&ToBoard::Stream(Streaming::On)));
    }
    if tick.0.is_multiple_of(DEMAND_TICKS) {
        let turn = tick.0 / DEMAND_TICKS;
        let mode = [Mode::Boost, Mode::Idle, Mode::Boost, Mode::Brake, Mode::Limp][(turn % 5) as usize];
        // A learn that was refused or cut has left no calibration in force.
        bytes.extend(host.say(&ToBoard::Stop));
        bytes.extend(host.say(&ToBoard::SetCalibration(learned)));
        bytes.extend(host.say(&ToBoard::ClearLatch));
        bytes.extend(host.say(&ToBoard::Arm { settings: settings().hash() }));
        bytes.extend(host.say(&ToBoard::Engine(EngineDemand {
            mode,
            boost_target: Kilopascal(120.0 + 20.0 * (turn % 6) as f32),
            engine_speed: Rpm(900.0 + 450.0 * (turn % 7) as f32),
            load: Load::saturating(0.15 * (turn % 7) as f32, Load::MIN),
        })));
        if is_bench(turn) {
            bytes.extend(bench_work(host, tick, turn));
        }
    }
    bytes.extend(host.grant(tick.after(BATCH)));
    bytes
}

/// The drive's other paths run on the bench only: opening, current and duty from a motion profile, then a learn.
fn bench_work(host: &mut Host, tick: Tick, turn: u32) -> Vec<u8> {
    let order = LearnOrder::full(Setup::Attached, Warmth::Cold, CheckSet::NONE);
    let mut bytes = host.say(&ToBoard::Stop);
    bytes.extend(host.say(&ToBoard::Arm { settings: settings().hash() }));
    if turn.is_multiple_of(8) {
        bytes.extend(host.say(&ToBoard::StartLearn { start_at: tick, order, tag: OriginTag(7) }));
        return bytes;
    }
    let opening = |value: f32| Goal::Opening(Opening::saturating(value, Opening::OPEN));
    let goals = [
        (opening(0.5), 0),
        (opening(0.1), 400),
        (opening(0.9), 700),
        (Goal::Current(Ampere(0.8)), 0),
        (Goal::Current(Ampere(-0.8)), 500),
        (Goal::Duty(Duty::saturating(0.3, Duty::ZERO)), 0),
        (Goal::Duty(Duty::saturating(-0.3, Duty::ZERO)), 600),
    ];
    let segments = goals.iter().map(|(goal, ticks)| Segment { goal: *goal, ticks: *ticks }).collect();
    bytes.extend(host.say(&ToBoard::MotionClear));
    bytes.extend(host.say(&ToBoard::MotionAppend(segments)));
    bytes.extend(host.say(&ToBoard::StartMotion {
        start_at: tick,
        setup: Setup::Attached,
        warmth: Warmth::Cold,
        footing: Footing::Accepted,
    }));
    bytes
}

fn running(tick: Tick) -> EngineState {
    let turn = tick.0 / DEMAND_TICKS;
    if is_bench(turn) {
        return EngineState::Standing;
    }
    EngineState::Running(EngineInputs::new(
        900.0 + 450.0 * f64::from(turn % 7),
        10.0 + 8.0 * f64::from(turn % 5),
    ))
}

fn is_bench(turn: u32) -> bool {
    turn.is_multiple_of(4)
}

/// Bytes of an output: equal bytes are equal bits, not-a-numbers included.
fn bits(output: &TickOutput) -> Vec<u8> {
    let mut room = [0; lockstep::ITEM_BYTES];
    let used = lockstep::encode(output, &mut room).unwrap();
    room[..used].to_vec()
}

/// A comparison of rest with rest would prove nothing: what the run has been through.
#[derive(Debug, Default)]
pub(crate) struct Seen {
    driven: u32,
    followed: u32,
    faulty: u32,
    guarded: u32,
    limited: u32,
}

impl Seen {
    pub(crate) fn note(&mut self, output: &TickOutput) {
        assert!(output.duty.get().is_finite());
        self.driven += u32::from(output.duty != Duty::ZERO);
        self.followed += u32::from(output.target.is_some());
        self.faulty += u32::from(output.faults != FaultSet::NONE);
        self.guarded += u32::from(output.stage != GuardStage::Normal);
        self.limited += u32::from(output.limits != LimitSet::NONE);
    }

    pub(crate) fn check(&self) {
        let counts = [self.driven, self.followed, self.faulty, self.guarded, self.limited];
        assert!(counts.iter().all(|count| *count > 1000), "{self:?}");
    }
}
