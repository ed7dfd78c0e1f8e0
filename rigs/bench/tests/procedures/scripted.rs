//! A rig made by hand: it does every motion as asked, unless the script of a test says otherwise.

use std::cell::RefCell;
use std::collections::VecDeque;
use std::rc::Rc;

use firmware_core::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use firmware_core::faults::LimitSet;
use firmware_core::held::{Held, OriginTag};
use firmware_core::learn::LearnOrder;
use firmware_core::link::point::{NOT_A_NUMBER, duty_steps, opening_steps};
use firmware_core::link::self_test::SelfTest;
use firmware_core::link::state::{Drive, MotionEvent, Release, ReleaseReason, Source};
use firmware_core::link::{Point, StreamState};
use firmware_core::motion::{Footing, Goal, Segment};
use firmware_core::probe::ProbeSegment;
use firmware_core::settings::{Settings, SettingsHash};
use firmware_core::units::{Counts, Duty, Opening, Tick, Volt};
use vanebench::rig::{Asked, Measurand, Rig, RigError, RigIdentity, Sampling, StreamItem, StreamSample};

/// The lever's reading at the closed and the open stop.
const CLOSED_COUNTS: f32 = 13_000.0;
const OPEN_COUNTS: f32 = 2_600.0;
/// Ticks from a command to the start of what it asks for.
const LEAD: u32 = 1;

/// What was asked of the rig, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Did {
    HandedOver,
    Armed,
    Calibrated,
    Motion,
    Learn,
    Probe,
    AskedOutcome,
    AskedRelease,
    Stopped,
}

/// What the rig makes of a motion or a learn that begins at a tick: items in order, then `Err` ends the talk.
pub(crate) type Script = Box<dyn FnMut(Begun) -> Vec<Result<StreamItem, RigError>>>;

/// A motion or a learn that the rig was asked for.
pub(crate) struct Begun {
    /// Counted from 1.
    pub(crate) number: usize,
    pub(crate) start: Tick,
    /// What it would have to say if all went well; empty for a learn.
    pub(crate) sound: Vec<StreamItem>,
}

pub(crate) struct ScriptedRig {
    script: Script,
    begun: usize,
    motion: Vec<Segment>,
    opening: f32,
    coming: VecDeque<Result<StreamItem, RigError>>,
    next: Tick,
    without: Option<(Measurand, &'static str)>,
    released: Release,
    pub(crate) did: Rc<RefCell<Vec<Did>>>,
}

impl ScriptedRig {
    pub(crate) fn new(script: impl FnMut(Begun) -> Vec<Result<StreamItem, RigError>> + 'static) -> Self {
        Self {
            script: Box::new(script),
            begun: 0,
            motion: Vec::new(),
            opening: 0.5,
            coming: VecDeque::new(),
            next: Tick(1000),
            without: None,
            released: Release { tick: Tick(0), reason: ReleaseReason::NotStarted, position: Counts(0) },
            did: Rc::default(),
        }
    }

    pub(crate) fn sound() -> Self {
        Self::new(|begun| begun.sound.into_iter().map(Ok).collect())
    }

    pub(crate) fn without(self, measurand: Measurand, why: &'static str) -> Self {
        Self { without: Some((measurand, why)), ..self }
    }

    /// Samples of a lever at rest before anything else.
    pub(crate) fn rests_for(mut self, ticks: u32) -> Self {
        self.coming.extend((0..ticks).map(|count| Ok(at_rest(self.next.after(count), self.opening))));
        self
    }

    /// What it says when it is asked why it let go.
    pub(crate) fn released(self, reason: ReleaseReason, tick: Tick) -> Self {
        Self { released: Release { tick, reason, position: Counts(7000) }, ..self }
    }

    fn note(&self, did: Did) {
        self.did.borrow_mut().push(did);
    }

    fn begin(&mut self, did: Did) -> Tick {
        self.note(did);
        self.begun += 1;
        let start = self.next.after(LEAD);
        let sound = if did == Did::Motion { self.carried_out(start) } else { Vec::new() };
        self.coming.extend((self.script)(Begun { number: self.begun, start, sound }));
        start
    }

    /// The motion as asked: the lever stands at the goal in every tick.
    fn carried_out(&mut self, start: Tick) -> Vec<StreamItem> {
        let mut items = vec![at_rest(self.next, self.opening)];
        let mut tick = start;
        let mut from = Goal::Opening(Opening::saturating(self.opening, Opening::OPEN));
        for segment in self.motion.clone() {
            for part in 1..=segment.ticks {
                let (drive, target) = between(from, segment.goal, part as f32 / segment.ticks as f32);
                self.opening = match drive {
                    Drive::Opening => target,
                    Drive::Duty | Drive::Current => (0.5 + target).clamp(0.0, 1.0),
                    Drive::Released => self.opening,
                };
                items.push(self.driven(tick, drive, target));
                tick = tick.after(1);
            }
            from = segment.goal;
        }
        let position = counts(self.opening);
        items.push(StreamItem::Motion { tick, event: MotionEvent::Ended });
        items.push(StreamItem::Released { tick, reason: ReleaseReason::MotionEnded, position });
        items.push(at_rest(tick, self.opening));
        items
    }

    fn driven(&self, tick: Tick, drive: Drive, target: f32) -> StreamItem {
        let has_current = self.without.is_none_or(|(missing, _)| missing != Measurand::MotorCurrent);
        let duty = duty_steps(Duty::saturating(target.clamp(-1.0, 1.0), Duty::ZERO));
        let target = opening_steps(Opening::saturating(target, Opening::OPEN));
        let (duty, target) = if drive == Drive::Opening { (0, target) } else { (duty, duty) };
        let current = if has_current { duty / 10 } else { NOT_A_NUMBER };
        let point = Point { position: counts(self.opening).0, duty, current, target };
        sample(tick, point, StreamState { source: Source::Motion, drive, ..StreamState::default() })
    }
}

fn between(from: Goal, to: Goal, share: f32) -> (Drive, f32) {
    let part = |from: f32, to: f32| from + (to - from) * share;
    match (from, to) {
        (_, Goal::Release) => (Drive::Released, 0.0),
        (Goal::Opening(from), Goal::Opening(to)) => (Drive::Opening, part(from.get(), to.get())),
        (_, Goal::Opening(to)) => (Drive::Opening, to.get()),
        (Goal::Duty(from), Goal::Duty(to)) => (Drive::Duty, part(from.get(), to.get())),
        (_, Goal::Duty(to)) => (Drive::Duty, part(0.0, to.get())),
        (_, Goal::Current(to)) => (Drive::Current, to.0),
    }
}

fn counts(opening: f32) -> Counts {
    Counts((CLOSED_COUNTS + opening * (OPEN_COUNTS - CLOSED_COUNTS)) as i16)
}

fn sample(tick: Tick, point: Point, state: StreamState) -> StreamItem {
    let limits = LimitSet::default();
    StreamItem::Sample(StreamSample {
        tick,
        point,
        state,
        limits,
        supply: Some(Volt(12.0)),
        temperature: None,
    })
}

/// A sample in which nobody drives.
pub(crate) fn at_rest(tick: Tick, opening: f32) -> StreamItem {
    sample(tick, Point { position: counts(opening).0, ..Point::default() }, StreamState::default())
}

/// A sample in which the learner drives.
pub(crate) fn learning(tick: Tick) -> StreamItem {
    let point = Point { position: 7000, duty: -1500, current: -900, target: -1500 };
    let state = StreamState { source: Source::Learn, drive: Drive::Duty, ..StreamState::default() };
    sample(tick, point, state)
}

/// The calibration of the lever that this rig has.
pub(crate) fn calibration() -> Calibration {
    let stop = |at: f32| LearnedStop {
        zero_push_counts: at,
        pressed_counts: at,
        released_counts: at,
        compliance_counts_per_a: 20.0,
        repeat_range_counts: 1.0,
        contact: Contact::RingContact,
    };
    Calibration {
        closed: stop(CLOSED_COUNTS),
        open: stop(OPEN_COUNTS),
        setup: Setup::Attached,
        warmth: Warmth::Cold,
        supply: Volt(12.0),
        temperature: None,
        clearance: Opening::CLOSED,
    }
}

impl Rig for ScriptedRig {
    fn identity(&self) -> RigIdentity {
        let text = str::to_owned;
        RigIdentity {
            model: text("scripted rig"),
            software: text("a test"),
            board: text("none"),
            serial: text(""),
            self_test: SelfTest::NOT_FITTED,
        }
    }

    fn measures(&self, measurand: Measurand) -> Sampling {
        match self.without {
            Some((missing, why)) if missing == measurand => Sampling::Never { why: why.to_owned() },
            Some(_) | None => Sampling::EachSample,
        }
    }

    fn hand_over(&mut self, _settings: &Settings) -> Result<(), RigError> {
        self.note(Did::HandedOver);
        Ok(())
    }

    fn arm(&mut self, _settings: SettingsHash) -> Result<(), RigError> {
        self.note(Did::Armed);
        Ok(())
    }

    fn begin_samples(&mut self) -> Result<(), RigError> {
        Ok(())
    }

    fn set_calibration(&mut self, _held: Held) -> Result<(), RigError> {
        self.note(Did::Calibrated);
        Ok(())
    }

    fn load_motion(&mut self, segments: &[Segment]) -> Result<(), RigError> {
        self.motion = segments.to_vec();
        Ok(())
    }

    fn start_motion(&mut self, _: Setup, _: Warmth, _: Footing) -> Result<Tick, RigError> {
        Ok(self.begin(Did::Motion))
    }

    fn start_learn(&mut self, _: LearnOrder, _: OriginTag) -> Result<Tick, RigError> {
        Ok(self.begin(Did::Learn))
    }

    fn start_probe(&mut self, _segment: ProbeSegment) -> Result<Tick, RigError> {
        Ok(self.begin(Did::Probe))
    }

    fn ask_learn_outcome(&mut self) -> Result<Asked, RigError> {
        self.note(Did::AskedOutcome);
        Ok(Asked::NothingLearned)
    }

    fn last_release(&mut self) -> Result<Release, RigError> {
        self.note(Did::AskedRelease);
        Ok(self.released)
    }

    fn next_item(&mut self) -> Result<StreamItem, RigError> {
        let over = || Err(RigError::Lost("the script is over".into()));
        let item = self.coming.pop_front().unwrap_or_else(over)?;
        if let StreamItem::Sample(sample) = &item {
            self.next = sample.tick.after(1);
        }
        Ok(item)
    }

    fn stop(&mut self) -> Result<(), RigError> {
        self.note(Did::Stopped);
        Ok(())
    }

    fn line_notes(&self) -> Vec<(&'static str, String)> {
        Vec::new()
    }
}
