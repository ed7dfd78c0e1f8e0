//! One check for each defect that was found in the tool and that a command can show: B of the bench and its records,
//! L of the link. Prints row, what is asked and how it ended.
//!
//! `VANEBENCH=path cargo test -p vanebench --test rows -- --nocapture` checks any other build; one that speaks another
//! protocol version than this source fails the rows that need a line.
//!
//! A row that is known to be open is printed and fails nothing, until it holds: then it comes off [`OPEN`].
#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

mod hostile;

use std::fs;
use std::io::Read;
use std::os::unix::fs::FileTypeExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use hostile::runs::{
    Bench, Ran, Verb, Verdict, binary, first_tick, last_tick, rows, unmarked, write_criteria,
};
use hostile::watched::Watched;
use hostile::{Disguise, Mishap, Trouble};
use nix::sys::signal::{Signal, kill};
use nix::sys::stat::Mode;
use nix::unistd::{Pid, mkfifo};
use virtual_rig::pty::Pty;
use virtual_rig::runner::RunningRig;

/// Nothing that a row asks takes longer.
const PATIENCE: Duration = Duration::from_secs(60);

/// A row: its name, what is asked, and the check, which says what was seen where it fails.
type Row = (&'static str, &'static str, fn() -> Result<(), String>);

const ROWS: [Row; 37] = [
    ("B1", "after a refused learn an older calibration moves nothing", b1),
    ("B1b", "a sweep on a calibration that is not proven is refused", b1_not_proven),
    ("B2", "a blocked unit's sweep ends itself and is told", b2),
    ("B3", "runs from before a new learn do not count", b3),
    ("B4", "another profile of the same name changes no verdict", b4),
    ("B5", "runs of another unit do not count", b5),
    ("B6", "an edited calibration moves nothing", b6),
    ("B7", "a complete run without sums is refused", b7),
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

/// How a call of the tool ended.
struct Said {
    code: Option<i32>,
    out: String,
    err: String,
}

impl Said {
    fn must(&self, holds: bool, seen: &str) -> Result<(), String> {
        if holds { Ok(()) } else { Err(format!("{seen}; exit {:?}, it said: {}", self.code, self.last())) }
    }

    fn must_end(&self, code: i32, seen: &str) -> Result<(), String> {
        self.must(self.code == Some(code), seen)
    }

    fn last(&self) -> String {
        let mut lines = self.err.lines().chain(self.out.lines());
        lines.rfind(|line| !line.starts_with("CAUTION") && !line.is_empty()).unwrap_or_default().to_owned()
    }
}

fn tool(folder: &Path, args: &[&str]) -> Said {
    let mut command = Command::new(binary());
    command.args(args).current_dir(folder).stdin(Stdio::null());
    within(command, PATIENCE)
}

/// Runs a command, at most so long; one that does not end is killed and has no exit code.
fn within(mut command: Command, patience: Duration) -> Said {
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let collect = |mut stream: Box<dyn Read + Send>| {
        thread::spawn(move || {
            let mut bytes = Vec::new();
            stream.read_to_end(&mut bytes).unwrap();
            String::from_utf8_lossy(&bytes).into_owned()
        })
    };
    let out = collect(Box::new(child.stdout.take().unwrap()));
    let err = collect(Box::new(child.stderr.take().unwrap()));
    let began = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if began.elapsed() > patience {
            child.kill().unwrap();
        }
        thread::sleep(Duration::from_millis(5));
    }
    Said { code: child.wait().unwrap().code(), out: out.join().unwrap(), err: err.join().unwrap() }
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

fn on_unit(folder: &Path, verb: &str, case: &str, unit: &str, more: &[&str]) -> Said {
    let port = format!("virtual:{case}");
    tool(folder, &[&[verb, "--port", &port, "--unit", unit], more].concat())
}

/// Learn, sweep, friction and step of a sound unit.
fn whole_job(folder: &Path, unit: &str, more: &[&str]) -> Result<(), String> {
    for verb in ["learn", "sweep", "friction", "step"] {
        let said = on_unit(folder, verb, "healthy", unit, more);
        said.must(said.code == Some(0), &format!("{verb} of a sound unit"))?;
    }
    Ok(())
}

fn runs(folder: &Path, unit: &str, ending: &str) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(folder.join("units").join(unit)) else { return Vec::new() };
    let mut dirs: Vec<PathBuf> = entries
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.is_dir() && path.to_string_lossy().ends_with(ending))
        .collect();
    dirs.sort();
    dirs
}

/// Ticks of the last run of a kind; 0 where there is none.
fn ticks(folder: &Path, unit: &str, kind: &str) -> u32 {
    let newest = runs(folder, unit, kind).pop();
    newest.and_then(|dir| last_tick(&rows(&dir.join("samples.csv")))).unwrap_or(0)
}

fn b1() -> Result<(), String> {
    let at = folder();
    let said = on_unit(at.path(), "learn", "healthy", "U1", &[]);
    said.must(said.code == Some(0), "learn of a sound unit")?;
    let said = on_unit(at.path(), "learn", "closed-stop-missing", "U1", &[]);
    said.must(said.code == Some(1), "learn without a closed stop")?;
    let said = on_unit(at.path(), "step", "closed-stop-missing", "U1", &[]);
    said.must(said.code != Some(0) && ticks(at.path(), "U1", "step") == 0, "it stepped")
}

fn b1_not_proven() -> Result<(), String> {
    let at = folder();
    let said = on_unit(at.path(), "learn", "broken-vane-pin", "U1", &[]);
    said.must(said.code == Some(3), "learn that is not proven")?;
    let said = on_unit(at.path(), "sweep", "broken-vane-pin", "U1", &[]);
    said.must(said.code != Some(0) && ticks(at.path(), "U1", "sweep") == 0, "it swept")
}

fn b2() -> Result<(), String> {
    /// A sweep takes 87 s; the lever meets the block within its first cycle.
    const FIRST_CYCLE_TICKS: u32 = 30_000;
    let at = folder();
    let said = on_unit(at.path(), "learn", "healthy", "U1", &[]);
    said.must(said.code == Some(0), "learn of a sound unit")?;
    let said = on_unit(at.path(), "sweep", "blocked-travel", "U1", &[]);
    let moved = ticks(at.path(), "U1", "sweep");
    said.must(said.code == Some(1) && moved < FIRST_CYCLE_TICKS, &format!("it moved for {moved} ms"))
}

fn b3() -> Result<(), String> {
    let at = folder();
    whole_job(at.path(), "U1", &[])?;
    let said = on_unit(at.path(), "learn", "healthy", "U1", &["--seed", "2"]);
    said.must(said.code == Some(0), "the second learn")?;
    let said = tool(at.path(), &["judge", "units/U1"]);
    said.must(said.code == Some(3), "judged on runs of two calibrations")
}

fn b4() -> Result<(), String> {
    let at = folder();
    write_criteria(at.path());
    let own = ["--profile", "own.toml", "--limits", "own.limits.toml"];
    whole_job(at.path(), "U1", &own)?;
    let then = tool(at.path(), &[&["judge", "units/U1"][..], &own].concat());
    let profile = fs::read_to_string(at.path().join("own.toml")).unwrap();
    fs::write(at.path().join("own.toml"), profile.replace("settled = 0.005", "settled = 0.05")).unwrap();
    let now = tool(at.path(), &[&["judge", "units/U1"][..], &own].concat());
    now.must(now.out == then.out || matches!(now.code, Some(2 | 3)), "judged under other bands")
}

fn b5() -> Result<(), String> {
    let at = folder();
    whole_job(at.path(), "U1", &[])?;
    let said = on_unit(at.path(), "learn", "healthy", "U2", &["--seed", "2"]);
    said.must(said.code == Some(0), "learn of the second unit")?;
    for kind in ["sweep", "friction", "step"] {
        let from = runs(at.path(), "U1", kind).remove(0);
        let to = at.path().join("units/U2").join(from.file_name().unwrap());
        fs::create_dir(&to).unwrap();
        for file in fs::read_dir(&from).unwrap().map(Result::unwrap) {
            fs::copy(file.path(), to.join(file.file_name())).unwrap();
        }
    }
    let said = tool(at.path(), &["judge", "units/U2"]);
    said.must(said.code != Some(0), "judged on another unit's runs")
}

fn b6() -> Result<(), String> {
    let at = folder();
    let said = on_unit(at.path(), "learn", "healthy", "U1", &[]);
    said.must(said.code == Some(0), "learn of a sound unit")?;
    let learned = calibration(&runs(at.path(), "U1", "learn")[0]);
    for entry in fs::read_dir(at.path().join("units/U1")).unwrap().map(|entry| entry.unwrap().path()) {
        if entry.is_file() {
            let text = fs::read_to_string(&entry).unwrap();
            fs::write(&entry, text.replace("zero_push_counts = 13333", "zero_push_counts = 13633")).unwrap();
        }
    }
    let said = on_unit(at.path(), "sweep", "healthy", "U1", &[]);
    let used = runs(at.path(), "U1", "sweep").first().map(|dir| calibration(dir));
    said.must(said.code != Some(0) || used == Some(learned), "it swept on the edited stop")
}

fn calibration(run: &Path) -> Option<toml::Value> {
    let file: toml::Value = toml::from_str(&fs::read_to_string(run.join("run.toml")).ok()?).ok()?;
    file.get("outcome")?.get("calibration").cloned()
}

fn b7() -> Result<(), String> {
    let at = folder();
    whole_job(at.path(), "U1", &[])?;
    let step = runs(at.path(), "U1", "step").remove(0);
    let run = fs::read_to_string(step.join("run.toml")).unwrap();
    let (before, after) = run.split_once("[sums]").ok_or("no [sums]")?;
    let after = after.split_once("\n[").map_or(String::new(), |(_, rest)| format!("[{rest}"));
    fs::write(step.join("run.toml"), format!("{before}{after}")).unwrap();
    let samples = fs::read_to_string(step.join("samples.csv")).unwrap();
    fs::write(
        step.join("samples.csv"),
        samples.replacen(",motion,", ",motion ,", 1).replace(",motion ,", ",motion,"),
    )
    .unwrap();
    let said = tool(at.path(), &["judge", "units/U1"]);
    said.must(said.code != Some(0), "judged without sums")
}

fn b8() -> Result<(), String> {
    let at = folder();
    let kept = at.path().join("units/real/0001-learn/run.toml");
    fs::create_dir_all(kept.parent().unwrap()).unwrap();
    fs::write(&kept, "a record").unwrap();
    let said = tool(at.path(), &["demo", "--out", "."]);
    said.must(fs::read_to_string(&kept).is_ok_and(|text| text == "a record"), "the record is gone")
}

fn b9() -> Result<(), String> {
    let at = folder();
    let renamed = |text: &str| text.replacen("name = \"bench-actuator-a\"", "name = \"mine\"", 1);
    fs::write(at.path().join("mine.toml"), renamed(vanebench::actuator::DEMO.profile_text)).unwrap();
    fs::write(at.path().join("mine.limits.toml"), renamed(vanebench::actuator::DEMO.limits_text)).unwrap();
    let args = ["learn", "--port", "/dev/no-such-port", "--unit", "U1", "--hands-clear"];
    let said =
        tool(at.path(), &[&args[..], &["--profile", "mine.toml", "--limits", "mine.limits.toml"]].concat());
    said.must(said.code == Some(2) && said.err.contains("nvented"), "the invention was taken")
}

fn b10() -> Result<(), String> {
    let at = folder();
    whole_job(at.path(), "U1", &[])?;
    let mut sweep = Command::new(binary());
    sweep.args(["sweep", "--port", "virtual:healthy,paced", "--unit", "U1"]).current_dir(at.path());
    let mut sweep = sweep.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    thread::sleep(Duration::from_millis(1500));
    kill(Pid::from_raw(sweep.id().cast_signed()), Signal::SIGINT).unwrap();
    sweep.wait().unwrap();
    let newest = runs(at.path(), "U1", "sweep").pop().unwrap();
    let said = tool(at.path(), &["judge", "units/U1"]);
    let names_it = said.out.contains(&*newest.file_name().unwrap().to_string_lossy());
    said.must(said.code == Some(0) && names_it, "the interrupted sweep undoes the older one or is not shown")
}

fn b10_question() -> Result<(), String> {
    let at = folder();
    let terminal = Pty::open().unwrap();
    let device = fs::File::options().read(true).write(true).open(terminal.path()).unwrap();
    let mut learn = Command::new(binary());
    learn.args(["learn", "--port", "/dev/no-such-port", "--unit", "U1"]).args(write_criteria(at.path()));
    let mut learn = learn.current_dir(at.path()).stdin(device).stderr(Stdio::null()).spawn().unwrap();
    thread::sleep(Duration::from_millis(800));
    if learn.try_wait().unwrap().is_some() {
        return Err("it did not ask".into());
    }
    let asked_at = Instant::now();
    kill(Pid::from_raw(learn.id().cast_signed()), Signal::SIGINT).unwrap();
    while learn.try_wait().unwrap().is_none() && asked_at.elapsed() < Duration::from_secs(1) {
        thread::sleep(Duration::from_millis(5));
    }
    let code = learn.try_wait().unwrap().map(|status| status.code());
    let _gone = learn.kill();
    learn.wait().unwrap();
    if code == Some(Some(130)) { Ok(()) } else { Err(format!("ended with {code:?}")) }
}

fn b11() -> Result<(), String> {
    let at = folder();
    let (rig, seen) = Watched::new(1);
    let rig = RunningRig::start(rig).unwrap();
    let criteria = write_criteria(at.path());
    let command = || {
        let mut learn = Command::new(binary());
        learn.args(["learn", "--unit", "U1", "--hands-clear", "--checked", "all", "--port"]).arg(rig.path());
        learn.args(&criteria).current_dir(at.path()).stdin(Stdio::null());
        learn
    };
    let mut first = command().stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let began = Instant::now();
    while !seen.lock().unwrap().is_driven {
        if began.elapsed() > Duration::from_secs(5) {
            first.kill().unwrap();
            first.wait().unwrap();
            return Err("the first learn never drove".into());
        }
        thread::sleep(Duration::from_millis(5));
    }
    first.kill().unwrap();
    first.wait().unwrap();
    let said = within(command(), PATIENCE);
    said.must(said.code == Some(0), "the restart failed")
}

fn b12() -> Result<(), String> {
    let at = folder();
    whole_job(at.path(), "U1", &[])?;
    let before = contents(&at.path().join("units"));
    let said = tool(at.path(), &["judge", "units/U1"]);
    said.must(said.code == Some(0), "judge of a sound unit")?;
    let said = tool(at.path(), &["report", "units/U1", "--out", "elsewhere.html"]);
    said.must(said.code == Some(0), "report of a sound unit")?;
    let after = contents(&at.path().join("units"));
    said.must(before == after, &format!("{} files before, {} after", before.len(), after.len()))
}

fn contents(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut found = Vec::new();
    for path in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
        if path.is_dir() {
            found.extend(contents(&path));
        } else {
            let bytes = fs::read(&path).unwrap();
            found.push((path, bytes));
        }
    }
    found.sort();
    found
}

fn b13() -> Result<(), String> {
    // Releases before this one ask for two more fields, which they do not use.
    let older = "travel_deg = 70.0\ngear = \"back-drives\"\nrest_without_power = \"open\"";
    let base = [
        vanebench::actuator::DEMO.profile_text.to_owned(),
        vanebench::actuator::DEMO.profile_text.replace("travel_deg = 70.0", older),
    ];
    let learn = |profile: &str| {
        let at = folder();
        fs::write(at.path().join("odd.toml"), profile).unwrap();
        on_unit(at.path(), "learn", "healthy", "U1", &["--profile", "odd.toml"])
    };
    let base = base.iter().find(|profile| learn(profile).code == Some(0)).ok_or("no profile is taken")?;
    for (from, to) in [
        ("nominal_span_counts = 10700.0", "nominal_span_counts = 3000.0"),
        ("max_current = 4.0", "max_current = 0.5"),
    ] {
        learn(&base.replace(from, to)).must_end(2, to)?;
    }
    Ok(())
}

fn b14() -> Result<(), String> {
    let at = folder();
    let said = on_unit(at.path(), "learn", "broken-vane-pin", "U1", &[]);
    said.must(said.code == Some(3) && said.out.contains("vanes-follow"), "the word is not named")?;
    let said = tool(at.path(), &["learn", "--help"]);
    said.must(said.out.contains("vanes-follow"), "the help does not list the words")
}

fn b15() -> Result<(), String> {
    let at = folder();
    for unit in ["SN-0815", "sn-0815"] {
        let _either_way = on_unit(at.path(), "learn", "healthy", unit, &[]);
    }
    let units = fs::read_dir(at.path().join("units")).map_or(0, Iterator::count);
    if units == 1 { Ok(()) } else { Err(format!("{units} units")) }
}

fn b14_confirm() -> Result<(), String> {
    let at = folder();
    let learned = on_unit(at.path(), "learn", "rod-off-inside-stops", "U1", &[]);
    learned.must_end(3, "a learn that is not proven")?;
    let runs = contents(&at.path().join("units/U1")).len();
    let words = ["--checked", "lever-attached", "--by", "A", "--with", "eye"];
    let said = tool(at.path(), &[&["unit", "confirm", "units/U1"], &words[..]].concat());
    said.must_end(0, "unit confirm")?;
    let added = contents(&at.path().join("units/U1")).len() - runs;
    said.must(added == 1, &format!("{added} files more"))?;
    on_unit(at.path(), "step", "rod-off-inside-stops", "U1", &[]).must_end(0, "a step on what was confirmed")
}

fn b16() -> Result<(), String> {
    let at = folder();
    whole_job(at.path(), "U1", &[])?;
    let runs = fs::read_dir(at.path().join("units/U1")).unwrap().map(|entry| entry.unwrap().path());
    let step = runs.filter(|path| path.to_string_lossy().ends_with("-step")).max().ok_or("no step run")?;
    let said = tool(at.path(), &["tune", &step.display().to_string(), "--out", "tuned.toml"]);
    said.must_end(0, "tune")?;
    let read = |text: &str| text.parse::<toml::Table>().unwrap();
    let tuned = read(&fs::read_to_string(at.path().join("tuned.toml")).unwrap());
    let mut profile =
        read(&fs::read_to_string(step.join("profile.toml")).map_err(|error| error.to_string())?);
    let before = profile["settings"]["actuator"].clone();
    merge(&mut profile, &tuned);
    said.must(profile.get("settings").is_some_and(|s| s["actuator"] == before), "it changes the actuator")?;
    fs::write(at.path().join("merged.toml"), toml::to_string(&profile).unwrap()).unwrap();
    on_unit(at.path(), "learn", "healthy", "U2", &["--profile", "merged.toml"])
        .must_end(0, "a learn under it")
}

/// Puts the values of `from` in the place of those in `into`.
fn merge(into: &mut toml::Table, from: &toml::Table) {
    for (key, value) in from {
        match (into.get_mut(key), value) {
            (Some(toml::Value::Table(inner)), toml::Value::Table(from)) => merge(inner, from),
            _ => drop(into.insert(key.clone(), value.clone())),
        }
    }
}

fn b17() -> Result<(), String> {
    let at = folder();
    whole_job(at.path(), "U1", &[])?;
    let sheet = "[lever_play]\nas_found = \"0.2\"\n";
    fs::write(at.path().join("units/U1/sheet.toml"), sheet).unwrap();
    let said = tool(at.path(), &["report", "units/U1", "--out", "report.html"]);
    said.must(at.path().join("report.html").exists() && said.code != Some(2), "no report")
}

fn b17_template() -> Result<(), String> {
    let at = folder();
    whole_job(at.path(), "U1", &[])?;
    tool(at.path(), &["sheet", "new", "units/U1"]).must_end(0, "sheet new")?;
    let sheet = at.path().join("units/U1/sheet.toml");
    let text = fs::read_to_string(&sheet).unwrap();
    tool(at.path(), &["sheet", "new", "units/U1"]).must_end(2, "a second one")?;
    let said = tool(at.path(), &["report", "units/U1"]);
    said.must(
        fs::read_to_string(&sheet).unwrap() == text && said.code == Some(0),
        "a report with an empty sheet",
    )
}

fn u4() -> Result<(), String> {
    let said = tool(folder().path(), &["judge", "--json"]);
    let document: serde_json::Value = serde_json::from_str(&said.out).unwrap_or_default();
    said.must(document["kind"] == "error" && document["version"] == 1, &format!("it printed {:?}", said.out))
}

fn b18() -> Result<(), String> {
    let at = folder();
    whole_job(at.path(), "U1", &[])?;
    fs::write(at.path().join("target.html"), "old").unwrap();
    std::os::unix::fs::symlink("target.html", at.path().join("link.html")).unwrap();
    let said = tool(at.path(), &["report", "units/U1", "--out", "link.html"]);
    let is_link = at.path().join("link.html").is_symlink();
    let is_written = fs::read_to_string(at.path().join("target.html")).unwrap().contains("<html");
    said.must(is_link && (is_written || said.code != Some(0)), "the link was replaced")?;
    let pipe = at.path().join("pipe");
    mkfifo(&pipe, Mode::S_IRWXU).unwrap();
    // Held open at both ends, so that neither side waits for the other.
    let _open = fs::File::options().read(true).write(true).open(&pipe).unwrap();
    let mut command = Command::new(binary());
    command.args(["report", "units/U1", "--out", "pipe"]).current_dir(at.path());
    let said = within(command, Duration::from_secs(5));
    said.must(fs::symlink_metadata(&pipe).unwrap().file_type().is_fifo(), "the pipe was replaced")
}

fn b18_full() -> Result<(), String> {
    let at = folder();
    let full = fs::File::options().write(true).open("/dev/full").unwrap();
    let mut command = Command::new(binary());
    command.args(["ports", "--json"]).current_dir(at.path()).stdout(full).stderr(Stdio::null());
    let code = command.status().unwrap().code();
    if code == Some(3) { Ok(()) } else { Err(format!("exit {code:?}")) }
}

fn b18_together() -> Result<(), String> {
    let at = folder();
    whole_job(at.path(), "U1", &[])?;
    let report = || {
        let mut command = Command::new(binary());
        command.args(["report", "units/U1"]).current_dir(at.path());
        command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
    };
    for _ in 0..5 {
        let reports = [report(), report(), report(), report()];
        let codes = reports.map(|mut report| report.wait().unwrap().code());
        if codes != [Some(0); 4] {
            return Err(format!("exits {codes:?}"));
        }
    }
    Ok(())
}

fn b18_sigterm() -> Result<(), String> {
    let at = folder();
    let mut learn = Command::new(binary());
    learn.args(["learn", "--port", "virtual:healthy,paced", "--unit", "U1"]).current_dir(at.path());
    let mut learn = learn.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    thread::sleep(Duration::from_millis(1500));
    kill(Pid::from_raw(learn.id().cast_signed()), Signal::SIGTERM).unwrap();
    let code = learn.wait().unwrap().code();
    let closed = fs::read_to_string(at.path().join("units/U1/0001-learn/run.toml")).unwrap_or_default();
    let says_why = closed.contains("reason");
    if code == Some(130) && says_why { Ok(()) } else { Err(format!("exit {code:?}, closed: {says_why}")) }
}

fn b19() -> Result<(), String> {
    let at = folder();
    mkfifo(&at.path().join("pipe"), Mode::S_IRWXU).unwrap();
    for input in ["/dev/zero", "pipe"] {
        let mut command = Command::new("sh");
        let call = format!("ulimit -v 4000000; exec \"$0\" learn --port virtual --profile {input}");
        command.args(["-c", &call]).arg(binary()).current_dir(at.path()).stdin(Stdio::null());
        let said = within(command, Duration::from_secs(5));
        said.must(said.code == Some(2), input)?;
    }
    Ok(())
}

fn b19_control() -> Result<(), String> {
    let at = folder();
    let profile = vanebench::actuator::DEMO.profile_text.replacen("travel_deg", "\"\\u001b[2Jtravel\"", 1);
    fs::write(at.path().join("odd.toml"), profile).unwrap();
    let said = on_unit(at.path(), "learn", "healthy", "U1", &["--profile", "odd.toml"]);
    said.must(said.code == Some(2) && !said.err.contains('\u{1b}'), "an escape reached the terminal")
}

fn b19_names() -> Result<(), String> {
    let at = folder();
    let long = "x".repeat(300);
    for name in ["-x", "CON", &long] {
        let said = tool(at.path(), &["learn", "--port", "virtual", &format!("--unit={name}")]);
        said.must(said.code == Some(2), &name[..name.len().min(8)])?;
    }
    Ok(())
}

fn b19_tolerance() -> Result<(), String> {
    let at = folder();
    let sheets = concat!(env!("CARGO_MANIFEST_DIR"), "/../profiles/sheets");
    let ring = fs::read_to_string(format!("{sheets}/ring-a.toml")).unwrap();
    for tolerance in ["inf", "1e300"] {
        let odd = ring.replacen("tol_mm = 0.05", &format!("tol_mm = {tolerance}"), 1);
        fs::write(at.path().join("odd.toml"), odd).unwrap();
        let said = tool(at.path(), &["match", "odd.toml", &format!("{sheets}/ring-b.toml"), "--runs", "2"]);
        said.must(said.code == Some(2), tolerance)?;
    }
    Ok(())
}

/// A learn and a step of a sound unit, each under its trouble.
fn learn_and_step(learn: Trouble, step: Trouble) -> [Ran; 2] {
    let bench = Bench::new("healthy", 1, Some("all"));
    [bench.run(Verb::Learn, learn), bench.run(Verb::Step, step)]
}

fn trouble(mishap: Mishap, share: f64) -> Trouble {
    Trouble { mishap, share, seed: 1, disguise: Disguise::None }
}

fn must_be(ran: &Ran, verdict: Verdict) -> Result<(), String> {
    if ran.verdict == verdict {
        Ok(())
    } else {
        Err(format!("{:?} after {:?}: {}", ran.verdict, ran.took, ran.said))
    }
}

fn l1() -> Result<(), String> {
    let foreign = trouble(Mishap::Foreign, 0.05);
    let [learn, step] = learn_and_step(foreign, foreign);
    must_be(&learn, Verdict::Accepted)?;
    must_be(&step, Verdict::Accepted)?;
    whole_from_the_start(&step)
}

/// A step's record against the first tick of one on a clean line.
fn whole_from_the_start(step: &Ran) -> Result<(), String> {
    let [_, clean] = learn_and_step(Trouble::CLEAN, Trouble::CLEAN);
    let start = first_tick(&clean.rows).ok_or("a clean step has no samples")?;
    unmarked(&step.rows, start).map_or(Ok(()), Err)
}

fn l3() -> Result<(), String> {
    let [learn, step] = learn_and_step(Trouble::CLEAN, trouble(Mishap::LoseStart, 0.0));
    must_be(&learn, Verdict::Accepted)?;
    whole_from_the_start(&step)
}

fn l4() -> Result<(), String> {
    let bench = Bench::new("healthy", 1, Some("all"));
    must_be(&bench.run(Verb::Learn, Trouble::CLEAN), Verdict::Accepted)?;
    for verb in [Verb::Friction, Verb::Step] {
        let ran = bench.run(verb, trouble(Mishap::DropSamples, 0.3));
        match ran.judged {
            Some([Verdict::Undetermined, Verdict::Undetermined]) => {}
            judged => return Err(format!("{verb:?} with 30 % loss judged {judged:?}, {}", ran.said)),
        }
    }
    Ok(())
}

fn l5() -> Result<(), String> {
    let ran = Bench::new("healthy", 1, Some("all")).run(Verb::Learn, trouble(Mishap::LoseReleased, 0.0));
    must_be(&ran, Verdict::Accepted)?;
    let quick = ran.took < Duration::from_secs(5);
    if quick && ran.struck == 1 { Ok(()) } else { Err(format!("took {:?}, lost {}", ran.took, ran.struck)) }
}

fn l6() -> Result<(), String> {
    let ran = Bench::new("healthy", 1, Some("all")).run(Verb::Learn, trouble(Mishap::TickRate, 0.0));
    must_be(&ran, Verdict::Undetermined)?;
    if ran.said.contains("500") { Ok(()) } else { Err(format!("the rate is not named: {}", ran.said)) }
}

fn l7() -> Result<(), String> {
    let bench = Bench::new("healthy", 1, Some("all"));
    must_be(&bench.run(Verb::Learn, Trouble::CLEAN), Verdict::Accepted)?;
    let ran = bench.run(Verb::Step, trouble(Mishap::DropSamples, 0.2));
    if !ran.said.contains("lost") {
        return Err("the console is silent".into());
    }
    let dir = bench.newest(Verb::Step).ok_or("no record")?;
    let run = fs::read_to_string(dir.join("run.toml")).unwrap();
    let missing: Vec<&str> =
        ["lost", "damaged", "cut", "overlong"].into_iter().filter(|word| !run.contains(word)).collect();
    if missing.is_empty() { Ok(()) } else { Err(format!("run.toml leaves out {missing:?}")) }
}

fn l10() -> Result<(), String> {
    let ran = Bench::new("healthy", 1, Some("all")).run(Verb::Learn, trouble(Mishap::EchoAlways, 0.0));
    must_be(&ran, Verdict::Undetermined)?;
    let says = ran.said.to_lowercase().contains("echo");
    let quick = ran.took < Duration::from_secs(3);
    if says && quick { Ok(()) } else { Err(format!("after {:?}: {}", ran.took, ran.said)) }
}
