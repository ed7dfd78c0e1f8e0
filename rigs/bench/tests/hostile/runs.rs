//! Runs of the tool on a unit behind a hostile line, what they decided and what they recorded.

#[path = "../own/mod.rs"]
mod own;

use std::collections::HashMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use firmware_core::link::Pacing;
use study::catalogue;
use tempfile::TempDir;
use virtual_rig::rig::SimulatedRig;
use virtual_rig::runner::RunningRig;

use super::{HostileLine, Trouble};
use own::own_copy;

/// The program under test: the one just built, or any that `VANEBENCH` names.
pub fn binary() -> PathBuf {
    std::env::var_os("VANEBENCH")
        .map_or_else(|| assert_cmd::cargo_bin!("vanebench").to_owned(), PathBuf::from)
}

/// A number from the environment, for runs at length.
pub fn number(name: &str, quick: usize) -> usize {
    std::env::var(name).map_or(quick, |text| text.parse().unwrap())
}

/// After this long the tool is taken for hung, and ended.
const PATIENCE: Duration = Duration::from_secs(30);

/// What is run on the unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Verb {
    Learn,
    Sweep,
    Friction,
    Step,
}

impl Verb {
    pub const ALL: [Self; 4] = [Self::Learn, Self::Sweep, Self::Friction, Self::Step];

    pub fn word(self) -> &'static str {
        match self {
            Self::Learn => "learn",
            Self::Sweep => "sweep",
            Self::Friction => "friction",
            Self::Step => "step",
        }
    }

    /// Beginnings of the limits that its figures answer.
    fn limits(self) -> &'static [&'static str] {
        match self {
            Self::Learn => &["learn."],
            Self::Sweep => &["loop.", "motion.dead_band"],
            Self::Friction => &["friction."],
            Self::Step => &["step_", "motion.stroke"],
        }
    }
}

/// What came of it, by exit code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    Accepted,
    Refused,
    Undetermined,
    /// No exit code of the tool's, or none in time.
    Broken,
}

impl Verdict {
    fn of(code: Option<i32>) -> Self {
        match code {
            Some(0) => Self::Accepted,
            Some(1) => Self::Refused,
            // A port that vanished before the first word is a wrong option: nothing is said of the unit.
            Some(2 | 3) => Self::Undetermined,
            Some(_) | None => Self::Broken,
        }
    }
}

/// One figure as a judgement lists it.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    pub key: String,
    pub place: String,
    pub value: f64,
}

/// A run that was made and judged.
#[derive(Debug, Clone)]
pub struct Ran {
    pub verdict: Verdict,
    /// A motion's record judged under limits that a sound unit meets, and under limits that none meets.
    pub judged: Option<[Verdict; 2]>,
    pub figures: Vec<Figure>,
    /// The judgement's first reason.
    pub reason: Option<String>,
    /// `[outcome]` of the record: calibration, refusal, what is not proven.
    pub outcome: Option<toml::Value>,
    pub rows: Vec<Row>,
    pub took: Duration,
    pub said: String,
    pub struck: u32,
    /// Of these, once the unit had been let move.
    pub struck_driving: u32,
}

impl Ran {
    /// Why it decided nothing: what the judgement names, else the tool's last word, without its numbers.
    pub fn why_open(&self) -> String {
        let text = self.reason.as_deref().or(self.said.lines().last()).unwrap_or_default();
        text.chars().filter(|c| !c.is_ascii_digit()).take(160).collect()
    }
}

/// A unit on a stepped rig, behind a line.
pub struct Bench {
    folder: TempDir,
    pub rig: RunningRig,
    pub line: HostileLine,
    checked: Option<&'static str>,
}

impl Bench {
    /// A unit of the catalogue behind a clean line; `checked` is what a person confirms of it.
    pub fn new(case: &str, seed: u64, checked: Option<&'static str>) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let case = catalogue::find(case).unwrap().unit(None);
        let rig = RunningRig::start(SimulatedRig::of_case(&case, seed, Pacing::Stepped).unwrap()).unwrap();
        let line = HostileLine::before(rig.path(), folder.path());
        write_criteria(folder.path());
        Self { folder, rig, line, checked }
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Runs a verb under a trouble; the line is clean again afterwards, while the record is judged.
    pub fn run(&self, verb: Verb, trouble: Trouble) -> Ran {
        self.line.turn_to(trouble);
        let began = Instant::now();
        let (verdict, said) = finish(self.command(verb).spawn().unwrap());
        let took = began.elapsed();
        let (struck, struck_driving) = (self.line.struck(), self.line.struck_driving());
        self.line.turn_to(Trouble::CLEAN);
        let mut ran = Ran {
            verdict,
            judged: None,
            figures: Vec::new(),
            reason: None,
            outcome: None,
            rows: Vec::new(),
            took,
            said,
            struck,
            struck_driving,
        };
        if let Some(dir) = self.newest(verb) {
            ran.rows = rows(&dir.join("samples.csv"));
            ran.outcome = outcome(&dir.join("run.toml"));
            if verb != Verb::Learn {
                self.judge(verb, &dir, &mut ran);
            }
        }
        ran
    }

    /// The command line of a verb, as for a real unit.
    pub fn command(&self, verb: Verb) -> Command {
        let mut command = Command::new(binary());
        command.args(["--json", verb.word(), "--unit", "u1", "--hands-clear", "--port"]);
        command.arg(self.line.path()).args(["--records", "units"]).args(criteria("own.limits.toml"));
        if let (Verb::Learn, Some(checked)) = (verb, self.checked) {
            command.args(["--checked", checked]);
        }
        command.current_dir(self.folder()).stdin(Stdio::null());
        command.stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    /// Folder of the newest run of a kind.
    pub fn newest(&self, verb: Verb) -> Option<PathBuf> {
        let runs = fs::read_dir(self.folder().join("units/u1")).ok()?;
        let mut dirs: Vec<PathBuf> = runs
            .map(|entry| entry.unwrap().path())
            .filter(|path| path.is_dir() && path.to_string_lossy().ends_with(verb.word()))
            .collect();
        dirs.sort();
        dirs.pop()
    }

    fn judge(&self, verb: Verb, dir: &Path, ran: &mut Ran) {
        let under = |name: &str, limits: String| {
            fs::write(self.folder().join(name), limits).unwrap();
            let mut command = Command::new(binary());
            command.args(["--json", "judge"]).arg(dir).args(criteria(name)).current_dir(self.folder());
            let output = command.output().unwrap();
            (Verdict::of(output.status.code()), output.stdout)
        };
        let (met, told) = under("met.limits.toml", limits_of(verb, 1.0));
        let (unmet, _) = under("unmet.limits.toml", limits_of(verb, 0.001));
        ran.figures = figures(&told);
        ran.reason = reason(&told);
        ran.judged = Some([met, unmet]);
    }
}

/// Waits for the tool, at most [`PATIENCE`]; what it said on the error stream.
fn finish(mut tool: Child) -> (Verdict, String) {
    let began = Instant::now();
    while tool.try_wait().unwrap().is_none() {
        if began.elapsed() > PATIENCE {
            tool.kill().unwrap();
        }
        thread::sleep(Duration::from_millis(2));
    }
    let output = tool.wait_with_output().unwrap();
    (Verdict::of(output.status.code()), String::from_utf8_lossy(&output.stderr).into_owned())
}

/// Writes profile and limits under a name of their own; gives the options that name them.
pub fn write_criteria(folder: &Path) -> [String; 4] {
    fs::write(folder.join("own.toml"), own_copy(vanebench::actuator::DEMO.profile_text)).unwrap();
    fs::write(folder.join("own.limits.toml"), own_copy(vanebench::actuator::DEMO.limits_text)).unwrap();
    criteria("own.limits.toml")
}

fn criteria(limits: &str) -> [String; 4] {
    ["--profile".into(), "own.toml".into(), "--limits".into(), limits.into()]
}

/// The built-in limits that a verb's figures answer, with their upper bounds scaled.
fn limits_of(verb: Verb, scale: f64) -> String {
    let mut asked = true;
    let mut text = String::new();
    for line in own_copy(vanebench::actuator::DEMO.limits_text).lines() {
        if let Some(key) = line.strip_prefix("[limit.") {
            asked = verb.limits().iter().any(|start| key.starts_with(start));
        }
        if asked {
            text.push_str(&scaled(line, scale));
            text.push('\n');
        }
    }
    text
}

fn scaled(line: &str, scale: f64) -> String {
    match line.strip_prefix("max = ") {
        Some(max) => format!("max = {:?}", max.parse::<f64>().unwrap() * scale),
        // A lower bound would forbid the scaled upper one.
        None if scale < 1.0 && line.starts_with("min = ") && !line.contains("= -") => String::new(),
        // It would leave nothing of the scaled limit that could be told met from unmet.
        None if scale < 1.0 && line.starts_with("expanded_uncertainty") => String::new(),
        None => line.to_owned(),
    }
}

fn figures(told: &[u8]) -> Vec<Figure> {
    let told: serde_json::Value = serde_json::from_slice(told).unwrap_or_default();
    let text = |value: &serde_json::Value| value.as_str().unwrap_or_default().to_owned();
    let checks = told["checks"].as_array().cloned().unwrap_or_default();
    checks
        .iter()
        .filter_map(|check| {
            Some(Figure {
                key: text(&check["key"]),
                place: text(&check["place"]),
                value: check["value"].as_f64()?,
            })
        })
        .collect()
}

fn reason(told: &[u8]) -> Option<String> {
    let told: serde_json::Value = serde_json::from_slice(told).ok()?;
    told["reasons"].as_array()?.first()?["seen"].as_str().map(str::to_owned)
}

fn outcome(run_toml: &Path) -> Option<toml::Value> {
    let file: toml::Value = toml::from_str(&fs::read_to_string(run_toml).ok()?).ok()?;
    file.get("outcome").cloned()
}

/// A row of a record, by the ticks that it accounts for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Row {
    Sample { tick: u32, position: i16 },
    Gap { first: u32, ticks: u32 },
}

/// Samples and gaps of a record, in its order; marks of events are left out.
pub fn rows(samples_csv: &Path) -> Vec<Row> {
    let Ok(mut reader) = csv::ReaderBuilder::new().flexible(true).from_path(samples_csv) else {
        return Vec::new();
    };
    let rows = reader.records().filter_map(|record| {
        // The last line of a run that was killed may be half a line.
        let record = record.ok()?;
        let tick = record.get(0)?.parse().ok()?;
        match record.get(record.len() - 1)?.strip_prefix("gap ") {
            Some(ticks) => Some(Row::Gap { first: tick, ticks: ticks.parse().ok()? }),
            None => record.get(1)?.parse().ok().map(|position| Row::Sample { tick, position }),
        }
    });
    rows.collect()
}

/// The first place where a record accounts for a tick twice or not at all, from `start` on.
pub fn unmarked(rows: &[Row], start: u32) -> Option<String> {
    let mut next = start;
    for row in rows {
        let (first, ticks) = match *row {
            Row::Sample { tick, .. } => (tick, 1),
            Row::Gap { first, ticks } => (first, ticks),
        };
        if first != next {
            return Some(format!("{row:?} where tick {next} was due"));
        }
        next = first + ticks;
    }
    None
}

/// The first sample of a record that is another in the record of the same ticks on a clean line.
pub fn altered(rows: &[Row], clean: &[Row]) -> Option<String> {
    let clean: HashMap<u32, i16> = clean.iter().filter_map(|row| row.sample()).collect();
    let mut samples = rows.iter().filter_map(|row| row.sample());
    let is_other = |(tick, position): &(u32, i16)| clean.get(tick).is_some_and(|one| one != position);
    samples
        .find(is_other)
        .map(|(tick, position)| format!("{position} counts at tick {tick}, sent were {}", clean[&tick]))
}

impl Row {
    fn sample(self) -> Option<(u32, i16)> {
        match self {
            Self::Sample { tick, position } => Some((tick, position)),
            Self::Gap { .. } => None,
        }
    }
}

/// First tick that a record accounts for.
pub fn first_tick(rows: &[Row]) -> Option<u32> {
    rows.first().map(|row| match *row {
        Row::Sample { tick, .. } | Row::Gap { first: tick, .. } => tick,
    })
}

/// Last tick that a record accounts for.
pub fn last_tick(rows: &[Row]) -> Option<u32> {
    rows.last().map(|row| match *row {
        Row::Sample { tick, .. } => tick,
        Row::Gap { first, ticks } => first + ticks.saturating_sub(1),
    })
}
