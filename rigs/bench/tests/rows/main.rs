//! One check for each defect that was found in the tool and that a command can show: B of the bench and its records,
//! L of the link. Prints row, what is asked and how it ended.
//!
//! `VANEBENCH=path cargo test -p vanebench --test rows -- --nocapture` checks any other build; one that speaks another
//! protocol version than this source fails the rows that need a line.
//!
#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

mod files;
#[path = "../hostile/mod.rs"]
mod hostile;
mod link;
mod tool;
mod verdicts;

use std::io::Read;
use std::process::{Command, Stdio};

use files::*;
use hostile::runs::binary;
use link::*;
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use tool::tool;
use verdicts::*;

/// A row: its name, what is asked, and the check, which says what was seen where it fails.
type Row = (&'static str, &'static str, fn() -> Result<(), String>);

const ROWS: [Row; 41] = [
    ("B1", "after a refused learn an older calibration moves nothing", b1),
    ("B1b", "a sweep on a calibration that is not proven is refused", b1_not_proven),
    ("B2", "a blocked unit's sweep ends itself and is told", b2),
    ("B3", "runs from before a new learn do not count", b3),
    ("B4", "another profile of the same name changes no verdict", b4),
    ("B5", "runs of another unit do not count", b5),
    ("B6", "an edited calibration moves nothing", b6),
    ("B7", "a complete run without sums is refused", b7),
    ("B7b", "a run that was changed where its own sums do not look is found", b7_made),
    ("B7c", "a changed confirmation counts for nothing", b7_confirmed),
    ("B8", "a demonstration deletes no records", b8),
    ("B9", "a renamed invention drives no real port", b9),
    ("B10", "an interrupted run does not undo an older complete one", b10),
    ("B10b", "Ctrl-C at the question reaches the prompt within 1 s", b10_question),
    ("B11", "a restart within the lease of a killed run goes through", b11),
    ("B12", "judge and report leave an archive as it is", b12),
    ("B13", "fields of a profile that contradict each other are refused", b13),
    ("B14", "not proven names the words that --checked takes", b14),
    ("B14b", "what was not proven is confirmed afterwards, without moving", b14_confirm),
    ("B15", "names that differ in case are one unit", b15),
    ("B15b", "a winding that is not the profile's is stopped in doubt", b15_winding),
    ("B15c", "another unit under a unit's calibration is stopped in doubt", b15_motion),
    ("B16", "a profile takes what tune writes, and nothing else changes", b16),
    ("B17", "a missing field of the acceptance sheet costs a line", b17),
    ("B17b", "the tool lays down an acceptance sheet and never over one", b17_template),
    ("B18", "a report follows a link and replaces no pipe", b18),
    ("B18b", "a refused standard output ends undetermined", b18_full),
    ("B18c", "four reports of one unit at once all end well", b18_together),
    ("B18d", "SIGTERM is handled as Ctrl-C is", b18_sigterm),
    ("B19", "endless and silent inputs are refused at once", b19),
    ("B19b", "no control character of a file reaches the terminal", b19_control),
    ("B19c", "unit names that a system or a shell stumbles over are refused", b19_names),
    ("B19d", "a tolerance that is no number is refused", b19_tolerance),
    ("L1", "frames of another program change nothing", l1),
    ("L3", "samples lost at the start of a record are marked", l3),
    ("L4", "lost samples never become a fault of the unit", l4),
    ("L5", "one lost word of the release costs no learn", l5),
    ("L6", "another tick rate is refused", l6),
    ("L7", "loss is told on the console and in the record", l7),
    ("L10", "an echo is called an echo", l10),
    ("U4", "a usage error is a document with kind and version", u4),
];

#[test]
fn every_row_holds() {
    let mut failed = Vec::new();
    for (name, asked, check) in ROWS {
        let seen = check();
        println!("{name:<5} {} {asked}", if seen.is_ok() { "holds" } else { "FAILS" });
        if let Err(seen) = &seen {
            println!("            {}", seen.lines().last().unwrap_or_default());
            failed.push(name);
        }
    }
    assert!(failed.is_empty(), "{failed:?}");
}

/// L2 and L11 are of the core and its page: `firmware-core` session tests and `tests/link/wire.rs`. L8 shows in L1,
/// L9 here.
#[test]
fn a_unit_behind_rig_is_taken_to_a_verdict_by_the_commands_that_it_prints() {
    let folder = tempfile::tempdir().unwrap();
    let mut rig = Command::new(binary());
    rig.args(["rig", "healthy", "--stepped", "--json"]).current_dir(folder.path()).stdout(Stdio::piped());
    let mut rig = rig.spawn().unwrap();
    let mut told = Vec::new();
    let mut out = rig.stdout.take().unwrap();
    while !told.ends_with(b"\n}\n") {
        let mut byte = [0];
        out.read_exact(&mut byte).unwrap();
        told.push(byte[0]);
    }
    let told: serde_json::Value = serde_json::from_slice(&told).unwrap();
    for command in told["commands"].as_array().unwrap() {
        let words: Vec<&str> = command.as_str().unwrap().split(' ').skip(1).collect();
        let moves = words.contains(&"--port");
        let said = tool(folder.path(), &[&words[..], if moves { &["--hands-clear"] } else { &[] }].concat());
        assert_eq!(said.code, Some(0), "{command}: {}", said.err);
    }
    kill(Pid::from_raw(rig.id().cast_signed()), Signal::SIGINT).unwrap();
    assert_eq!(rig.wait().unwrap().code(), Some(0));
}
