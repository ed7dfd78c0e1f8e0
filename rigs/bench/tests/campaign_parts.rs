//! Campaigns in parts, each part a process of its own as a scheduler would start it: what the merge tells is what
//! one run tells, to the byte, and a part that does not belong is refused for its reason.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use sha2::{Digest, Sha256};

const SHORT: &str = "name = \"short\"\nabout = \"\"\nduration_s = 0.4\nwarm_up_s = 0.1\n\
     [[demand]]\nt_s = 0.0\nspeed_rpm = 2000\nfuel_mg = 25\nboost_kpa = 150\n";

/// One campaign of every kind, small enough to be run many times over.
const CAMPAIGNS: [&[&str]; 4] = [
    &["campaign", "short.toml", "--runs", "90", "--seed", "3"],
    &["campaign", "learn", "--runs", "9", "--only", "healthy", "--only", "loose-stop", "--seed", "3"],
    &["campaign", "guard", "--worlds", "35", "--seed", "3"],
    &["campaign", "gauge", "--units", "3", "--setups", "2", "--learns", "2", "--seed", "3"],
];

fn command(args: &[&str], at: &Path) -> Command {
    let mut command = Command::new(assert_cmd::cargo_bin!("vanebench"));
    command.args(args).current_dir(at).stdin(Stdio::null());
    command
}

/// Exit code, standard output, standard error.
fn run(args: &[&str], at: &Path) -> (i32, String, String) {
    let output = command(args, at).output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap_or(-1), text(output.stdout), text(output.stderr))
}

fn make_part(campaign: &[&str], part: &str, file: &str, at: &Path) {
    let (code, out, said) = run(&[campaign, &["--part", part, "--out", file]].concat(), at);
    assert_eq!(code, 0, "{campaign:?} {part}: {out}{said}");
    assert!(out.contains(&format!("part {part}")) && out.contains(file), "{out}");
}

/// Makes all parts and merges them, last part first.
fn merged(campaign: &[&str], parts: usize, at: &Path) -> [String; 2] {
    let files: Vec<String> = (1..=parts).map(|k| format!("{}-{k}-of-{parts}", campaign[1])).collect();
    for (k, file) in files.iter().enumerate() {
        make_part(campaign, &format!("{}/{parts}", k + 1), file, at);
    }
    let files: Vec<&str> = files.iter().rev().map(String::as_str).collect();
    told(&[&["campaign", "merge"], &files[..]].concat(), at)
}

/// The text for people and that for machines.
fn told(args: &[&str], at: &Path) -> [String; 2] {
    [&[][..], &["--json"]].map(|style| {
        let (code, out, said) = run(&[style, args].concat(), at);
        assert!(matches!(code, 0 | 1) && !out.is_empty(), "{args:?}: {code} {out}{said}");
        format!("{out}\nends {code}")
    })
}

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("short.toml"), SHORT).unwrap();
    folder
}

#[test]
fn any_number_of_parts_gives_the_bytes_of_one_run_of_every_kind() {
    let folder = folder();
    let at = folder.path();
    for campaign in CAMPAIGNS {
        let whole = told(campaign, at);
        for parts in [1, 2, 7, 64] {
            assert!(merged(campaign, parts, at) == whole, "{campaign:?} in {parts} parts");
        }
    }
}

#[test]
fn pages_and_pictures_are_those_of_one_run() {
    let folder = folder();
    let at = folder.path();
    let [_, learn, guard, _] = CAMPAIGNS;
    for k in ["1/2", "2/2"] {
        make_part(learn, k, &format!("learn-{}", &k[..1]), at);
        make_part(guard, k, &format!("guard-{}", &k[..1]), at);
    }
    run(&[learn, &["--picture", "whole.svg"]].concat(), at);
    run(&["campaign", "merge", "learn-1", "learn-2", "--picture", "merged.svg"], at);
    assert_eq!(fs::read(at.join("whole.svg")).unwrap(), fs::read(at.join("merged.svg")).unwrap());
    run(&[guard, &["--out", "whole"]].concat(), at);
    run(&["campaign", "merge", "guard-1", "guard-2", "--out", "merged"], at);
    for file in ["verdict.json", "guard.csv", "guard.html"] {
        let read = |folder: &str| fs::read(at.join(folder).join(file)).unwrap();
        assert!(read("whole") == read("merged"), "{file}");
    }
}

#[test]
fn every_run_is_a_row_of_the_same_bytes_on_any_number_of_threads_and_parts() {
    let folder = folder();
    let at = folder.path();
    let [short, ..] = CAMPAIGNS;
    for threads in ["1", "3"] {
        run(&[short, &["--threads", threads, "--out", &format!("on-{threads}")]].concat(), at);
    }
    for k in ["1/2", "2/2"] {
        make_part(&[short, &["--keep-runs"]].concat(), k, &format!("part-{}", &k[..1]), at);
    }
    let (code, _, said) = run(&["campaign", "merge", "part-2", "part-1", "--out", "merged"], at);
    assert_eq!(code, 0, "{said}");
    for file in ["campaign.html", "campaign.json", "runs.csv"] {
        let read = |folder: &str| fs::read(at.join(folder).join(file)).unwrap();
        assert!(read("on-1") == read("on-3") && read("on-1") == read("merged"), "{file}");
    }
    rows_agree_with_the_table(&at.join("on-1"));
    let page = fs::read_to_string(at.join("on-1/campaign.html")).unwrap();
    assert!(["<svg", "invented", "pinch", "Peak boost"].iter().all(|word| page.contains(word)), "{page}");
    // What is not ours stays, and parts without their runs give the page alone.
    fs::write(at.join("on-1/mine.txt"), "mine").unwrap();
    let (code, _, said) = run(&[short, &["--out", "on-1"]].concat(), at);
    assert!(code == 2 && said.contains("mine.txt"), "{code} {said}");
    make_part(short, "1/1", "whole", at);
    let (code, _, said) = run(&["campaign", "merge", "whole", "--out", "alone"], at);
    assert!(code == 0 && said.contains("--keep-runs"), "{code} {said}");
    assert!(at.join("alone/campaign.html").exists() && !at.join("alone/runs.csv").exists());
    let (code, _, said) = run(&["campaign", "short.toml", "--runs", "50001", "--out", "many"], at);
    assert!(code == 2 && said.contains("allowed: up to 50000") && !at.join("many").exists(), "{code} {said}");
}

/// RFC 4180 as the crate csv reads it, and the extremes and the worst run that the statistics name.
fn rows_agree_with_the_table(dir: &Path) {
    let text = fs::read_to_string(dir.join("runs.csv")).unwrap();
    assert_eq!(text.matches("\r\n").count(), 91);
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let head: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert!(rows.iter().enumerate().all(|(run, row)| row[0] == run.to_string() && row[1] == *"yes"));
    let told: serde_json::Value =
        serde_json::from_slice(&fs::read(dir.join("campaign.json")).unwrap()).unwrap();
    let metrics = told["metrics"].as_array().unwrap();
    assert!(metrics.len() > 10);
    for metric in metrics.iter().filter(|metric| metric["unit"] != "-") {
        let name = format!("{} [{}]", metric["name"].as_str().unwrap(), metric["unit"].as_str().unwrap());
        let column =
            head.iter().position(|head| *head == name).unwrap_or_else(|| panic!("no {name}: {head:?}"));
        let values: Vec<f64> = rows.iter().filter_map(|row| row[column].parse().ok()).collect();
        assert_eq!(values.len() as u64, metric["runs"].as_u64().unwrap(), "{name}");
        let (most, worst) = (metric["most"].as_f64().unwrap(), &metric["worst"][0]);
        let shown = rows[worst["run"].as_u64().unwrap() as usize][column].parse::<f64>().unwrap();
        // To half of the smallest step that is shown.
        let step = if metric["unit"] == "rpm" { 10.0 } else { 0.1 };
        let highest = values.iter().copied().fold(f64::MIN, f64::max);
        assert!((highest - most).abs() <= step / 2.0 && (shown - most).abs() <= step / 2.0, "{name}: {most}");
    }
}

#[test]
#[cfg(unix)]
fn parts_that_were_killed_go_on_and_merge_to_the_same_bytes() {
    const MOST_TRIES: usize = 40;
    let folder = folder();
    let at = folder.path();
    let campaign = ["campaign", "short.toml", "--runs", "6000", "--seed", "3"];
    let mut kills = 0;
    for part in ["1/2", "2/2"] {
        let file = &part[..1];
        let args = [&campaign[..], &["--part", part, "--out", file, "--threads", "1"]].concat();
        for tried in 0..MOST_TRIES {
            let mut child = command(&args, at).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
            // Later each time, so that every life gets on: the first save comes at once, the next after a second.
            std::thread::sleep(Duration::from_millis(300 * (tried as u64 + 1)));
            if child.try_wait().unwrap().is_some() {
                break;
            }
            child.kill().unwrap();
            child.wait().unwrap();
            kills += 1;
        }
        make_part(&campaign, part, file, at);
    }
    assert!(kills >= 2, "only {kills} lives were cut short");
    assert!(told(&["campaign", "merge", "1", "2"], at) == told(&campaign, at));
}

/// What `merge` says to files that must not be merged.
fn refusal(files: &[&str], at: &Path) -> String {
    let (code, out, said) = run(&[&["campaign", "merge"], files].concat(), at);
    assert!(code == 2 && out.is_empty(), "{files:?}: {code} {out}{said}");
    said
}

#[test]
fn parts_of_different_campaigns_are_refused_by_what_differs() {
    let folder = folder();
    let at = folder.path();
    fs::write(at.join("c.toml"), "[slew]\nnormal_per_s = 3.1\n").unwrap();
    fs::write(at.join("s.toml"), "supply_v = { fixed = 12.0 }\n").unwrap();
    let campaign = ["campaign", "short.toml", "--runs", "8", "--seed", "3"];
    make_part(&campaign, "1/2", "a", at);
    let others: [(&[&str], &str); 5] = [
        (&["campaign", "short.toml", "--runs", "8", "--seed", "4"], "seed is 4 here and 3 in a"),
        (&["campaign", "short.toml", "--runs", "9", "--seed", "3"], "number of runs is 9 here and 8 in a"),
        (
            &["campaign", "boost-step", "--runs", "8", "--seed", "3"],
            "scenario is boost-step here and short in a",
        ),
        (&[&campaign[..], &["--with", "c.toml"]].concat(), "sum of the settings is "),
        (&[&campaign[..], &["--spread", "s.toml"]].concat(), "sum of the spread is "),
    ];
    for (other, reason) in others {
        let _ = fs::remove_file(at.join("b"));
        make_part(other, "2/2", "b", at);
        let said = refusal(&["a", "b"], at);
        assert!(said.contains("b: ") && said.contains(reason), "{other:?}: {said}");
    }
    let _ = fs::remove_file(at.join("b"));
    make_part(CAMPAIGNS[3], "2/2", "b", at);
    let said = refusal(&["a", "b"], at);
    assert!(said.contains("kind of campaign is gauge here and scenario in a"), "{said}");
    // The scenario has the same name and another content.
    fs::write(at.join("short.toml"), SHORT.replace("150", "151")).unwrap();
    fs::remove_file(at.join("b")).unwrap();
    make_part(&campaign, "2/2", "b", at);
    let said = refusal(&["a", "b"], at);
    assert!(said.contains("content of the scenario is "), "{said}");
}

#[test]
fn parts_that_overlap_miss_are_unfinished_or_changed_are_refused() {
    let folder = folder();
    let at = folder.path();
    let campaign = ["campaign", "short.toml", "--runs", "12", "--seed", "3"];
    for (part, file) in [("1/3", "a"), ("2/3", "b"), ("3/3", "c"), ("1/2", "half")] {
        make_part(&campaign, part, file, at);
    }
    told(&["campaign", "merge", "c", "a", "b"], at);
    for (files, reasons) in [
        (&["a", "c"][..], ["runs 4 to 7 are missing from the files", "part 2/3"]),
        (&["b", "c"], ["runs 0 to 3 are missing", "part 1/3"]),
        (&["a", "b"], ["runs 8 to 11 are missing", "part 3/3"]),
        (&["a", "b", "c", "b"], ["b: part 2/3 and b hold the same runs", "once"]),
        (&["half", "b", "c"], ["b: part 2/3 and half hold the same runs, from 4", "once"]),
        (&["a", "b", "none"], ["none: ", "no such file"]),
        (&["a", "b", "short.toml"], ["short.toml: ", "holds no campaign"]),
    ] {
        let said = refusal(files, at);
        assert!(reasons.iter().all(|reason| said.contains(reason)), "{files:?}: {said}");
    }
    let kept = fs::read_to_string(at.join("c")).unwrap();
    let (line, _) = kept.split_once('\n').unwrap();
    fs::write(at.join("c"), kept.replacen("\"done\":4", "\"done\":3", 1)).unwrap();
    let said = refusal(&["a", "b", "c"], at);
    assert!(said.contains("c: was changed after it was saved"), "{said}");
    // The same change with a sum that fits it: what an interrupted part looks like.
    let sealed = |line: &str| format!("{line}\n{:x}\n", Sha256::digest(line));
    fs::write(at.join("c"), sealed(&line.replacen("\"done\":4", "\"done\":3", 1))).unwrap();
    let said = refusal(&["a", "b", "c"], at);
    assert!(said.contains("c: part 3/3 is not finished: 3 of 4 runs are done. Repeat its command"), "{said}");
    // And what a part of other code looks like.
    let version = concat!("[\"program\",\"", env!("CARGO_PKG_VERSION"), " ");
    fs::write(at.join("c"), sealed(&line.replacen(version, "[\"program\",\"0.0.1 ", 1))).unwrap();
    let said = refusal(&["a", "b", "c"], at);
    assert!(said.contains("c: belongs to another campaign than a: program is 0.0.1 "), "{said}");
}

#[test]
fn a_command_line_that_cannot_be_says_what_can() {
    let folder = folder();
    let at = folder.path();
    for (args, allowed) in [
        (&["campaign", "short.toml", "--part", "3/2", "--out", "x"][..], "K from 1 to N"),
        (&["campaign", "short.toml", "--part", "1/2"], "--out"),
        (
            &["campaign", "guard", "--ablate", "--part", "1/2", "--out", "x"],
            "a part does not keep what --ablate",
        ),
        (
            &["campaign", "learn", "--ablate", "--part", "1/2", "--out", "x"],
            "Make the parts without --ablate",
        ),
        (&["campaign", "learn", "--two-faults", "9", "--part", "1/2", "--out", "x"], "without --two-faults"),
        (&["campaign", "gauge", "--out", "x"], "Give --part K/N with it"),
        (&["campaign", "gauge", "--units", "0"], "allowed: whole numbers from 2 to 10"),
        (&["campaign", "merge"], "FILE"),
    ] {
        let (code, _, said) = run(args, at);
        assert!(code == 2 && said.contains(allowed), "{args:?}: {code} {said}");
    }
    make_part(&["campaign", "short.toml", "--runs", "2"], "1/1", "x", at);
    let (code, _, said) = run(&["campaign", "merge", "x", "--picture", "p.svg"], at);
    assert!(code == 2 && said.contains("a scenario campaign draws no picture"), "{said}");
}

/// 80 columns and no more, the verdict at the top and again at the end.
#[test]
fn guard_and_gauge_are_told_for_people() {
    let folder = folder();
    let at = folder.path();
    for (campaign, verdict) in [(CAMPAIGNS[2], "LIMITS: "), (CAMPAIGNS[3], "the spread of learns takes")] {
        let out = run(campaign, at).1;
        let lines: Vec<&str> = out.lines().collect();
        let wide: Vec<&&str> = lines.iter().filter(|line| line.chars().count() > 80).collect();
        assert!(wide.is_empty(), "{wide:?}");
        assert!(lines[0].contains(verdict), "{out}");
        assert!(out.trim_end().ends_with(lines[0]), "{out}");
    }
}
