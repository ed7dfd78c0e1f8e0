//! Bits flipped in the memory of a controller that drives. The second look that asked for this found 353 of 3000 flips
//! that changed the duty, 308 of them without a fault.

extern crate std;

use std::vec::Vec as List;

use super::*;
use crate::command::Command;
use crate::controller::{Controller, TickOutput};
use crate::faults::Fault;
use crate::sample::testing::{engine, sample};
use crate::sample::{Mode, Request, Sample};
use crate::settings::SECTIONS;
use crate::units::{Ampere, Duty, Kilopascal, Opening, Rpm};
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use proptest::test_runner::TestRunner;
use serde::{Serialize, de::DeserializeOwned};

const FLIPS: usize = 3000;
/// Within this a flip is named: 100 ms.
const NAMED_WITHIN: usize = 100;
/// Ticks that the drive has run before the flip.
const BEFORE: u32 = 300;

/// The same value with one bit of its fields' bytes flipped; none where no such value exists.
fn flipped<T: Serialize + DeserializeOwned + PartialEq>(value: &T, bit: usize) -> Option<T> {
    let mut room = [0; 256];
    let length = postcard::to_slice(value, &mut room).unwrap().len();
    // An enum's own kind is not a field.
    let at = 8 + bit % ((length - 1) * 8);
    room[at / 8] ^= 1 << (at % 8);
    let (changed, rest) = postcard::take_from_bytes::<T>(&room[..length]).ok()?;
    (rest.is_empty() && changed != *value).then_some(changed)
}

impl Settings {
    /// Puts a section in without asking whether it is allowed.
    fn force(&mut self, section: SettingsSection) {
        match section {
            SettingsSection::Actuator(it) => self.actuator = it,
            SettingsSection::Plausibility(it) => self.plausibility = it,
            SettingsSection::MapAxes(it) => self.target.axes = it,
            SettingsSection::FeedForward(it) => self.target.feed_forward = it,
            SettingsSection::MinimumOpening(it) => self.target.minimum_opening = it,
            SettingsSection::Trim(it) => self.target.trim = it,
            SettingsSection::Modes(it) => self.target.modes = it,
            SettingsSection::GuardLimits(it) => self.guard.limits = it,
            SettingsSection::GuardStages(it) => self.guard.stages = it,
            SettingsSection::Slew(it) => self.slew = it,
            SettingsSection::Position(it) => self.position = it,
            SettingsSection::Limits(it) => self.limits = it,
            SettingsSection::LearnMotion(it) => self.learn.motion = it,
            SettingsSection::LearnLimits(it) => self.learn.limits = it,
            SettingsSection::LearnWindows(it) => self.learn.windows = it,
            SettingsSection::Law(it) => self.target.law = it,
            SettingsSection::FixedGain(it) => self.target.fixed_gain = it,
            SettingsSection::Model(it) => self.target.model = it,
        }
    }
}

/// Where a flip hits: a section by its number, or the calibration.
fn hit(controller: &mut Controller, piece: u8, bit: usize) -> Option<()> {
    if piece < SECTIONS {
        let section = flipped(&controller.settings.section(piece)?, bit)?;
        controller.settings.force(section);
    } else {
        let learned = flipped(&controller.calibration?, bit)?;
        controller.calibration = Some(learned);
    }
    Some(())
}

/// Makes the check blind to what was hit.
fn ablate(controller: &mut Controller) {
    controller.copy.settings = controller.settings;
    controller.copy.calibration = controller.calibration;
}

/// A lever that follows its duty, and an engine whose boost does not.
fn seen(tick: u32, position: f32) -> Sample {
    let mut sample = sample(tick, position as i16);
    sample.motor_current = Ampere(0.6);
    sample.boost = Kilopascal(150.0);
    sample.exhaust = Some(Kilopascal(190.0));
    sample.turbo_speed = Some(Rpm(90_000.0));
    sample
}

/// The bench's motions and an engine's modes, one after the other.
fn request(turn: usize, tick: u32) -> Request {
    let opening = |value| Request::Bench(Command::Opening(Opening::try_new(value).unwrap()));
    match turn % 4 {
        0 => opening(if (tick / 40).is_multiple_of(2) { 0.3 } else { 0.8 }),
        1 => Request::Bench(Command::Current(Ampere(1.5))),
        2 => engine(Mode::Boost, 190.0, 1500.0 + 4.0 * tick as f32, 0.8),
        _ => engine(Mode::Brake, 120.0, 2500.0, 0.3),
    }
}

fn run(controller: &mut Controller, turn: usize, from: u32, ticks: u32) -> List<TickOutput> {
    let mut position = 8000.0f32;
    let tick = |tick| {
        let output = controller.tick(&seen(tick, position), &request(turn, tick));
        // Opening lowers the counts of this actuator.
        position = (position - 40.0 * output.duty.get()).clamp(2800.0, 13_500.0);
        output
    };
    (from..from + ticks).map(tick).collect()
}

/// Effective flips, those named in time with the drive off from then on, and those named without the check.
#[derive(Debug, Default, PartialEq)]
struct Tally {
    made: usize,
    effective: usize,
    named: usize,
    named_blind: usize,
}

fn tally() -> Tally {
    let mut runner = TestRunner::deterministic();
    let any = (0..=SECTIONS, 0usize..1 << 16);
    let mut tally = Tally::default();
    let driven: List<Controller> = (0..4)
        .map(|turn| {
            let mut controller = Controller::new(Settings::default());
            controller.set_calibration(Some(crate::controller::tests::calibration()));
            run(&mut controller, turn, 0, BEFORE);
            controller
        })
        .collect();
    while tally.made < FLIPS {
        let (piece, bit) = any.new_tree(&mut runner).unwrap().current();
        let turn = tally.made % driven.len();
        let mut checked = driven[turn].clone();
        if hit(&mut checked, piece, bit).is_none() {
            continue;
        }
        tally.made += 1;
        let (mut sound, mut blind) = (driven[turn].clone(), checked.clone());
        ablate(&mut blind);
        let run = |controller| run(controller, turn, BEFORE, NAMED_WITHIN as u32);
        let (sound, blind, checked) = (run(&mut sound), run(&mut blind), run(&mut checked));
        tally.effective += usize::from(sound.iter().zip(&blind).any(|(a, b)| a.duty != b.duty));
        let is_named = |output: &TickOutput| output.faults.contains(Fault::MemoryChanged);
        tally.named_blind += usize::from(blind.iter().any(is_named));
        if let Some(at) = checked.iter().position(is_named) {
            assert!(at < usize::from(ROUND_TICKS), "piece {piece}, bit {bit}: named in tick {at}");
            assert!(checked[at..].iter().all(|output| output.duty == Duty::ZERO && is_named(output)));
            tally.named += 1;
        }
    }
    tally
}

#[test]
fn every_flip_is_named_within_its_round_and_the_drive_is_off_and_without_the_copy_hardly_any() {
    let tally = tally();
    std::println!("{tally:?}");
    assert_eq!((tally.made, tally.named), (FLIPS, FLIPS));
    // What has become no number differs from itself: only that is found without a sound copy.
    assert!(tally.named_blind < FLIPS / 100, "{tally:?}");
    assert!(tally.effective > FLIPS / 20, "{tally:?}: too few flips did anything to prove much");
}

#[test]
fn a_section_that_is_handed_over_is_no_change() {
    let mut controller = Controller::new(Settings::BLANK);
    for section in Settings::default().sections() {
        controller.apply(&section).unwrap();
    }
    controller.set_calibration(Some(crate::controller::tests::calibration()));
    for tick in 0..100 {
        assert!(
            !controller.tick(&seen(tick, 8000.0), &Request::Release).faults.contains(Fault::MemoryChanged)
        );
    }
}
