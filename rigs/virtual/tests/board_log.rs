//! What the board logs arrives in words: time, level, text, place; and nothing is lost unsaid.
//!
//! Needs the image and QEMU:
//! `rigs/board/build.sh && cargo test --workspace --features virtual-rig/board-log --test board_log -- --ignored`.
#![cfg(feature = "board-log")]

use std::path::Path;

use firmware_core::sample::{BridgeLine, Conversions, Sample};
use firmware_core::units::{Ampere, Counts, Kilopascal, Tick, Volt};
use lockstep::Drill;
use virtual_rig::board::{Board, BoardError, image};
use virtual_rig::board_log::LogTable;

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

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn the_log_tells_the_start_a_fault_and_the_panic_before_a_restart() {
    let image = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(image());
    let mut board = Board::start(&image).unwrap();
    for tick in 0..200 {
        // From tick 50 on the supply is far below what the controller takes.
        let supply = if tick < 50 { Volt(12.0) } else { Volt(2.0) };
        board.step(&[], &[Sample { supply, ..standing(Tick(tick)) }], 0).unwrap();
    }
    board.prepare(Drill::Panic).unwrap();
    let restarted = board.step(&[], &[standing(Tick(200))], 0);
    assert!(matches!(restarted, Err(BoardError::Restarted(_))), "{restarted:?}");
    board.step(&[], &[standing(Tick(0))], 0).unwrap();

    let table = LogTable::of_image(&image).unwrap();
    let mut follower = table.follow(board.log_path()).unwrap();
    let lines = follower.new_lines().unwrap();
    for line in &lines {
        println!("{line}");
    }
    let has = |level: &str, text: &str| {
        lines.iter().any(|line| line.level == level && line.text.contains(text) && line.place.is_some())
    };
    assert!(has("info", "started: PowerOn"));
    let faults = lines.iter().filter(|line| line.text.starts_with("faults") && !line.text.contains("(0)"));
    assert!(faults.count() > 0, "the low supply is not in the log");
    assert!(has("error", "panic at src/work.rs"));
    assert!(has("info", "started: Panic"));
    assert_eq!(follower.lost(), 0);
}
