//! Any order of commands: what a host that keeps its own books must never see.

use proptest::strategy::ValueTree as _;
use std::vec;

use super::books::{Books, Fact, LearnEnd, SETUPS, at, other};
use super::*;

#[derive(Debug, Clone, Copy)]
enum Act {
    Hand {
        setup: Setup,
        warmth: Warmth,
        standing: Standing,
        settings: Knowledge,
    },
    Learn {
        setup: Setup,
        warmth: Warmth,
        is_full: bool,
    },
    EndLearn(LearnEnd),
    Tell(Plain),
    /// A section as it is, or with another value.
    Settings(Knowledge),
    Move {
        setup: Setup,
        warmth: Warmth,
        footing: Footing,
        is_closed_loop: bool,
    },
    Ticks(u32),
    Skip,
    Power,
    Store(StoreResult),
    Busy,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Knowledge {
    Same,
    Other,
}

#[derive(Debug, Clone, Copy)]
enum Plain {
    Arm,
    Stop,
    Hello,
    Engine,
    Store,
}

fn any_setup() -> impl Strategy<Value = Setup> {
    prop::sample::select(&SETUPS)
}

fn any_warmth() -> impl Strategy<Value = Warmth> {
    // Mostly the same, so that motions run at all.
    prop_oneof![4 => Just(Warmth::Cold), 1 => Just(Warmth::Hot)]
}

fn any_knowledge() -> impl Strategy<Value = Knowledge> {
    prop_oneof![4 => Just(Knowledge::Same), 1 => Just(Knowledge::Other)]
}

fn any_standing() -> impl Strategy<Value = Standing> {
    prop_oneof![
        3 => Just(Standing::Accepted),
        1 => Just(Standing::NotProven { open: CheckSet::ALL }),
        1 => (0u8..5).prop_map(|refusals| Standing::Suspended { refusals }),
    ]
}

fn any_footing() -> impl Strategy<Value = Footing> {
    prop_oneof![3 => Just(Footing::Accepted), 2 => Just(Footing::Unproven), 1 => Just(Footing::Diagnostic)]
}

fn any_result() -> impl Strategy<Value = StoreResult> {
    let fault =
        prop::sample::select(&[StoreFault::Full, StoreFault::Flash, StoreFault::ReadBack, StoreFault::None]);
    prop_oneof![4 => Just(StoreResult::Written), 1 => fault.prop_map(StoreResult::Failed)]
}

fn any_act() -> impl Strategy<Value = Act> {
    let plain = prop::sample::select(&[Plain::Arm, Plain::Stop, Plain::Hello, Plain::Engine, Plain::Store]);
    let end = prop::sample::select(&[LearnEnd::Accepted, LearnEnd::NotProven, LearnEnd::Refused]);
    prop_oneof![
        3 => (any_setup(), any_warmth(), any_standing(), any_knowledge())
            .prop_map(|(setup, warmth, standing, settings)| Act::Hand { setup, warmth, standing, settings }),
        3 => (any_setup(), any_warmth(), any::<bool>())
            .prop_map(|(setup, warmth, is_full)| Act::Learn { setup, warmth, is_full }),
        3 => end.prop_map(Act::EndLearn),
        4 => Just(Act::Tell(Plain::Arm)),
        4 => plain.prop_map(Act::Tell),
        1 => any_knowledge().prop_map(Act::Settings),
        6 => (any_setup(), any_warmth(), any_footing(), any::<bool>()).prop_map(
            |(setup, warmth, footing, is_closed_loop)| Act::Move { setup, warmth, footing, is_closed_loop }
        ),
        5 => (1u32..30).prop_map(Act::Ticks),
        1 => Just(Act::Ticks(DRIVE_LEASE_TICKS + 1)),
        1 => Just(Act::Skip),
        1 => Just(Act::Power),
        1 => any_result().prop_map(Act::Store),
        1 => Just(Act::Busy),
    ]
}

struct Play {
    bench: Bench,
    books: Books,
    closed_loop_ticks: u32,
}

impl Play {
    fn new() -> Self {
        let settings = Settings::default();
        let books = Books { facts: [None; 3], settings, learning: None, moving: None };
        Self { bench: Bench::ready(None), books, closed_loop_ticks: 0 }
    }

    fn act(&mut self, act: Act) {
        match act {
            Act::Hand { setup, warmth, standing, settings } => self.hand(setup, warmth, standing, settings),
            Act::Learn { setup, warmth, is_full } => self.learn(setup, warmth, is_full),
            Act::EndLearn(end) => self.end_learn(end),
            Act::Tell(plain) => self.tell(plain),
            Act::Settings(knowledge) => self.settings(knowledge),
            Act::Move { setup, warmth, footing, is_closed_loop } => {
                self.start(setup, warmth, footing, is_closed_loop)
            }
            Act::Ticks(count) => (0..count).for_each(|_| self.tick()),
            Act::Skip => {
                self.bench.tick = self.bench.tick.after(1);
                self.tick();
            }
            Act::Power => self.power(),
            Act::Store(result) => self.bench.store = Some(result),
            Act::Busy => self.bench.store = None,
        }
    }

    fn hand(&mut self, setup: Setup, warmth: Warmth, standing: Standing, settings: Knowledge) {
        let settings = match settings {
            Knowledge::Same => self.books.settings,
            Knowledge::Other => other(&self.books.settings),
        };
        let origin = Origin { settings: settings.hash(), ..origin() };
        let learned = Calibration { warmth, ..calibration(setup) };
        let held = Held::of_full_learn(learned, standing, origin);
        if self.bench.ask(&ToBoard::SetCalibration(held)) == Outcome::Done {
            self.books.facts[at(setup)] = Some(Fact { warmth, standing, settings });
        }
    }

    fn learn(&mut self, setup: Setup, warmth: Warmth, is_full: bool) {
        let order = if is_full {
            LearnOrder::full(setup, warmth, CheckSet::ALL)
        } else {
            LearnOrder::relearn(Calibration { warmth, ..calibration(setup) }, CheckSet::ALL)
        };
        if self.bench.learn(order) == Outcome::Done {
            self.books.begin_learn(setup, warmth, is_full);
        }
    }

    fn end_learn(&mut self, end: LearnEnd) {
        let runs = self.bench.session.control.activity.source() == Source::Learn;
        let Some((setup, warmth)) =
            self.books.learning.filter(|_| runs && !self.bench.session.control.keep.is_pending())
        else {
            return;
        };
        let calibration = Calibration { warmth, ..calibration(setup) };
        self.bench.end_learn(match end {
            LearnEnd::Accepted => LearnOutcome::Accepted(calibration),
            LearnEnd::NotProven => LearnOutcome::NotProven { calibration, check: CheckSet::ALL },
            LearnEnd::Refused => LearnOutcome::Refused(LearnRefusal::HostLost),
        });
        self.books.end_learn(end);
    }

    fn tell(&mut self, plain: Plain) {
        let settings = self.books.settings.hash();
        let done = self.bench.ask(&match plain {
            Plain::Arm => ToBoard::Arm { settings },
            Plain::Stop => ToBoard::Stop,
            Plain::Hello => ToBoard::Hello,
            Plain::Engine => ToBoard::Engine(DEMAND),
            Plain::Store => ToBoard::Store,
        });
        match plain {
            Plain::Engine if done == Outcome::Done => {
                let is_attached = self.books.facts[2].is_none();
                let setup = if is_attached { Setup::Attached } else { Setup::OnEngine };
                self.books.moving = Some((setup, None, Footing::Accepted));
            }
            Plain::Arm | Plain::Stop | Plain::Hello | Plain::Engine | Plain::Store => {}
        }
    }

    fn settings(&mut self, knowledge: Knowledge) {
        let settings = match knowledge {
            Knowledge::Same => self.books.settings,
            Knowledge::Other => other(&self.books.settings),
        };
        let section = SettingsSection::Slew(settings.slew);
        if self.bench.ask(&ToBoard::Settings(section)) == Outcome::Done {
            self.books.settings = settings;
        }
    }

    fn start(&mut self, setup: Setup, warmth: Warmth, footing: Footing, is_closed_loop: bool) {
        let goal = if is_closed_loop { Goal::Opening(Opening::OPEN) } else { duty(0.4) };
        let segments = [Segment { goal, ticks: 20 }].into_iter().collect();
        let _busy = self.bench.ask(&ToBoard::MotionClear);
        let _busy = self.bench.ask(&ToBoard::MotionAppend(segments));
        let start = ToBoard::StartMotion { start_at: self.bench.tick, setup, warmth, footing };
        if self.bench.ask(&start) == Outcome::Done {
            self.books.moving = Some((setup, Some(warmth), footing));
        }
    }

    /// Power off and on: what the store holds counts.
    fn power(&mut self) {
        let mut board = Bench::blank();
        let stored = self.bench.kept.unwrap_or(kept(None));
        board.session.restore(&stored);
        board.kept = Some(stored);
        self.check_bench_is_clear(&board);
        // The host starts its books from what it hears.
        self.books.settings = *board.session.control.controller.settings();
        for setup in SETUPS {
            self.books.facts[at(setup)] = board.session.control.bank.get(setup).map(|held| Fact {
                warmth: held.calibration.warmth,
                standing: held.standing,
                settings: if held.origin.settings == self.books.settings.hash() {
                    self.books.settings
                } else {
                    other(&self.books.settings)
                },
            });
        }
        (self.books.learning, self.books.moving) = (None, None);
        self.bench = board;
        self.bench.ask(&ToBoard::Hello);
    }

    /// Power that goes in a learn on the bench, once it has begun to move, finds none in force there afterwards.
    fn check_bench_is_clear(&self, board: &Bench) {
        let Activity::Learn { learner, .. } = &self.bench.session.control.activity else { return };
        let is_waiting = self.bench.session.control.keep.is_pending();
        let is_on_bench = matches!(self.books.learning, Some((Setup::Free | Setup::Attached, _)));
        if is_on_bench && !learner.is_relearn() && !is_waiting && self.bench.store_is_there() {
            assert_eq!([Setup::Free, Setup::Attached].map(|setup| board.standing(setup)), [None, None]);
        }
    }

    fn tick(&mut self) {
        self.bench.say(&ToBoard::GetStatus);
        let output = self.bench.tick();
        let source = self.bench.session.control.activity.source();
        let drive = self.bench.session.control.state.drive;
        if drive == Drive::Opening {
            self.closed_loop_ticks += 1;
            assert!(self.books.allow_closed_loop(), "{:?} under {:?}", self.books.moving, self.books.facts);
        }
        if self.bench.session.control.keep.is_pending() {
            assert_eq!((output.duty, drive), (Duty::ZERO, Drive::Released), "a save is pending");
        }
        match source {
            Source::Motion | Source::Engine => {}
            Source::Released | Source::Learn | Source::Probe => self.books.moving = None,
        }
        if source != Source::Learn {
            self.books.learning = None;
        }
        if self.books.learning.is_none() {
            let held = SETUPS.map(|setup| self.bench.standing(setup));
            assert_eq!(held, self.books.facts.map(|fact| fact.map(|fact| fact.standing)));
        }
    }
}

impl Bench {
    /// Without a store nothing is kept, and what an old one held is not this board's business.
    fn store_is_there(&self) -> bool {
        !matches!(self.store, Some(StoreResult::Failed(_)))
    }
}

proptest! {
    #[test]
    fn no_order_of_commands_moves_in_closed_loop_on_less_than_the_rules_ask_for(
        acts in prop::collection::vec(any_act(), 1..120),
    ) {
        let mut play = Play::new();
        for act in acts {
            play.act(act);
        }
    }
}

/// The property above would pass if nothing ever moved.
#[test]
fn random_orders_of_commands_do_move_in_closed_loop() {
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let acts = prop::collection::vec(any_act(), 100..120);
    let moved = (0..100).filter(|_| {
        let mut play = Play::new();
        for act in acts.new_tree(&mut runner).unwrap().current() {
            play.act(act);
        }
        play.closed_loop_ticks > 0
    });
    assert!(moved.count() > 30);
}
