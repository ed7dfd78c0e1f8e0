//! Every verb, help and refusals included, for a reader of 80 and of 60 columns.
//!
//! The rule: no line is wider than the reader, but for one that holds a single word (a path, a hash); no word is cut,
//! and none is lost. What a program takes (completions, the manual page, a schema) is not folded and not read here.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

mod calls;

use std::collections::BTreeSet;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};

use calls::{CALLS, lay_down_sheets, leaves};
use clap::CommandFactory;
use vanebench::cli::Cli;

const WIDTHS: [usize; 2] = [80, 60];

/// More that is told than one call of each verb tells, on what those calls left behind.
const MORE: [&[&str]; 14] = [
    &["simulate", "boost-step"],
    &["simulate", "boost-step", "--parts", "ring-a.toml", "--parts", "ring-b.toml", "--out", "simulated"],
    &["campaign", "boost-step", "--runs", "16", "--parts", "ring-b.toml"],
    &["campaign", "guard", "--worlds", "2", "--ablate"],
    &["learn", "--port", "virtual:blocked-travel", "--unit", "u4"],
    &["learn", "--port", "virtual:broken-vane-pin", "--unit", "u5"],
    &["step", "--port", "virtual:broken-vane-pin", "--unit", "u5"],
    &["friction", "--port", "virtual:blocked-travel", "--unit", "u4"],
    &["bench", "--port", "virtual:healthy", "--unit", "u6"],
    &["report", "units/u6"],
    &["unit", "history", "units/u6"],
    &["no-such-verb"],
    &["learn", "--port", "/dev/nothing-here", "--checked", "nonsense"],
    &["judge", "nowhere"],
];

/// Calls that give a verdict: it is the first line and the last.
const VERDICTS: [&[&str]; 16] = [
    &["demo"],
    &["learn", "--port", "virtual:rod-off-inside-stops"],
    &["learn", "--port", "virtual:blocked-travel"],
    &["judge", "units/u1"],
    &["report"],
    &["tune", "boost"],
    &["simulate", "boost-step"],
    &["campaign", "boost-step", "--runs", "1"],
    &["campaign", "learn"],
    &["campaign", "guard"],
    &["campaign", "gauge"],
    &["unit", "list"],
    &["unit", "compare"],
    &["unit", "check"],
    &["profile", "check"],
    &["profile", "limits"],
];

const HELP: [&str; 2] = ["-h", "--help"];
const FOR_PROGRAMS: [&str; 2] = ["completions", "manual"];

/// What one call said, on standard output and standard error.
struct Told {
    call: Vec<String>,
    out: String,
    said: String,
}

fn tool(args: &[&str], columns: Option<usize>, at: &Path) -> Command {
    let mut tool = Command::new(assert_cmd::cargo_bin!("vanebench"));
    tool.args(args).current_dir(at).stdin(Stdio::null()).env_remove("COLUMNS");
    if let Some(columns) = columns {
        tool.env("COLUMNS", columns.to_string());
    }
    tool
}

fn told(args: &[&str], columns: Option<usize>, at: &Path) -> Told {
    let output = tool(args, columns, at).output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    let (out, said) = (text(output.stdout), text(output.stderr));
    assert!(!said.contains("panicked"), "{args:?}: {said}");
    Told { call: args.iter().map(ToString::to_string).collect(), out, said }
}

/// What a rig says that is served until it is killed.
fn served(columns: Option<usize>, at: &Path) -> Told {
    let mut rig = tool(&["rig"], columns, at);
    let mut rig = rig.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
    let lines = BufReader::new(rig.stdout.take().unwrap()).lines().map(Result::unwrap);
    let mut out = String::new();
    for line in lines {
        out += &format!("{line}\n");
        if line.contains("removes the unit") {
            break;
        }
    }
    rig.kill().unwrap();
    rig.wait().unwrap();
    Told { call: vec!["rig".into()], out, said: String::new() }
}

/// The whole job for one reader, in a folder of its own.
fn job(columns: Option<usize>) -> Vec<Told> {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    lay_down_sheets(at);
    let calls = CALLS.iter().map(|(args, _)| *args).filter(|args| !FOR_PROGRAMS.contains(&args[0]));
    // How long it takes is told by time, which no two runs share.
    let quiet = |args: &[&'static str]| [&["--quiet"][..], args].concat();
    let mut all: Vec<Told> = calls.chain(MORE).map(|args| told(&quiet(args), columns, at)).collect();
    all.push(served(columns, at));
    for leaf in leaves(&Cli::command(), &[]) {
        let leaf: Vec<&str> = leaf.iter().map(String::as_str).collect();
        all.extend(HELP.map(|help| told(&[&leaf[..], &[help]].concat(), columns, at)));
    }
    all
}

/// A word without what two runs do not share: numbers, hashes, the sign at the end of a listed cell.
fn known(word: &str) -> String {
    const SHORTEST_HASH: usize = 40;
    let word = word.trim_end_matches([';', ':']);
    if word.len() >= SHORTEST_HASH && word.chars().all(|c| c.is_ascii_hexdigit()) {
        return "HASH".into();
    }
    let mut plain = String::new();
    for c in word.chars() {
        match c.is_ascii_digit() {
            true if plain.ends_with('0') => {}
            true => plain.push('0'),
            false => plain.push(c),
        }
    }
    plain
}

fn words(text: &str) -> BTreeSet<String> {
    text.split_whitespace().filter(|word| *word != "\\").map(known).filter(|word| !word.is_empty()).collect()
}

/// What is wrong with a text for a reader of so many columns, against the same text for one who stated none.
fn troubles(text: &str, wide: &str, columns: usize) -> Vec<String> {
    let is_too_wide = |line: &&str| {
        line.chars().count() > columns && line.trim_end_matches(" \\").trim().contains(char::is_whitespace)
    };
    let mut troubles: Vec<String> =
        text.lines().filter(is_too_wide).map(|line| format!("too wide: {line}")).collect();
    let (here, there) = (words(text), words(wide));
    troubles.extend(here.difference(&there).map(|word| format!("only at {columns}: {word}")));
    troubles.extend(there.difference(&here).map(|word| format!("lost at {columns}: {word}")));
    troubles
}

#[test]
fn every_verb_fits_80_and_60_columns_with_no_word_cut() {
    let (wide, narrow) = std::thread::scope(|scope| {
        let jobs = WIDTHS.map(|columns| (columns, scope.spawn(move || job(Some(columns)))));
        (job(None), jobs.map(|(columns, job)| (columns, job.join().unwrap())))
    });
    let mut found = Vec::new();
    for (columns, told) in &narrow {
        assert_eq!(told.len(), wide.len());
        for (here, there) in told.iter().zip(&wide) {
            assert!(!(here.out.is_empty() && here.said.is_empty()), "{:?} says nothing", here.call);
            for (text, wide) in [(&here.out, &there.out), (&here.said, &there.said)] {
                let troubles = troubles(text, wide, *columns);
                found.extend(troubles.iter().map(|trouble| format!("{} {trouble}", here.call.join(" "))));
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
    for told in &wide {
        let call: Vec<&str> =
            told.call.iter().map(String::as_str).filter(|word| *word != "--quiet").collect();
        if !VERDICTS.iter().any(|verdict| call.starts_with(verdict))
            || call.iter().any(|word| HELP.contains(word))
        {
            continue;
        }
        let mut lines = told.out.lines().filter(|line| !line.is_empty());
        let (first, last) = (lines.next().unwrap_or_default(), lines.next_back().unwrap_or_default());
        assert!(!last.is_empty() && first.starts_with(last), "{call:?} begins {first:?} and ends {last:?}");
    }
}

#[test]
fn a_wide_line_and_a_cut_word_would_be_found() {
    let wide = "a word that is whole: /a/path/that/is/rather/long/for/forty/columns";
    assert!(
        troubles("a word that is whole\n  /a/path/that/is/rather/long/for/forty/columns", wide, 40)
            .is_empty()
    );
    assert_eq!(troubles(wide, wide, 40).len(), 1);
    let cut = "a wo rd that is whole: /a/path/that/is/rather/long/for/forty/columns";
    assert_eq!(troubles(cut, wide, 80), ["only at 80: rd", "only at 80: wo", "lost at 80: word"]);
}
