//! `demo`: the whole job on the built-in virtual rig, through a real pseudo-terminal.

use std::fs;
use std::path::{Path, PathBuf};

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::link::Pacing;
use serde::Serialize;
use study::catalogue;
use study::scenario::BuiltIn;

use crate::caution::{self, Acknowledged, CAUTIONS};
use crate::console::Console;
use crate::exit::{Failure, VerbResult};
use crate::judge::Verdict;
use crate::limits::Limits;
use crate::port::{DEFAULT_UNIT, PortSpec, Processor};
use crate::procedure::{Bench, LearnChoice, MoveKind, Target, learn, record_move, record_simulation};
use crate::profile::Profile;
use crate::record::write_whole;
use crate::unit_result::{REPORT_FILE, judge_all, read_runs, spoken, write_report};
use crate::unit_store::{self, Known};

/// The scenario that shows the controller on the engine.
const SCENARIO: &str = "boost-step";
/// Name of the demo's unit: invented, like everything about it.
const UNIT: &str = "demo-unit";
/// The file that says what the job was and how it ended.
const JOB_FILE: &str = "job.json";
/// Folder of the unit records.
const UNITS: &str = "units";

/// What `demo` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Folder for records and report; made anew, an earlier demo in it is replaced
    #[arg(long, value_name = "DIR", default_value = "out/demo")]
    out: PathBuf,
    /// Seed of the virtual unit's scatter; the same seed gives the same bytes
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Virtual unit to work on; `vanebench ports` lists them
    #[arg(long, value_name = "NAME", default_value = DEFAULT_UNIT)]
    on: String,
    /// Where the controller runs; `board` needs the board image and its emulator
    #[arg(long, value_enum, default_value_t)]
    processor: Processor,
}

#[derive(Serialize)]
struct Job<'a> {
    job: &'static str,
    origin: &'static str,
    unit: &'static str,
    virtual_unit: &'a str,
    seed: u64,
    profile: &'a str,
    limits: &'a str,
    software: &'static str,
    runs: Vec<String>,
    report: &'static str,
    cautions: [&'static str; CAUTIONS.len()],
    #[serde(flatten)]
    verdict: &'a Verdict,
}

/// Learns, sweeps, steps, simulates, judges, reports.
///
/// # Errors
/// When the rig or the disk fails; what was recorded stays.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    catalogue::find(&args.on).map_err(Failure::usage)?;
    prepare_folder(&args.out)?;
    let target = target(args)?;
    caution::show();
    console.note("(virtual rig: nothing real moves; unit, engine and numbers are invented)\n");
    let mut bench = Bench::open(&target)?;
    let learned = learn_unit(&mut bench, &target, console)?;
    if let Some(known) = learned {
        for (kind, what) in
            [(MoveKind::Sweep, "sweep"), (MoveKind::Friction, "friction ramps"), (MoveKind::Step, "steps")]
        {
            let bar = console.progress(what, 1000);
            let progress = |part: f64| bar.set_position((part * 1000.0) as u64);
            let recorded = record_move(&mut bench, &target, kind, known, &progress);
            bar.finish_and_clear();
            recorded.map_err(Failure::from)?;
        }
    }
    drop(bench);
    record_simulation(&target, &scenario()?)?;
    finish(args, &target, console)
}

fn target(args: &Args) -> Result<Target, Failure> {
    Ok(Target {
        port: PortSpec::Virtual { unit: args.on.clone(), pacing: Pacing::Stepped, processor: args.processor },
        unit: UNIT.into(),
        unit_dir: args.out.join(UNITS).join(UNIT),
        profile: Profile::demo().map_err(Failure::usage)?,
        limits: Limits::demo().map_err(Failure::usage)?,
        setup: Setup::Attached,
        warmth: Warmth::Cold,
        seed: args.seed,
        cautions: Acknowledged::VirtualRig,
    })
}

fn scenario() -> Result<study::scenario::Scenario, Failure> {
    let built_in = BuiltIn::named(SCENARIO)
        .ok_or_else(|| Failure::undetermined(format!("the built-in scenario {SCENARIO} is missing")))?;
    built_in.scenario().map_err(Failure::undetermined)
}

/// A calibration to move with; none when the unit was refused.
fn learn_unit(bench: &mut Bench, target: &Target, console: &Console) -> Result<Option<Known>, Failure> {
    let choice = LearnChoice { previous: None, checked: bench.confirmed_by_looking(), free: None };
    let bar = console.progress("learning the end stops", 1000);
    let learned = learn(bench, target, choice, &|part| bar.set_position((part * 1000.0) as u64));
    bar.finish_and_clear();
    let learned = learned.map_err(Failure::from)?;
    unit_store::keep(&target.unit_dir, &learned.outcome)?;
    Ok(Known::of(&learned.outcome))
}

fn finish(args: &Args, target: &Target, console: &Console) -> VerbResult {
    let runs = read_runs(&target.unit_dir)?;
    let names = runs.iter().map(|run| format!("{UNITS}/{UNIT}/{}", run.name)).collect();
    let result = judge_all(runs, &target.profile, &target.limits)?;
    let report = args.out.join(REPORT_FILE);
    write_report(&report, &target.unit_dir, &result, &target.profile, &target.limits, Vec::new())?;
    let job = Job {
        job: "demo",
        origin: "invented unit and engine on the built-in virtual rig; no figure describes a real product",
        unit: UNIT,
        virtual_unit: &args.on,
        seed: args.seed,
        profile: &target.profile.name,
        limits: &target.limits.name,
        software: concat!("vanebench ", env!("CARGO_PKG_VERSION")),
        runs: names,
        report: REPORT_FILE,
        cautions: CAUTIONS,
        verdict: &result.verdict,
    };
    let mut text = serde_json::to_string_pretty(&job)
        .map_err(|error| Failure::undetermined(format!("{JOB_FILE}: {error}")))?;
    text.push('\n');
    write_whole(&args.out.join(JOB_FILE), text.as_bytes()).map_err(Failure::undetermined)?;
    let summary = format!("{}\n  report {}", spoken(UNIT, &result), report.display());
    console.result(&summary, &job);
    Ok(result.verdict.judgement.exit())
}

/// Makes the folder, and clears an earlier demo out of it; a folder with anything else in it is left alone.
fn prepare_folder(out: &Path) -> Result<(), Failure> {
    let trouble = |error: std::io::Error| {
        Failure::undetermined(format!("{}: {error}. Give another folder with --out.", out.display()))
    };
    fs::create_dir_all(out).map_err(trouble)?;
    let known = [JOB_FILE, REPORT_FILE, UNITS];
    for entry in fs::read_dir(out).map_err(trouble)? {
        let name = entry.map_err(trouble)?.file_name();
        if !known.iter().any(|known| name.to_str() == Some(*known)) {
            return Err(Failure::usage(format!(
                "{}: holds {}, which no demo wrote. Give an empty or new folder with --out.",
                out.display(),
                name.display()
            )));
        }
    }
    let units = out.join(UNITS);
    if units.exists() {
        fs::remove_dir_all(&units).map_err(trouble)?;
    }
    for file in [JOB_FILE, REPORT_FILE] {
        let path = out.join(file);
        if path.exists() {
            fs::remove_file(&path).map_err(trouble)?;
        }
    }
    Ok(())
}
