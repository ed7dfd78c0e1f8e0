//! The very image that is flashed, in an emulator that lacks clocks, pins, timer 1, flash control and watchdog: every wait
//! is bounded, the host is answered, and nothing drives.
//!
//! Needs the image and QEMU: `rigs/board/build-stm32f4.sh && cargo test --test board -- flashable --ignored`.

use firmware_core::link::message::{ToBoard, ToHost};
use firmware_core::link::refusal::{Outcome, Refusal};
use firmware_core::link::self_test::SelfCheck;
use firmware_core::link::state::{Pacing, StartReason, Streaming};
use firmware_core::settings::Settings;

use crate::stm32::{Stm32, image, reply};

const IMAGE: &str = "F405RG";
/// A log that waits where its ring is full (crate defmt-rtt).
const WAITS: u32 = 2;

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn it_answers_the_hello_streams_and_refuses_to_drive_without_converters() {
    let mut board = Stm32::powered(IMAGE);
    let welcome = board.greet();
    let identity = &welcome.identity;
    println!(
        "{} | {} | {} | serial `{}`",
        identity.model, identity.software, identity.board, identity.serial
    );
    assert_eq!((identity.board.as_str(), identity.pacing), ("F405RG, emulated", Pacing::Paced));
    assert_eq!(identity.started, StartReason::PowerOn);
    assert_eq!(welcome.settings, None, "the image holds no actuator");

    // Before anything streams: a line that nobody reads holds the emulator up.
    let (written, when_full) = board.log_ring(&image(IMAGE));
    println!("log: {written} bytes");
    assert!(written > 0, "the start is in the log");
    assert_ne!(when_full, WAITS, "the log waits for a probe");

    let found = welcome.self_test;
    println!("{found:?}");
    assert_eq!(found.converter_references, SelfCheck::Failed);
    assert_eq!(found.bridge_off_current, SelfCheck::Failed);
    assert_eq!(found.sensor_rails, SelfCheck::Failed);
    assert_eq!(found.image_crc, SelfCheck::Passed, "check and length as gzip made them");

    // Time is the board's own, and the readings show that nothing was converted.
    let batch = board.ask(&ToBoard::Stream(Streaming::On), |message| match message {
        ToHost::Samples(batch) => Some(batch.clone()),
        _ => None,
    });
    println!("{batch:?}");

    for section in Settings::default().sections() {
        assert_eq!(board.ask(&ToBoard::Settings(section), reply), Outcome::Done);
    }
    let arm = ToBoard::Arm { settings: Settings::default().hash() };
    assert_eq!(board.ask(&arm, reply), Outcome::Refused(Refusal::SelfTestFailed { found }));
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn an_image_with_one_byte_changed_says_so() {
    const NAME: &[u8] = b"vanebench-stm32f4 ";
    let mut bytes = std::fs::read(image(IMAGE)).unwrap();
    // Constants lie before what only a debugger reads.
    let at = bytes.windows(NAME.len()).position(|window| window == NAME).unwrap();
    bytes[at] = b'V';
    let folder = tempfile::TempDir::new().unwrap();
    let changed = folder.path().join("changed.elf");
    std::fs::write(&changed, bytes).unwrap();
    let welcome = Stm32::powered_with(&changed).greet();
    assert!(welcome.identity.software.starts_with('V'), "the byte is in the image");
    assert_eq!(welcome.self_test.image_crc, SelfCheck::Failed);
}

/// Accesses of a start, one a line; lines that begin with `#` say what they are about.
const START_TRACE: &str = include_str!("start.trace");
/// The first access of the first tick: the bridge is put off while nobody has armed.
const FIRST_TICK: [&str; 2] = ["GPIOB write 018 20000000", "timer[1] write 044 00000c00"];

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn it_sets_up_bridge_break_and_watchdog_in_the_order_on_record() {
    let mut board = Stm32::powered(IMAGE);
    board.greet();
    let accesses = board.accesses();
    let first_tick = accesses.windows(2).skip(2).position(|pair| pair == FIRST_TICK).unwrap() + 2;
    // How often the journal is looked at is the store's business; flash control stands still before timer 1 is touched.
    let is_flash = |access: &&String| access.starts_with("Flash Int");
    let found: Vec<&String> = accesses[..first_tick].iter().filter(|access| !is_flash(access)).collect();
    let recorded: Vec<&str> = START_TRACE.lines().filter(|line| !line.starts_with('#')).collect();
    println!("{} accesses before the first tick", found.len());
    assert_eq!(found, recorded, "{found:#?}");
    let place = |wanted: &str| accesses.iter().position(|access| access == wanted).unwrap();
    let last_flash = accesses[..first_tick].iter().rposition(|access| is_flash(&access)).unwrap();
    assert!(last_flash < place("timer[1] write 044 00001d00"), "no erase once the bridge's timer is up");
}
