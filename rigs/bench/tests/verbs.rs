//! Every verb: how many there are, what each can do to the world, and the caution that goes with it.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

mod calls;

use std::fs;
use std::io::Read;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use calls::{CALLS, lay_down_sheets, leaves};
use clap::{CommandFactory, Parser};
use vanebench::caution::{CAUTIONS, Effect, HANDED_OVER};
use vanebench::cli::Cli;

/// Most words that a person is shown at the top.
const MOST_VERBS: usize = 22;

fn run(args: &[&str], at: &Path) -> Output {
    Command::new(assert_cmd::cargo_bin!("vanebench")).args(args).current_dir(at).output().unwrap()
}

#[test]
fn the_top_level_stays_short_enough_to_be_read() {
    let command = Cli::command();
    let verbs: Vec<&str> = command.get_subcommands().map(clap::Command::get_name).collect();
    assert!((10..=MOST_VERBS).contains(&verbs.len()), "{} verbs: {verbs:?}", verbs.len());
}

#[test]
fn every_verb_shows_the_caution_of_what_it_declares_on_screen_and_in_what_it_hands_over() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    lay_down_sheets(at);
    let mut declared = [0; 3];
    for (args, files) in CALLS {
        let effect = Cli::try_parse_from([&["vanebench"], args].concat()).unwrap().effect();
        let output = run(args, at);
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(!said.contains("panicked"), "{args:?}: {said}");
        let moves = CAUTIONS.iter().all(|caution| said.contains(caution));
        let hands_over = said.contains(HANDED_OVER);
        let seen = match effect {
            Effect::Moves => (0, moves && !hands_over),
            Effect::HandsOver => (1, hands_over && !moves),
            Effect::Neither => (2, !moves && !hands_over),
        };
        declared[seen.0] += 1;
        // A step without a calibration is refused before anything could move.
        let is_refused_first =
            args[0] == "step" && output.status.code() == Some(2) && said.contains("nothing moved");
        assert!(
            seen.1 || is_refused_first,
            "{args:?} declares {effect:?}, exit {:?}, it said: {said}",
            output.status
        );
        for file in files {
            let text =
                fs::read_to_string(at.join(file)).unwrap_or_else(|error| panic!("{file}: {error}; {said}"));
            let head = text.lines().take(4).collect::<Vec<_>>().join(" ");
            assert!(head.contains(HANDED_OVER), "{file} begins {head}");
        }
        assert!(files.is_empty() || effect == Effect::HandsOver, "{args:?} hands over and does not say so");
    }
    assert!(declared.iter().all(|count| *count > 2), "{declared:?}");
}

#[test]
fn every_verb_is_called_above() {
    let called = |leaf: &[String]| {
        CALLS.iter().any(|(args, _)| {
            let words = args.iter().take(leaf.len());
            words.eq(leaf.iter()) && (leaf != ["campaign"] || args[1] == "boost-step")
        })
    };
    let leaves = leaves(&Cli::command(), &[]);
    assert!(leaves.len() > 15, "{leaves:?}");
    for leaf in leaves.iter().filter(|leaf| !leaf.is_empty()) {
        assert!(called(leaf), "{leaf:?} has no call in CALLS");
    }
}

#[test]
fn the_files_that_a_rig_lays_down_begin_with_the_caution() {
    let folder = tempfile::tempdir().unwrap();
    let mut rig = Command::new(assert_cmd::cargo_bin!("vanebench"));
    rig.args(["rig", "--stepped"]).current_dir(folder.path()).stdout(Stdio::piped()).stderr(Stdio::null());
    let mut rig = rig.spawn().unwrap();
    // Its first byte comes once the files lie there.
    rig.stdout.take().unwrap().read_exact(&mut [0]).unwrap();
    rig.kill().unwrap();
    rig.wait().unwrap();
    for file in ["practice/practice.toml", "practice/practice.limits.toml"] {
        let text = fs::read_to_string(folder.path().join(file)).unwrap();
        assert!(text.lines().next().unwrap().contains(HANDED_OVER), "{file}: {text}");
    }
}
