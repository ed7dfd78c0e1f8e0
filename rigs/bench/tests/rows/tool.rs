//! Calls of the tool, and what they leave.

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use super::hostile::runs::{binary, last_tick, rows};

/// Nothing that a row asks takes longer.
pub(crate) const PATIENCE: Duration = Duration::from_secs(60);

/// How a call of the tool ended.
pub(crate) struct Said {
    pub(crate) code: Option<i32>,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Said {
    pub(crate) fn must(&self, holds: bool, seen: &str) -> Result<(), String> {
        if holds { Ok(()) } else { Err(format!("{seen}; exit {:?}, it said: {}", self.code, self.last())) }
    }

    pub(crate) fn must_end(&self, code: i32, seen: &str) -> Result<(), String> {
        self.must(self.code == Some(code), seen)
    }

    pub(crate) fn last(&self) -> String {
        let mut lines = self.err.lines().chain(self.out.lines());
        lines.rfind(|line| !line.starts_with("CAUTION") && !line.is_empty()).unwrap_or_default().to_owned()
    }
}

pub(crate) fn tool(folder: &Path, args: &[&str]) -> Said {
    let mut command = Command::new(binary());
    command.args(args).current_dir(folder).stdin(Stdio::null());
    within(command, PATIENCE)
}

/// Runs a command, at most so long; one that does not end is killed and has no exit code.
pub(crate) fn within(mut command: Command, patience: Duration) -> Said {
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

pub(crate) fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

pub(crate) fn on_unit(folder: &Path, verb: &str, case: &str, unit: &str, more: &[&str]) -> Said {
    let port = format!("virtual:{case}");
    tool(folder, &[&[verb, "--port", &port, "--unit", unit], more].concat())
}

/// Learn, sweep, friction and step of a sound unit.
pub(crate) fn whole_job(folder: &Path, unit: &str, more: &[&str]) -> Result<(), String> {
    for verb in ["learn", "sweep", "friction", "step"] {
        let said = on_unit(folder, verb, "healthy", unit, more);
        said.must(said.code == Some(0), &format!("{verb} of a sound unit"))?;
    }
    Ok(())
}

pub(crate) fn runs(folder: &Path, unit: &str, ending: &str) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(folder.join("units").join(unit)) else { return Vec::new() };
    let mut dirs: Vec<PathBuf> = entries
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.is_dir() && path.to_string_lossy().ends_with(ending))
        .collect();
    dirs.sort();
    dirs
}

/// Ticks of the last run of a kind; 0 where there is none.
pub(crate) fn ticks(folder: &Path, unit: &str, kind: &str) -> u32 {
    let newest = runs(folder, unit, kind).pop();
    newest.and_then(|dir| last_tick(&rows(&dir.join("samples.csv")))).unwrap_or(0)
}

pub(crate) fn contents(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
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
