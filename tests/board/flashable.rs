//! The very image that is flashed, in an emulator that lacks clocks, converters, timer 1, flash and watchdog: every wait
//! is bounded, the host is answered, and nothing drives.
//!
//! Needs the image and QEMU: `rigs/board/build-stm32f4.sh && cargo test --test board -- flashable --ignored`.

use firmware_core::link::message::{ToBoard, ToHost};
use firmware_core::link::refusal::{Outcome, Refusal};
use firmware_core::link::self_test::SelfCheck;
use firmware_core::link::state::{Pacing, StartReason, Streaming};
use firmware_core::settings::Settings;

use crate::stm32::{Stm32, reply};

const IMAGE: &str = "F405RG";

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

    let found = welcome.self_test;
    println!("{found:?}");
    assert_eq!(found.converter_references, SelfCheck::Failed);
    assert_eq!(found.bridge_off_current, SelfCheck::Failed);
    assert_eq!(found.sensor_rails, SelfCheck::Failed);

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
    println!("stack {} bytes", board.stack_high_water());
}
