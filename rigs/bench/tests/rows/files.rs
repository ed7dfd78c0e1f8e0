//! Rows about files: what is read, written and left alone.

use std::fs;
use std::os::unix::fs::FileTypeExt;
use std::process::{Command, Stdio};
use std::time::Duration;

use nix::sys::stat::Mode;
use nix::unistd::mkfifo;

use super::hostile::runs::binary;
use super::tool::{folder, on_unit, tool, whole_job, within};

pub(crate) fn b8() -> Result<(), String> {
    let at = folder();
    let kept = at.path().join("units/real/0001-learn/run.toml");
    fs::create_dir_all(kept.parent().unwrap()).unwrap();
    fs::write(&kept, "a record").unwrap();
    let said = tool(at.path(), &["demo", "--out", "."]);
    said.must(fs::read_to_string(&kept).is_ok_and(|text| text == "a record"), "the record is gone")
}

pub(crate) fn b9() -> Result<(), String> {
    let at = folder();
    let renamed = |text: &str| text.replacen("name = \"bench-actuator-a\"", "name = \"mine\"", 1);
    fs::write(at.path().join("mine.toml"), renamed(vanebench::actuator::DEMO.profile_text)).unwrap();
    fs::write(at.path().join("mine.limits.toml"), renamed(vanebench::actuator::DEMO.limits_text)).unwrap();
    let args = ["learn", "--port", "/dev/no-such-port", "--unit", "U1", "--hands-clear"];
    let said =
        tool(at.path(), &[&args[..], &["--profile", "mine.toml", "--limits", "mine.limits.toml"]].concat());
    said.must(said.code == Some(2) && said.err.contains("nvented"), "the invention was taken")
}

pub(crate) fn b13() -> Result<(), String> {
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

pub(crate) fn b16() -> Result<(), String> {
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
pub(crate) fn merge(into: &mut toml::Table, from: &toml::Table) {
    for (key, value) in from {
        match (into.get_mut(key), value) {
            (Some(toml::Value::Table(inner)), toml::Value::Table(from)) => merge(inner, from),
            _ => drop(into.insert(key.clone(), value.clone())),
        }
    }
}

pub(crate) fn b17() -> Result<(), String> {
    let at = folder();
    whole_job(at.path(), "U1", &[])?;
    let sheet = "[lever_play]\nas_found = \"0.2\"\n";
    fs::write(at.path().join("units/U1/sheet.toml"), sheet).unwrap();
    let said = tool(at.path(), &["report", "units/U1", "--out", "report.html"]);
    said.must(at.path().join("report.html").exists() && said.code != Some(2), "no report")
}

pub(crate) fn b17_template() -> Result<(), String> {
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

pub(crate) fn u4() -> Result<(), String> {
    let said = tool(folder().path(), &["judge", "--json"]);
    let document: serde_json::Value = serde_json::from_str(&said.out).unwrap_or_default();
    said.must(document["kind"] == "error" && document["version"] == 1, &format!("it printed {:?}", said.out))
}

pub(crate) fn b18() -> Result<(), String> {
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

pub(crate) fn b18_full() -> Result<(), String> {
    let at = folder();
    let full = fs::File::options().write(true).open("/dev/full").unwrap();
    let mut command = Command::new(binary());
    command.args(["ports", "--json"]).current_dir(at.path()).stdout(full).stderr(Stdio::null());
    let code = command.status().unwrap().code();
    if code == Some(3) { Ok(()) } else { Err(format!("exit {code:?}")) }
}

pub(crate) fn b18_together() -> Result<(), String> {
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

pub(crate) fn b19() -> Result<(), String> {
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

pub(crate) fn b19_control() -> Result<(), String> {
    let at = folder();
    let profile = vanebench::actuator::DEMO.profile_text.replacen("travel_deg", "\"\\u001b[2Jtravel\"", 1);
    fs::write(at.path().join("odd.toml"), profile).unwrap();
    let said = on_unit(at.path(), "learn", "healthy", "U1", &["--profile", "odd.toml"]);
    said.must(said.code == Some(2) && !said.err.contains('\u{1b}'), "an escape reached the terminal")
}

pub(crate) fn b19_names() -> Result<(), String> {
    let at = folder();
    let long = "x".repeat(300);
    for name in ["-x", "CON", &long] {
        let said = tool(at.path(), &["learn", "--port", "virtual", &format!("--unit={name}")]);
        said.must(said.code == Some(2), &name[..name.len().min(8)])?;
    }
    Ok(())
}

pub(crate) fn b19_tolerance() -> Result<(), String> {
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
