//! The image that is flashed, but for where samples come from and where settings and calibrations are kept: a lever made of arithmetic
//! and RAM that obeys the rules of flash. Its own timer paces it; link and control end run in two contexts.
//!
//! The witness of what the bridge is told is the emulator's list of accesses to devices that it lacks.
//!
//! Needs the image and QEMU: `rigs/board/build-stm32f4.sh F405RG emulated && cargo test --test board -- emulated --ignored`.

use std::time::Duration;

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::held::OriginTag;
use firmware_core::learn::{CheckSet, LearnEvent, LearnOrder, LearnOutcome};
use firmware_core::link::message::{ToBoard, ToHost};
use firmware_core::link::refusal::Outcome;
use firmware_core::link::state::{ReleaseReason, StartReason, Status};
use firmware_core::motion::{Footing, Goal, Segment};
use firmware_core::settings::Settings;
use firmware_core::store::{StoreFault, StoreResult};
use firmware_core::units::{Duty, Tick};

use crate::stm32::{Stm32, reply};

const IMAGE: &str = "F405RG-emulated";
/// Ticks between now and a start: the message is on its way for some of them.
const SOON: u32 = 200;
/// Bytes of stack that the link script grants.
const STACK_BYTES: usize = 6144;

/// Accesses by which the bridge is put off: enable low, main output off, both compares 0 (see the image's `bridge.rs`).
const FORCE_OFF: [&str; 4] = [
    "GPIOB write 018 20000000",
    "timer[1] write 044 00000c00",
    "timer[1] write 034 00000000",
    "timer[1] write 038 00000000",
];
/// Main output on: only an armed drive does it.
const MAIN_OUTPUT: &str = "timer[1] write 044 00008000";
/// The first access after every start.
const START: &str = "RCC read 030";

fn powered() -> Stm32 {
    let mut board = Stm32::powered(IMAGE);
    board.greet();
    board
}

fn status(board: &mut Stm32) -> Status {
    board.ask(&ToBoard::GetStatus, |message| match message {
        ToHost::Status(status) => Some(*status),
        _ => None,
    })
}

fn order(board: &mut Stm32, message: &ToBoard) {
    assert_eq!(board.ask(message, reply), Outcome::Done, "{message:?}");
}

fn arm(board: &mut Stm32) {
    for section in Settings::default().sections() {
        order(board, &ToBoard::Settings(section));
    }
    order(board, &ToBoard::Arm { settings: Settings::default().hash() });
}

/// Arms, and opens the lever with a constant duty for a minute.
fn drive(board: &mut Stm32) {
    arm(board);
    let goal = Goal::Duty(Duty::saturating(0.1, Duty::ZERO));
    let hold = [Segment { goal, ticks: 0 }, Segment { goal, ticks: 60_000 }];
    order(board, &ToBoard::MotionClear);
    order(board, &ToBoard::MotionAppend(hold.into_iter().collect()));
    let start_at = status(board).next.after(SOON);
    let (setup, warmth, footing) = (Setup::Attached, Warmth::Cold, Footing::Diagnostic);
    order(board, &ToBoard::StartMotion { start_at, setup, warmth, footing });
    let is_driven = |accesses: &[String]| accesses.last().is_some() && driven(accesses) != 0;
    board.wait_for_accesses(is_driven);
}

/// What channel 1, which opens, was told last.
fn driven(accesses: &[String]) -> u32 {
    let told = accesses.iter().rev().find_map(|access| access.strip_prefix("timer[1] write 034 "));
    told.map_or(0, |value| u32::from_str_radix(value, 16).unwrap())
}

/// Breaks a board that drives; gives the reason of the start after it. The last that was done before the restart, and the
/// first after the break, is to put the bridge off.
fn break_while_driving(letter: u8) -> StartReason {
    let mut board = powered();
    drive(&mut board);
    let starts = |accesses: &[String]| accesses.iter().filter(|access| *access == START).count();
    let before = starts(&board.accesses());
    board.break_by(letter);
    let accesses = board.wait_for_accesses(|accesses| starts(accesses) > before);
    let restart = accesses.iter().rposition(|access| access == START).unwrap();
    let last_words: Vec<&str> =
        accesses[..restart].iter().rev().take(FORCE_OFF.len()).rev().map(String::as_str).collect();
    assert_eq!(last_words, FORCE_OFF);
    assert!(accesses[..restart].iter().any(|access| access == MAIN_OUTPUT), "never driven");
    assert!(!accesses[restart..].iter().any(|access| access == MAIN_OUTPUT), "driven again unasked");
    let welcome = board.greet();
    println!("the host shows: {}", welcome.identity.started);
    welcome.identity.started
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn a_panic_in_a_tick_puts_the_bridge_off_first_and_is_named() {
    let reason = break_while_driving(b'p');
    assert!(matches!(reason, StartReason::Panic { tick, line } if tick != Tick(0) && line > 0), "{reason:?}");
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn a_processor_fault_in_a_tick_puts_the_bridge_off_first_and_is_named() {
    let reason = break_while_driving(b'f');
    assert!(
        matches!(reason, StartReason::CpuFault { tick, at } if tick != Tick(0) && at > 0x0802_0000),
        "{reason:?}"
    );
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn a_stack_that_outgrows_ram_puts_the_bridge_off_first_and_is_named() {
    let reason = break_while_driving(b'o');
    // Where the stack has left RAM no address could be kept.
    assert!(matches!(reason, StartReason::CpuFault { tick, at: 0 } if tick != Tick(0)), "{reason:?}");
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn a_main_loop_that_hangs_is_ended_by_the_tick() {
    let reason = break_while_driving(b'h');
    assert!(matches!(reason, StartReason::HungTick { tick, at: 0 } if tick != Tick(0)), "{reason:?}");
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn a_silent_host_ends_at_duty_zero() {
    let mut board = powered();
    drive(&mut board);
    board.heard.clear();
    let released = board.wait_for(Duration::from_secs(20), |message| match message {
        ToHost::Released { reason, .. } => Some(*reason),
        _ => None,
    });
    assert_eq!(released, Some(ReleaseReason::HostSilent));
    let accesses = board.wait_for_accesses(|accesses| driven(accesses) == 0);
    assert_eq!(driven(&accesses), 0);
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn a_learn_paced_by_the_boards_own_timer_comes_to_a_verdict_that_outlives_a_reset() {
    let mut board = powered();
    arm(&mut board);
    let start_at = status(&mut board).next.after(SOON);
    let order_given = LearnOrder::full(Setup::Attached, Warmth::Cold, CheckSet::NONE);
    order(&mut board, &ToBoard::StartLearn { start_at, order: order_given, tag: OriginTag(7) });
    let outcome = board.wait_alive(|message| match message {
        ToHost::Learn { event: LearnEvent::Outcome(outcome), .. } => Some(*outcome),
        _ => None,
    });
    // Nothing but signals says that these are the stops.
    let LearnOutcome::NotProven { calibration: learned, .. } = outcome else { panic!("{outcome:?}") };
    println!("learned {learned:?}");
    // Where the lever of the image has its stops.
    assert!((learned.closed.zero_push_counts - 13_330.0).abs() < 20.0, "{learned:?}");
    assert!((learned.open.zero_push_counts - 2_630.0).abs() < 20.0, "{learned:?}");
    let stored = board.wait_alive(|message| match message {
        ToHost::Stored { result, .. } => Some(*result),
        _ => None,
    });
    assert_eq!(stored, StoreResult::Written);
    let stack = board.stack_high_water();
    println!("stack after a learn and its saves: {stack} of {STACK_BYTES} bytes");
    board.break_by(b'r');
    board.wait_for_accesses(|accesses| accesses.iter().filter(|access| *access == START).count() > 1);
    let welcome = board.greet();
    assert_eq!(welcome.identity.started, StartReason::Reset);
    assert_eq!(welcome.settings, Some(Settings::default().hash()));
    assert!(welcome.calibration.is_some());
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn a_store_that_is_full_says_so_and_takes_saves_again_after_a_restart() {
    let mut board = powered();
    arm(&mut board);
    let save = |board: &mut Stm32| {
        board.ask(&ToBoard::Store, |message| match message {
            ToHost::Stored { result, .. } => Some(*result),
            _ => None,
        })
    };
    let saves = (0..).take_while(|_| save(&mut board) == StoreResult::Written).count();
    println!("{saves} saves before the store is full");
    assert!(saves >= 10);
    assert_eq!(save(&mut board), StoreResult::Failed(StoreFault::Full));
    board.break_by(b'r');
    board.wait_for_accesses(|accesses| accesses.iter().filter(|access| *access == START).count() > 1);
    assert_eq!(board.greet().settings, Some(Settings::default().hash()));
    assert_eq!(save(&mut board), StoreResult::Written);
}
