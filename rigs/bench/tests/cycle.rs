//! `vanebench cycle`: counts survive the tool, motion does not; memory and record stay small; limits end it.
//!
//! Quick: 600 strokes. At length: `CYCLE_STROKES=10000 cargo test --release -p vanebench --test cycle -- --nocapture`.
#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use firmware_core::link::Pacing;
use study::catalogue;
use virtual_rig::rig::SimulatedRig;
use virtual_rig::runner::RunningRig;

/// Most bytes of an endurance of ten thousand strokes.
const MOST_BYTES: u64 = 50_000_000;
/// Memory may differ by so much between two looks, kB: buffers that fill.
const FLAT_KB: u64 = 3_000;

fn tool(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_vanebench"));
    command.current_dir(folder).args(arguments).stdin(Stdio::null());
    command
}

fn ran(folder: &Path, arguments: &[&str]) -> Output {
    tool(folder, arguments).output().unwrap()
}

fn learned() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let learn = ran(folder.path(), &["learn", "--port", "virtual:healthy", "--checked", "all"]);
    assert_eq!(learn.status.code(), Some(0));
    folder
}

fn text(said: &[u8]) -> String {
    String::from_utf8_lossy(said).into_owned()
}

/// Sample files of the cycle runs, oldest first.
fn sample_files(folder: &Path) -> Vec<PathBuf> {
    let runs = fs::read_dir(folder.join("units/healthy")).unwrap().map(|entry| entry.unwrap().path());
    let mut runs: Vec<PathBuf> = runs.filter(|path| path.to_string_lossy().ends_with("-cycle")).collect();
    runs.sort();
    runs.into_iter().map(|run| run.join("samples.csv")).collect()
}

/// Numbers of the strokes in a record.
fn strokes(samples: &Path) -> Vec<u32> {
    let text = fs::read_to_string(samples).unwrap_or_default();
    let whole =
        text.lines().filter_map(|line| line.split_once(",stroke ")?.1.split(' ').next()?.parse().ok());
    whole.collect()
}

fn resident_kb(child: &Child) -> Option<u64> {
    let status = fs::read_to_string(format!("/proc/{}/status", child.id())).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmRSS:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// Runs until the newest record holds so many strokes, then kills; gives the memory at a third of them and at the end, or
/// what the tool said when it ended by itself before.
fn killed_at(folder: &Path, arguments: &[&str], done: u32) -> Result<(u64, u64), String> {
    let said = folder.join("said.txt");
    let words = fs::File::create(&said).unwrap();
    let mut child = tool(folder, arguments).stdout(Stdio::null()).stderr(words).spawn().unwrap();
    let began = Instant::now();
    let (first, mut early) = (strokes_done(folder), 0);
    loop {
        assert!(began.elapsed() < Duration::from_secs(600), "it does not get to stroke {done}");
        if child.try_wait().unwrap().is_some() {
            return Err(fs::read_to_string(&said).unwrap());
        }
        let now = strokes_done(folder);
        if early == 0 && now > first + (done - first) / 3 {
            early = resident_kb(&child).unwrap();
        }
        if now >= done {
            let late = resident_kb(&child).unwrap();
            child.kill().unwrap();
            child.wait().unwrap();
            return Ok((early, late));
        }
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn strokes_done(folder: &Path) -> u32 {
    sample_files(folder).iter().rev().find_map(|file| strokes(file).last().copied()).unwrap_or(0)
}

#[test]
fn an_endurance_that_is_killed_twice_keeps_its_count_in_flat_memory_and_a_small_record() {
    let wanted: u32 = std::env::var("CYCLE_STROKES").map_or(600, |many| many.parse().unwrap());
    let folder = learned();
    let many = wanted.to_string();
    let line = ["cycle", "--port", "virtual:healthy", "--strokes", &many, "--keep-every", "200"];
    for share in [3, 6] {
        let (early, late) = killed_at(folder.path(), &line, wanted * share / 10).unwrap();
        println!("killed near stroke {}: {early} kB, then {late} kB", wanted * share / 10);
        assert!(late < early + FLAT_KB, "{early} kB, then {late} kB");
    }
    let end = ran(folder.path(), &line);
    assert_eq!(end.status.code(), Some(0), "{}", text(&end.stderr));
    assert!(text(&end.stderr).contains("continues at stroke"), "{}", text(&end.stderr));
    assert!(text(&end.stdout).contains(&format!("{wanted} of {wanted} strokes")), "{}", text(&end.stdout));
    let files = sample_files(folder.path());
    assert_eq!(files.len(), 3);
    let all: Vec<u32> = files.iter().flat_map(|file| strokes(file)).collect();
    assert_eq!(all, (1..=wanted).collect::<Vec<_>>(), "every stroke once");
    let bytes: u64 = files.iter().map(|file| fs::metadata(file).unwrap().len()).sum();
    println!("{wanted} strokes in {bytes} bytes");
    assert!(bytes < MOST_BYTES);
    let history = text(&ran(folder.path(), &["unit", "history", "units/healthy"]).stdout);
    assert!(history.contains(&format!("{wanted} of {wanted} strokes")), "{history}");
    assert!(history.contains("friction 0."), "{history}");
    let report = ran(folder.path(), &["report", "units/healthy", "--out", "report.html"]);
    let page = fs::read_to_string(folder.path().join("report.html")).unwrap_or_default();
    assert!(page.contains("endurance") && page.contains("all strokes done"), "{}", text(&report.stderr));
    // A strokes' count that was reached is over: the same line begins anew.
    let again = ran(folder.path(), &["cycle", "--port", "virtual:healthy", "--strokes", "1"]);
    assert!(text(&again.stdout).contains("1 of 1 strokes"), "{}", text(&again.stdout));
}

#[test]
fn a_passed_limit_ends_it_with_the_reason_and_the_next_one_begins_anew() {
    let folder = learned();
    let own = fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../profiles/bench-actuator-a/limits.toml"),
    );
    let strict = own
        .unwrap()
        .replace("[limit.friction.largest] # A\nmax = 0.45", "[limit.friction.largest] # A\nmax = 0.2");
    fs::write(folder.path().join("strict.toml"), strict).unwrap();
    let line = ["cycle", "--port", "virtual:healthy", "--limits", "strict.toml", "--strokes", "50"];
    for run in ["0002-cycle", "0003-cycle"] {
        let ended = ran(folder.path(), &line);
        assert_eq!(ended.status.code(), Some(1), "{}", text(&ended.stderr));
        let said = text(&ended.stderr).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            said.contains(
                "stopped itself at stroke 3: friction 0.31 A in 3 strokes in a row; allowed: at most 0.2 A"
            ),
            "{said}"
        );
        assert_eq!(strokes(&folder.path().join("units/healthy").join(run).join("samples.csv")), [1, 2, 3]);
    }
    let history = text(&ran(folder.path(), &["unit", "history", "units/healthy"]).stdout);
    assert!(
        history.contains("3 of 50 strokes") && history.contains("ended: friction 0.31 A up to stroke 3"),
        "{history}"
    );
}

#[test]
fn another_goal_than_the_interrupted_one_is_refused_until_someone_says_anew() {
    let folder = learned();
    let line = |many| ["cycle", "--port", "virtual:healthy", "--strokes", many];
    killed_at(folder.path(), &line("5000"), 3).unwrap();
    let other = ran(folder.path(), &line("4"));
    assert_eq!(other.status.code(), Some(2));
    let said = text(&other.stderr).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("nothing moved. An endurance of 5000 strokes was cut short at"), "{said}");
    let anew = ran(folder.path(), &[&line("4")[..], &["--anew"]].concat());
    assert!(text(&anew.stdout).contains("4 of 4 strokes"), "{}", text(&anew.stdout));
    for goal in [
        &["--hours", "0"][..],
        &["--hours", "nan"],
        &["--strokes", "0"],
        &[],
        &["--hours", "1", "--strokes", "2"],
    ] {
        let refused = ran(folder.path(), &[&["cycle", "--port", "virtual:healthy"], goal].concat());
        assert_eq!(refused.status.code(), Some(2), "{goal:?}");
    }
    let never =
        ran(folder.path(), &["cycle", "--port", "virtual:healthy", "--unit", "new", "--strokes", "4"]);
    assert_eq!(never.status.code(), Some(2), "no calibration carries it");
}

/// A machine that runs other tests may leave the tool without time for longer than the board's lease.
const STARVED_STARTS: u32 = 5;

/// A unit's folder, its rig and the command line of an endurance that was killed after its first stroke.
fn interrupted() -> (tempfile::TempDir, RunningRig, Vec<String>) {
    let own = Path::new(env!("CARGO_MANIFEST_DIR")).join("../profiles/bench-actuator-a");
    let [profile, limits] = ["profile.toml", "limits.toml"].map(|name| own.join(name).display().to_string());
    let criteria = ["--profile", &profile, "--limits", &limits, "--unit", "healthy"];
    for _ in 0..STARVED_STARTS {
        let folder = tempfile::tempdir().unwrap();
        let learn = ["learn", "--port", "virtual:healthy", "--checked", "all"];
        let learn = ran(folder.path(), &[&learn[..], &criteria].concat());
        assert_eq!(learn.status.code(), Some(0), "{}", text(&learn.stderr));
        let case = catalogue::find("healthy").unwrap().unit(None);
        let rig = RunningRig::start(SimulatedRig::of_case(&case, 1, Pacing::Paced).unwrap()).unwrap();
        let port = rig.path().to_str().unwrap().to_owned();
        let line = [&["cycle", "--port", &port, "--strokes", "500", "--hands-clear"][..], &criteria].concat();
        match killed_at(folder.path(), &line, 1) {
            Ok(_) => return (folder, rig, line.into_iter().map(str::to_owned).collect()),
            Err(said) => assert!(said.contains("this computer is busy"), "{said}"),
        }
    }
    panic!("starved {STARVED_STARTS} times in a row");
}

/// On a real line nothing moves again by itself: `--hands-clear` stands for the planned start, not for the one after an
/// interruption.
#[test]
fn after_an_interruption_a_real_unit_moves_only_on_a_typed_yes() {
    let (folder, rig, line) = interrupted();
    let line: Vec<&str> = line.iter().map(String::as_str).collect();
    let again = ran(folder.path(), &line);
    assert_eq!(again.status.code(), Some(2), "{}", text(&again.stderr));
    let said = text(&again.stderr).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("It will move again.") && said.contains("nothing moved"), "{said}");
    assert_eq!(sample_files(folder.path()).len(), 1, "no second run was begun");
    // The board goes away: the tool ends undetermined, the count stays.
    let child =
        tool(folder.path(), &[&line[..], &["--anew"]].concat()).stderr(Stdio::piped()).spawn().unwrap();
    let began = Instant::now();
    while sample_files(folder.path()).get(1).is_none_or(|file| strokes(file).is_empty()) {
        assert!(began.elapsed() < Duration::from_secs(60), "no stroke");
        std::thread::sleep(Duration::from_millis(20));
    }
    drop(rig);
    let lost = child.wait_with_output().unwrap();
    assert_eq!(lost.status.code(), Some(3), "{}", text(&lost.stderr));
    let history = text(&ran(folder.path(), &["unit", "history", "units/healthy"]).stdout);
    let done = strokes_done(folder.path());
    assert!(done >= 1 && history.contains(&format!("{done} of 500 strokes")), "{history}");
}
