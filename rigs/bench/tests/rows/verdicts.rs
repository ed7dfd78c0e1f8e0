//! Rows about what may move a unit and what may reach a verdict.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::thread;
use std::time::Duration;

use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;

use super::hostile::runs::{binary, write_criteria};
use super::tool::{contents, folder, on_unit, runs, ticks, tool, whole_job};

pub(crate) fn b1() -> Result<(), String> {
    let at = folder();
    let said = on_unit(at.path(), "learn", "healthy", "U1", &[]);
    said.must(said.code == Some(0), "learn of a sound unit")?;
    let said = on_unit(at.path(), "learn", "closed-stop-missing", "U1", &[]);
    said.must(said.code == Some(1), "learn without a closed stop")?;
    let said = on_unit(at.path(), "step", "closed-stop-missing", "U1", &[]);
    said.must(said.code != Some(0) && ticks(at.path(), "U1", "step") == 0, "it stepped")
}

pub(crate) fn b1_not_proven() -> Result<(), String> {
    let at = folder();
    let said = on_unit(at.path(), "learn", "broken-vane-pin", "U1", &[]);
    said.must(said.code == Some(3), "learn that is not proven")?;
    let said = on_unit(at.path(), "sweep", "broken-vane-pin", "U1", &[]);
    said.must(said.code != Some(0) && ticks(at.path(), "U1", "sweep") == 0, "it swept")
}

pub(crate) fn b2() -> Result<(), String> {
    /// A sweep takes 87 s; the lever meets the block within its first cycle.
    const FIRST_CYCLE_TICKS: u32 = 30_000;
    let at = folder();
    let said = on_unit(at.path(), "learn", "healthy", "U1", &[]);
    said.must(said.code == Some(0), "learn of a sound unit")?;
    let said = on_unit(at.path(), "sweep", "blocked-travel", "U1", &[]);
    let moved = ticks(at.path(), "U1", "sweep");
    said.must(said.code == Some(1) && moved < FIRST_CYCLE_TICKS, &format!("it moved for {moved} ms"))
}

pub(crate) fn b3() -> Result<(), String> {
    let at = folder();
    whole_job(at.path(), "U1", &[])?;
    let said = on_unit(at.path(), "learn", "healthy", "U1", &["--seed", "2"]);
    said.must(said.code == Some(0), "the second learn")?;
    let said = tool(at.path(), &["judge", "units/U1"]);
    said.must(said.code == Some(3), "judged on runs of two calibrations")
}

pub(crate) fn b4() -> Result<(), String> {
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

pub(crate) fn b5() -> Result<(), String> {
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

pub(crate) fn b6() -> Result<(), String> {
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

pub(crate) fn calibration(run: &Path) -> Option<toml::Value> {
    let file: toml::Value = toml::from_str(&fs::read_to_string(run.join("run.toml")).ok()?).ok()?;
    file.get("outcome")?.get("calibration").cloned()
}

pub(crate) fn b7() -> Result<(), String> {
    let at = folder();
    whole_job(at.path(), "U1", &[])?;
    let step = runs(at.path(), "U1", "step").remove(0);
    let run = fs::read_to_string(step.join("run.toml")).unwrap();
    let (before, after) = run.split_once("[sums]").ok_or("no [sums]")?;
    let after = after.split_once("\n[").map_or(String::new(), |(_, rest)| format!("[{rest}"));
    fs::write(step.join("run.toml"), format!("{before}{after}")).unwrap();
    let samples = fs::read_to_string(step.join("samples.csv")).unwrap();
    let edited = samples.replacen(",12.0", ",11.9", 1).replacen(",11.9", ",11.8", 1);
    assert_ne!(samples, edited);
    fs::write(step.join("samples.csv"), edited).unwrap();
    let said = tool(at.path(), &["judge", "units/U1"]);
    said.must(said.code != Some(0), "judged without sums")
}

pub(crate) fn b10() -> Result<(), String> {
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

pub(crate) fn b12() -> Result<(), String> {
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

pub(crate) fn b14() -> Result<(), String> {
    let at = folder();
    let said = on_unit(at.path(), "learn", "broken-vane-pin", "U1", &[]);
    said.must(said.code == Some(3) && said.out.contains("vanes-follow"), "the word is not named")?;
    let said = tool(at.path(), &["learn", "--help"]);
    said.must(said.out.contains("vanes-follow"), "the help does not list the words")
}

pub(crate) fn b14_confirm() -> Result<(), String> {
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

pub(crate) fn b15() -> Result<(), String> {
    let at = folder();
    for unit in ["SN-0815", "sn-0815"] {
        let _either_way = on_unit(at.path(), "learn", "healthy", unit, &[]);
    }
    let units = fs::read_dir(at.path().join("units")).map_or(0, Iterator::count);
    if units == 1 { Ok(()) } else { Err(format!("{units} units")) }
}

pub(crate) fn b7_made() -> Result<(), String> {
    let at = folder();
    whole_job(at.path(), "U1", &[])?;
    let path = runs(at.path(), "U1", "step").remove(0).join("run.toml");
    let run = fs::read_to_string(&path).unwrap();
    let (before, made) = run.split_once("[made]").ok_or("no [made]")?;
    fs::write(&path, format!("{before}[made]{}", made.replacen("port = \"", "port = \"x", 1))).unwrap();
    let said = tool(at.path(), &["judge", "units/U1"]);
    said.must(said.code != Some(0), "judged with another port in its record")
}

pub(crate) fn b7_confirmed() -> Result<(), String> {
    let at = folder();
    on_unit(at.path(), "learn", "rod-off-inside-stops", "U1", &[])
        .must_end(3, "a learn that is not proven")?;
    let words = ["--checked", "lever-attached", "--by", "A", "--with", "eye"];
    tool(at.path(), &[&["unit", "confirm", "units/U1"], &words[..]].concat()).must_end(0, "unit confirm")?;
    let path = at.path().join("units/U1/confirmed.toml");
    fs::write(&path, fs::read_to_string(&path).unwrap() + "\n").unwrap();
    let said = tool(at.path(), &["unit", "check", "units/U1"]);
    said.must_end(1, "unit check of a changed confirmation")?;
    let said = on_unit(at.path(), "step", "rod-off-inside-stops", "U1", &[]);
    said.must(said.code != Some(0) && ticks(at.path(), "U1", "step") == 0, "it stepped")
}

pub(crate) fn b15_winding() -> Result<(), String> {
    let at = folder();
    let ohm = |text: &str| format!("winding_resistance_ohm = {text}");
    let profile = vanebench::actuator::DEMO.profile_text.replacen(&ohm("1.6"), &ohm("3.4"), 1);
    fs::write(at.path().join("odd.toml"), profile).unwrap();
    let said = on_unit(at.path(), "learn", "healthy", "U1", &["--profile", "odd.toml"]);
    said.must(said.code == Some(3) && said.err.contains("IN DOUBT"), "learned under another winding")?;
    let moved = ticks(at.path(), "U1", "learn");
    // A whole learn takes some 7 s.
    said.must(moved < 2500, &format!("it moved for {moved} ms"))
}

pub(crate) fn b15_motion() -> Result<(), String> {
    let at = folder();
    on_unit(at.path(), "learn", "healthy", "U1", &[]).must_end(0, "a learn of a sound unit")?;
    for (case, verb) in
        [("ring-clocked-open", "step"), ("shorted-turn", "sweep"), ("high-supply", "friction")]
    {
        let said = on_unit(at.path(), verb, case, "U1", &[]);
        said.must(said.code == Some(3) && said.err.contains("IN DOUBT"), &format!("{case}: {verb} went on"))?;
    }
    Ok(())
}
