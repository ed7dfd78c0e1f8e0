//! The client on a real serial device: the virtual rig's pseudo-terminal, opened as a USB adapter would be; and on the
//! cable that stands in for it where a system has none.
#![allow(clippy::unwrap_used)] // a helper that cannot go on fails its test

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::link::state::{ReleaseReason, Streaming};
use firmware_core::link::{Pacing, Refusal, Source, Talk};
use firmware_core::motion::{Footing, Goal, Segment};
use firmware_core::settings::Settings;
use firmware_core::units::Duty;
use plant::world::WorldConfig;
use vanebench::client::{self, Client, ClientError};
use vanebench::rig::StreamItem;
use virtual_rig::rig::SimulatedRig;
use virtual_rig::runner::{CabledRig, RunningRig};

fn rig(pacing: Pacing) -> RunningRig {
    RunningRig::start(SimulatedRig::new(&WorldConfig::default(), 1, pacing).unwrap()).unwrap()
}

fn connect(rig: &RunningRig) -> Result<Client, ClientError> {
    Client::connect(client::open(rig.path())?, "the pty", Talk::FIRST)
}

/// A gentle push that lasts longer than any test.
fn push(client: &mut Client) {
    let goal = Goal::Duty(Duty::try_new(0.05).unwrap());
    client.upload(&Settings::default()).unwrap();
    client.arm(Settings::default().hash()).unwrap();
    client.stream(Streaming::On).unwrap();
    client.load_motion(&[Segment { goal, ticks: 60_000 }]).unwrap();
    client.start_motion(Setup::Free, Warmth::Cold, Footing::Diagnostic).unwrap();
}

fn samples(client: &mut Client, count: usize) -> Result<u32, ClientError> {
    let mut driven = 0;
    let mut seen = 0;
    while seen < count {
        if let StreamItem::Sample(sample) = client.next_item()? {
            seen += 1;
            driven += u32::from(sample.state.source == Source::Motion);
        }
    }
    Ok(driven)
}

/// The first samples that a stepped rig streams while it is pushed, as they would be recorded.
fn pushed_samples(client: &mut Client) -> Vec<String> {
    push(client);
    let items = std::iter::repeat_with(|| client.next_item().unwrap());
    let samples = items.filter(|item| matches!(item, StreamItem::Sample(_)));
    samples.take(2000).map(|sample| format!("{sample:?}")).collect()
}

#[test]
fn a_cable_in_the_process_carries_the_samples_that_a_pty_carries() {
    let behind_pty = rig(Pacing::Stepped);
    let by_pty = pushed_samples(&mut connect(&behind_pty).unwrap());
    let simulated = SimulatedRig::new(&WorldConfig::default(), 1, Pacing::Stepped).unwrap();
    let (_cabled, line) = CabledRig::start(simulated).unwrap();
    let mut client = Client::connect(Box::new(line), "the cable", Talk::FIRST).unwrap();
    assert_eq!(pushed_samples(&mut client), by_pty);
}

#[test]
fn a_port_in_use_is_busy_until_it_is_closed() {
    let rig = rig(Pacing::Stepped);
    let first = connect(&rig).unwrap();
    let error = connect(&rig).err().unwrap();
    assert!(matches!(error, ClientError::PortBusy { .. }), "{error}");
    drop(first);
    let mut second = connect(&rig).unwrap();
    assert_eq!(second.status().unwrap().released.reason, ReleaseReason::NotStarted);
}

#[test]
fn a_board_that_hears_another_speed_stays_silent_and_the_message_names_the_speed() {
    let rig = rig(Pacing::Stepped);
    let line = client::open_at(rig.path(), 9600).unwrap();
    let error = Client::connect(line, "the pty", Talk::FIRST).err().unwrap();
    assert!(matches!(error, ClientError::NoAnswer { .. }) && error.to_string().contains("115200"), "{error}");
}

#[test]
fn a_stream_at_another_speed_is_garbled_and_the_message_names_the_speed() {
    let rig = rig(Pacing::Paced);
    let mut client = connect(&rig).unwrap();
    client.stream(Streaming::On).unwrap();
    drop(client);
    let line = client::open_at(rig.path(), 9600).unwrap();
    let error = Client::connect(line, "the pty", Talk::FIRST).err().unwrap();
    assert!(matches!(error, ClientError::Garbled { .. }) && error.to_string().contains("115200"), "{error}");
}

#[test]
fn pulling_the_plug_ends_the_stream_with_a_reason_and_the_next_talk_works() {
    let mut first = rig(Pacing::Stepped);
    let mut client = connect(&first).unwrap();
    push(&mut client);
    assert!(samples(&mut client, 500).unwrap() > 400);
    first.unplug();
    let error = samples(&mut client, 100_000).unwrap_err();
    assert!(matches!(error, ClientError::HungUp { .. } | ClientError::Silent { .. }), "{error}");
    assert!(connect(&rig(Pacing::Stepped)).is_ok());
}

#[test]
fn a_paced_rig_drives_while_the_host_is_heard_and_lets_go_in_silence() {
    let rig = rig(Pacing::Paced);
    let mut client = connect(&rig).unwrap();
    push(&mut client);
    assert!(samples(&mut client, 1000).unwrap() > 700, "signs of life hold the lease of half a second");
    std::thread::sleep(std::time::Duration::from_millis(800));
    let status = client.status().unwrap();
    assert_eq!((status.state.source, status.released.reason), (Source::Released, ReleaseReason::HostSilent));
    let error = client.start_motion(Setup::Free, Warmth::Cold, Footing::Accepted).unwrap_err();
    assert!(matches!(error, ClientError::Refused { refusal: Refusal::NotArmed, .. }), "{error}");
}
