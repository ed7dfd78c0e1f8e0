//! Every verb: how many there are, what each can do to the world, and the caution that goes with it.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::fs;
use std::io::Read;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use clap::{CommandFactory, Parser};
use vanebench::caution::{CAUTIONS, Effect, HANDED_OVER};
use vanebench::cli::Cli;

/// Most words that a person is shown at the top.
const MOST_VERBS: usize = 22;

/// A call of a verb, and the files that it hands over.
type Call = (&'static [&'static str], &'static [&'static str]);

/// One call of every verb at least, in an order in which each finds what it needs.
const CALLS: [Call; 37] = [
    (&["demo", "--out", "demo"], &[]),
    (&["ports"], &[]),
    (&["monitor", "--port", "virtual:healthy"], &[]),
    (&["bench", "--port", "virtual:rod-off-inside-stops", "--unit", "u2"], &[]),
    (&["rig", "nobody-of-this-name"], &[]),
    (&["learn", "--port", "virtual:rod-off-inside-stops", "--unit", "u1"], &[]),
    (&["learn", "--replay", "units/u1/0001-learn"], &[]),
    (
        &["unit", "confirm", "units/u1", "--checked", "all", "--by", "A", "--with", "eye"],
        &["units/u1/confirmed.toml"],
    ),
    (&["sweep", "--port", "virtual:rod-off-inside-stops", "--unit", "u1"], &[]),
    (&["friction", "--port", "virtual:rod-off-inside-stops", "--unit", "u1"], &[]),
    (&["step", "--port", "virtual:healthy"], &[]),
    (&["cycle", "--port", "virtual:rod-off-inside-stops", "--unit", "u1", "--strokes", "2"], &[]),
    (&["tune", "demo/units/demo-unit/0004-step", "--out", "tuned.toml"], &["tuned.toml"]),
    (
        &["match", "ring-a.toml", "ring-b.toml", "--runs", "2", "--out", "matched"],
        &["matched/controller.toml", "matched/opening-map.csv"],
    ),
    (&["judge", "units/u1"], &[]),
    (&["report", "units/u1"], &[]),
    (&["simulate"], &[]),
    (&["campaign", "boost-step", "--runs", "1"], &[]),
    (&["campaign", "learn", "--runs", "1", "--only", "healthy"], &[]),
    (&["campaign", "guard", "--worlds", "1"], &[]),
    (&["campaign", "gauge", "--units", "2", "--setups", "2", "--learns", "2"], &[]),
    (&["campaign", "boost-step", "--runs", "2", "--part", "1/1", "--out", "part"], &[]),
    (&["campaign", "merge", "part"], &[]),
    (&["unit", "list"], &[]),
    (&["unit", "history", "units/u1"], &[]),
    (&["unit", "attach", "units/u1", "ring-a.toml", "--by", "A", "--note", "sheet"], &[]),
    (&["unit", "compare", "units/u1", "units/u1/0001-learn"], &[]),
    (&["unit", "check", "units/u1"], &[]),
    (&["unit", "explain", "units/u1", "0001-learn", "--by", "A", "--why", "power cut"], &[]),
    (&["sheet", "new", "units/u1"], &[]),
    (&["sheet", "new", "empty.toml"], &[]),
    (&["sheet", "compare", "ring-a.toml", "ring-b.toml"], &[]),
    (&["profile", "check", "bench-actuator-b"], &[]),
    (&["profile", "characterise", "--port", "virtual:healthy", "--unit", "u3", "--rated-voltage", "24"], &[]),
    (&["schema"], &[]),
    (&["completions", "bash"], &[]),
    (&["manual", "learn"], &[]),
];

/// Every verb as it is called, `campaign learn` and the like included.
fn leaves(command: &clap::Command, before: &[String]) -> Vec<Vec<String>> {
    let inner: Vec<_> = command.get_subcommands().filter(|inner| inner.get_name() != "help").collect();
    let deeper = inner.iter().flat_map(|inner| {
        let path = [before, &[inner.get_name().to_owned()]].concat();
        leaves(inner, &path)
    });
    let own =
        (inner.is_empty() || command.get_arguments().any(clap::Arg::is_positional)).then(|| before.to_vec());
    deeper.chain(own).collect()
}

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
    let sheets = Path::new(env!("CARGO_MANIFEST_DIR")).join("../profiles/sheets");
    for sheet in ["ring-a.toml", "ring-b.toml"] {
        fs::copy(sheets.join(sheet), at.join(sheet)).unwrap();
    }
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
