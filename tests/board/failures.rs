//! What goes wrong on the board ends with the drive at zero in the stated time, and with a reason that the host is
//! told. The bridge's registers are the witness: they hold what the drive is told even when nobody answers.
//!
//! Stated times: a panic or a processor fault, the same tick; a hung tick, 10 ms (the watchdog's patience); silence
//! or nothing but noise on the link, the drive lease of 500 ticks; a reset, at once.
//!
//! Needs the image and QEMU: `rigs/board/build.sh && cargo test --test board -- failures --ignored`.

use std::process::Command;

use crate::support::{Bench, held};
use firmware_core::calibration::{Setup, Warmth};
use firmware_core::held::{Held, OriginTag, Standing};
use firmware_core::learn::{CheckSet, LearnOrder};
use firmware_core::link::DRIVE_LEASE_TICKS;
use firmware_core::link::message::ToBoard;
use firmware_core::link::message::ToHost;
use firmware_core::link::state::{ReleaseReason, StartReason, Welcome};
use firmware_core::settings::Settings;
use firmware_core::units::{Duty, Tick};
use lockstep::Drill;
use virtual_rig::board::BoardError;

/// Ticks of a motion before the drill.
const UNDER_WAY: u32 = 40;

/// Breaks a board that drives a motion; gives the reason of the start after it.
fn break_while_driving(drill: Drill) -> (Bench, StartReason) {
    let mut bench = Bench::powered();
    bench.drive_open_loop();
    bench.run(UNDER_WAY).unwrap();
    assert_ne!(bench.board.bridge().unwrap(), Duty::ZERO, "the drill must find the drive at work");
    bench.board.prepare(drill).unwrap();
    let Err(BoardError::Restarted(reason)) = bench.run(1) else { panic!("the board did not restart") };
    assert_eq!(bench.board.bridge().unwrap(), Duty::ZERO);
    (bench, reason)
}

/// The host that greets the board after the restart is told the same reason.
fn assert_host_is_told(bench: &mut Bench, reason: StartReason) -> Welcome {
    let welcome = bench.greet();
    assert_eq!(welcome.identity.started, reason);
    println!("the host shows: {}", welcome.identity.started);
    welcome
}

fn git(arguments: &[&str]) -> Option<String> {
    let output =
        Command::new("git").args(arguments).output().ok().filter(|output| output.status.success())?;
    Some(String::from_utf8(output.stdout).unwrap())
}

/// Where sources are not committed the image may say unknown, 0.
#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn the_welcome_names_the_commit_that_the_image_is_built_from() {
    let expected = std::env::var("VANEBENCH_BUILD").ok().or_else(|| git(&["rev-parse", "HEAD"]));
    let expected = expected.map_or(0, |hash| u32::from_str_radix(&hash[..8], 16).unwrap());
    let is_committed = git(&["diff", "--quiet", "HEAD"]).is_some();
    let build = Bench::powered().greet().identity.build;
    println!("the image is built from {build:08x}");
    assert!(
        build == expected || build == 0 && !is_committed,
        "{build:08x} is not {expected:08x}: build the image again, rigs/board/build.sh"
    );
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn a_panic_ends_at_duty_zero_and_names_its_tick_and_line() {
    let (mut bench, reason) = break_while_driving(Drill::Panic);
    assert!(matches!(reason, StartReason::Panic { tick: Tick(39), line } if line > 0), "{reason:?}");
    assert_host_is_told(&mut bench, reason);
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn a_hung_tick_is_ended_by_the_watchdog_at_duty_zero_and_names_its_address() {
    let (mut bench, reason) = break_while_driving(Drill::Hang);
    assert!(matches!(reason, StartReason::HungTick { tick: Tick(39), at } if at > 0x400), "{reason:?}");
    assert_host_is_told(&mut bench, reason);
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn a_processor_fault_ends_at_duty_zero_and_names_its_address() {
    let (mut bench, reason) = break_while_driving(Drill::BusFault);
    assert!(matches!(reason, StartReason::CpuFault { tick: Tick(39), at } if at > 0x400), "{reason:?}");
    assert_host_is_told(&mut bench, reason);
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn a_silent_link_ends_at_duty_zero_when_the_lease_runs_out() {
    let mut bench = Bench::powered();
    bench.drive_open_loop();
    let driven = bench.run(2 * DRIVE_LEASE_TICKS).unwrap();
    assert_lease_ended(&bench, &driven);
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn a_storm_of_damaged_frames_at_full_line_rate_is_no_sign_of_life() {
    /// 115 200 baud carry 11.52 bytes in a tick.
    const STORM_BYTES: usize = 12;
    let mut bench = Bench::powered();
    bench.drive_open_loop();
    let mut driven = Vec::new();
    let mut noise = 1_u32;
    for _ in 0..2 * DRIVE_LEASE_TICKS {
        let storm: Vec<u8> = (0..STORM_BYTES)
            .map(|_| {
                // Numerical Recipes' linear congruential generator: any noise with delimiters in it will do.
                noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (noise >> 24) as u8
            })
            .collect();
        driven.extend(bench.run_hearing(&storm, 1).unwrap());
    }
    assert_lease_ended(&bench, &driven);
    bench.ask(&ToBoard::GetStatus);
    let status = bench.heard.iter().rev().find_map(|message| match message {
        ToHost::Status(status) => Some(*status),
        _ => None,
    });
    let counters = status.unwrap().counters;
    assert!(!counters.is_clean(), "the storm left no trace: {counters:?}");
    println!("after the storm the board answers; it counted {counters:?}");
}

fn assert_lease_ended(bench: &Bench, driven: &[Duty]) {
    let last = driven.iter().rposition(|duty| *duty != Duty::ZERO).unwrap();
    assert!(last < DRIVE_LEASE_TICKS as usize, "driven until {last} ticks after the last host frame");
    assert_eq!(bench.board.bridge().unwrap(), Duty::ZERO);
    let silent = ReleaseReason::HostSilent;
    let told = |message: &ToHost| matches!(message, ToHost::Released { reason, .. } if *reason == silent);
    assert!(bench.heard.iter().any(told), "the host was not told: {:?}", bench.heard);
}

/// Stores an accepted calibration, resets the board in the middle of a full learn of the same setup, and gives what the
/// board holds then.
fn held_after_a_reset_in_mid_learn(setup: Setup) -> Option<Held> {
    let mut bench = Bench::powered();
    let mut stored = held(13_000.0, 2300.0, Standing::Accepted);
    (stored.calibration.setup, stored.anchor.setup) = (setup, setup);
    bench.greet();
    bench.arm();
    bench.ask(&ToBoard::SetCalibration(stored));
    bench.ask(&ToBoard::Store);
    bench.run(2).unwrap();
    let order = LearnOrder::full(setup, Warmth::Cold, CheckSet::NONE);
    bench.ask(&ToBoard::StartLearn { start_at: bench.next, order, tag: OriginTag(7) });
    while bench.run(1).unwrap() == [Duty::ZERO] {
        assert!(bench.next.0 < 5000, "the learn never drove: {:?}", bench.heard);
    }
    bench.board.prepare(Drill::Reset).unwrap();
    let Err(BoardError::Restarted(reason)) = bench.run(1) else { panic!("the board did not restart") };
    assert_eq!(reason, StartReason::Reset);
    assert_eq!(bench.board.bridge().unwrap(), Duty::ZERO);
    let welcome = assert_host_is_told(&mut bench, reason);
    assert_eq!(welcome.settings, Some(Settings::default().hash()), "the board knows its settings");
    bench.heard.clear();
    bench.ask(&ToBoard::GetCalibration { setup });
    bench.heard.iter().find_map(|message| match message {
        ToHost::Calibration(held) => Some(*held),
        _ => None,
    })
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn a_reset_in_a_full_learn_on_the_bench_leaves_no_calibration_in_force() {
    assert_eq!(held_after_a_reset_in_mid_learn(Setup::Attached), None);
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn a_reset_in_a_full_learn_on_the_engine_leaves_the_old_calibration_suspect() {
    let held = held_after_a_reset_in_mid_learn(Setup::OnEngine).unwrap();
    assert_eq!(held.standing, Standing::Suspended { refusals: 1 });
    assert_eq!(held.calibration.closed.zero_push_counts, 13_000.0);
}
