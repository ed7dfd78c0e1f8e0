//! The whole job over a line that loses frames: nothing accepted is lost with them, nothing is blamed on the unit,
//! and what is missing is told on console and in the record.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

#[path = "own/mod.rs"]
mod own;

use std::collections::VecDeque;
use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use firmware_core::learn::LearnEvent;
use firmware_core::link::Decoder;
use firmware_core::link::message::ToHost;
use firmware_core::link::state::{MotionEvent, Pacing};
use own::own_copy;
use serde_json::Value;
use study::catalogue;
use virtual_rig::rig::SimulatedRig;
use virtual_rig::runner::{RunningRig, TickedRig};

/// A rig whose line to the host loses the frames of its choice.
struct Lossy<R> {
    rig: R,
    decoder: Decoder,
    frame: Vec<u8>,
    passed: VecDeque<u8>,
    is_lost: Box<dyn FnMut(&ToHost) -> bool + Send>,
}

impl<R: TickedRig> Lossy<R> {
    fn new(rig: R, is_lost: impl FnMut(&ToHost) -> bool + Send + 'static) -> Self {
        let (decoder, frame, passed) = (Decoder::new(), Vec::new(), VecDeque::new());
        Self { rig, decoder, frame, passed, is_lost: Box::new(is_lost) }
    }

    fn carry(&mut self, byte: u8) {
        self.frame.push(byte);
        let Some(ended) = self.decoder.push(byte) else { return };
        let message: ToHost = ended.unwrap().message().unwrap();
        if !(self.is_lost)(&message) {
            self.passed.extend(&self.frame);
        }
        self.frame.clear();
    }
}

impl<R: TickedRig> TickedRig for Lossy<R> {
    type Failure = R::Failure;

    fn pacing(&self) -> Pacing {
        self.rig.pacing()
    }

    fn receive(&mut self, bytes: &[u8]) {
        self.rig.receive(bytes);
    }

    fn may_advance(&self) -> bool {
        self.rig.may_advance()
    }

    fn advance(&mut self) -> Result<(), R::Failure> {
        self.rig.advance()
    }

    fn transmit(&mut self, room: &mut [u8]) -> usize {
        loop {
            let count = self.rig.transmit(room);
            let bytes: Vec<u8> = room.iter().take(count).copied().collect();
            bytes.into_iter().for_each(|byte| self.carry(byte));
            if count == 0 || !self.passed.is_empty() {
                break;
            }
        }
        let count = room.len().min(self.passed.len());
        for (to, byte) in room.iter_mut().zip(self.passed.drain(..count)) {
            *to = byte;
        }
        count
    }
}

/// A unit behind a device path, as a real one is, on a line of one's own.
struct Unit {
    folder: tempfile::TempDir,
    criteria: Vec<String>,
}

impl Unit {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let put = |file: &str, text: &str| {
            let path = folder.path().join(file).display().to_string();
            fs::write(&path, own_copy(text)).unwrap();
            path
        };
        let profile = put("own.toml", vanebench::actuator::DEMO.profile_text);
        let limits = put("own.limits.toml", vanebench::actuator::DEMO.limits_text);
        let criteria = ["--profile", &profile, "--limits", &limits].map(str::to_owned).to_vec();
        Self { folder, criteria }
    }

    fn run(&self, verb: &[&str], is_lost: impl FnMut(&ToHost) -> bool + Send + 'static) -> (i32, Value) {
        let case = catalogue::find("healthy").unwrap().unit(None);
        let rig = SimulatedRig::of_case(&case, 1, Pacing::Stepped).unwrap();
        let rig = RunningRig::start(Lossy::new(rig, is_lost)).unwrap();
        let port = rig.path().display().to_string();
        let records = self.folder.path().display().to_string();
        let options = ["--port", &port, "--unit", "u1", "--records", &records, "--hands-clear"];
        self.vanebench(&[verb, &options].concat())
    }

    fn vanebench(&self, args: &[&str]) -> (i32, Value) {
        let mut command = Command::new(assert_cmd::cargo_bin!("vanebench"));
        let output = command.arg("--json").args(args).args(&self.criteria).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        let told = serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{args:?}: {e}\n{said}"));
        (output.status.code().unwrap(), told)
    }

    fn dir(&self, run: &str) -> PathBuf {
        self.folder.path().join("u1").join(run)
    }

    fn learn(&self) {
        let (code, told) = self.run(&["learn", "--checked", "all"], |_| false);
        assert_eq!(code, 0, "{told:#}");
    }
}

fn text(dir: &Path, file: &str) -> String {
    fs::read_to_string(dir.join(file)).unwrap()
}

#[test]
fn neither_a_lost_release_nor_a_lost_outcome_costs_an_accepted_learn() {
    let mut outcomes = 0;
    let mut is_first_outcome = move |message: &ToHost| {
        let is_outcome = matches!(message, ToHost::Learn { event: LearnEvent::Outcome(_), .. });
        outcomes += u32::from(is_outcome);
        is_outcome && outcomes == 1
    };
    let unit = Unit::new();
    let lost =
        move |message: &ToHost| matches!(message, ToHost::Released { .. }) || is_first_outcome(message);
    let (code, told) = unit.run(&["learn", "--checked", "all"], lost);
    assert_eq!((code, told["judgement"].as_str()), (0, Some("within-limits")), "{told:#}");
    assert!(told["calibration"]["closed"].is_object(), "{told:#}");
}

#[test]
fn events_of_a_learn_that_were_lost_leave_a_mark_and_such_a_record_is_not_replayed() {
    let unit = Unit::new();
    let lost = |message: &ToHost| matches!(message, ToHost::Learn { event: LearnEvent::Touch(_), .. });
    let (code, told) = unit.run(&["learn", "--checked", "all"], lost);
    assert_eq!(code, 0, "{told:#}");
    assert!(told["lost"].as_str().unwrap().contains("learn events"), "{told:#}");
    assert!(text(&unit.dir("0001-learn"), "samples.csv").contains("lost-events "));
}

#[test]
fn the_end_of_a_motion_is_asked_for_where_its_word_is_lost() {
    let unit = Unit::new();
    unit.learn();
    let lost = |message: &ToHost| {
        matches!(message, ToHost::Released { .. } | ToHost::Motion { event: MotionEvent::Ended, .. })
    };
    let (code, told) = unit.run(&["step"], lost);
    assert_eq!(code, 0, "{told:#}");
    let (code, told) = unit.vanebench(&["judge", &unit.dir("0002-step").display().to_string()]);
    assert_eq!(code, 0, "{told:#}");
}

#[test]
fn samples_lost_at_the_start_and_in_the_middle_are_marked_told_and_counted() {
    let mut batches = 0;
    let lost = move |message: &ToHost| {
        batches += u32::from(matches!(message, ToHost::Samples(_)));
        matches!(message, ToHost::Samples(_)) && (batches <= 3 || (60..64).contains(&batches))
    };
    let unit = Unit::new();
    let (code, told) = unit.run(&["learn", "--checked", "all"], lost);
    assert_eq!(code, 0, "{told:#}");
    let samples = text(&unit.dir("0001-learn"), "samples.csv");
    let gaps: Vec<&str> = samples.lines().filter(|line| line.contains(",gap ")).collect();
    assert_eq!(gaps.len(), 2, "{gaps:?}");
    assert!(gaps[0].starts_with("0,"), "{gaps:?}");
    assert!(told["lost"].as_str().unwrap().contains("ticks without samples"), "{told:#}");
    let run = text(&unit.dir("0001-learn"), "run.toml");
    for key in ["line_frames_lost = \"7\"", "line_frames_foreign = \"0\"", "ticks_without_samples = "] {
        assert!(run.contains(key), "{key}: {run}");
    }
    let (code, told) = unit.vanebench(&["learn", "--replay", &unit.dir("0001-learn").display().to_string()]);
    assert_eq!(code, 2, "{told:#}");
    assert!(told["error"].as_str().unwrap().contains("lost on the line"), "{told:#}");
}

#[test]
fn friction_with_30_per_cent_of_the_samples_lost_is_undetermined_and_no_fault_of_the_ring() {
    let unit = Unit::new();
    unit.learn();
    let mut batches = 0_u32;
    let lost = move |message: &ToHost| {
        batches += u32::from(matches!(message, ToHost::Samples(_)));
        matches!(message, ToHost::Samples(_)) && batches.wrapping_mul(2_654_435_761) >> 16 & 0xFF < 77
    };
    let (code, told) = unit.run(&["friction"], lost);
    assert_eq!(code, 0, "{told:#}");
    assert!(told["lost"].as_str().unwrap().contains("ticks without samples"), "{told:#}");
    let (code, told) = unit.vanebench(&["judge", &unit.dir("0002-friction").display().to_string()]);
    assert_eq!((code, told["judgement"].as_str()), (3, Some("undetermined")), "{told:#}");
    let said = told.to_string();
    assert!(said.contains("lost on the line") && !said.contains("moves freely"), "{told:#}");
}

/// Verdicts of a sound unit's run with this share of its batches lost, for each seed of the loss.
fn judged(verb: &str, percent: u32, seeds: u32) -> Vec<String> {
    let unit = Unit::new();
    unit.learn();
    let judge = |seed: u32| {
        let mut batches = 0_u32;
        let lost = move |message: &ToHost| {
            let is_batch = matches!(message, ToHost::Samples(_));
            batches += u32::from(is_batch);
            // Steele, Lea and Flood 2014 (SplitMix), the finalizer: each batch falls by itself.
            let mut mixed = u64::from(batches) << 32 | u64::from(seed);
            for factor in [0xBF58_476D_1CE4_E5B9, 0x94D0_49BB_1331_11EB] {
                mixed = (mixed ^ (mixed >> 30)).wrapping_mul(factor);
            }
            is_batch && (mixed >> 33) % 100 < u64::from(percent)
        };
        let (code, told) = unit.run(&[verb], lost);
        assert_eq!(code, 0, "{told:#}");
        let (_, told) = unit.vanebench(&["judge", told["folder"].as_str().unwrap()]);
        let judgement = told["judgement"].as_str().unwrap().to_owned();
        assert_ne!(judgement, "out-of-limits", "{verb}, {percent} %, seed {seed}: {:#}", told["reasons"]);
        if judgement != "within-limits" {
            eprintln!("{verb}, {percent} %, seed {seed}: {:#}", told["reasons"]);
        }
        judgement
    };
    (0..seeds).map(judge).collect()
}

/// Four runs of each kind at four shares of loss: with none blamed of 48, the share that is blamed lies below 6.1 %
/// (95 %, rule of three). At 1 % loss nearly all must still be determined; one of twelve may not.
#[test]
fn a_sound_unit_is_never_blamed_for_what_the_line_lost_and_one_per_cent_leaves_it_determined() {
    let seeds = std::env::var("LOSSY_SEEDS").map_or(4, |seeds| seeds.parse().unwrap());
    for verb in ["step", "sweep", "friction"] {
        for percent in [1, 5, 20, 60] {
            let judged = judged(verb, percent, seeds);
            let fit = judged.iter().filter(|judgement| *judgement == "within-limits").count();
            println!("{verb}, {percent} %: {fit} of {seeds} determined");
            assert!(percent > 1 || 4 * fit >= 3 * judged.len(), "{verb}: {fit} of {seeds} at 1 %");
        }
    }
}
