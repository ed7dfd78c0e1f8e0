//! Characterising against a rig made by hand: what a line loses.

use firmware_core::settings::CountsDirection;
use firmware_core::units::Tick;
use vanebench::characterise::{AnswerArgs, Answers, Eyes, Surprise, characterise};
use vanebench::rig::{GapCause, StreamItem};

use super::scripted::{Begun, Did, ScriptedRig};

/// Ticks that it waits before its first step.
const WAITS: u32 = 700;

/// What ends a characterising in whose first step so many samples are missing, from so many ticks before its start.
fn ended_by(ticks: u32, before: u32, cause: GapCause) -> (Surprise, Vec<Did>) {
    let lost = move |begun: Begun| {
        let first = Tick(begun.start.0 - before);
        vec![Ok(StreamItem::Gap { first, ticks, cause })]
    };
    let mut rig = ScriptedRig::new(lost).rests_for(WAITS + 1);
    let did = rig.did.clone();
    let answers = Answers { degrees: 70.0, rated_voltage: 12.0, continuous_current: 1.2, back_drives: true };
    let seen = AnswerArgs::default();
    let eyes = Eyes::Virtual(&seen, CountsDirection::OpeningLowers);
    let surprise = characterise(&mut rig, answers, eyes, &mut |_| {}).unwrap_err();
    let did = did.borrow().clone();
    (surprise, did)
}

#[test]
fn samples_that_a_step_lost_end_a_characterising_with_the_drive_off() {
    let causes = [(GapCause::LostOnLine, "damaged on the line"), (GapCause::NoRoom, "too slow")];
    for (cause, words) in causes {
        for before in [0, 19] {
            let (surprise, did) = ended_by(20, before, cause);
            assert!(matches!(surprise, Surprise::SamplesLost { ticks: 20, .. }), "{surprise}");
            assert_eq!(did, [Did::Probe, Did::Stopped]);
            for words in ["20 samples in a row are missing", words] {
                assert!(surprise.to_string().contains(words), "{words}: {surprise}");
            }
        }
    }
}

/// The line may lose what it likes while a person thinks: the script ends, and that alone is told.
#[test]
fn samples_lost_before_a_step_are_no_part_of_it() {
    let (surprise, did) = ended_by(20, 20, GapCause::LostOnLine);
    assert!(surprise.to_string().contains("the script is over"), "{surprise}");
    assert_eq!(did, [Did::Probe]);
}
