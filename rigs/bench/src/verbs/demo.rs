//! `demo`: the whole job on the built-in virtual rig, through a real pseudo-terminal.

use std::path::PathBuf;

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::link::Pacing;
use plant::files::write_whole;
use study::catalogue;
use study::scenario::BuiltIn;

use crate::actuator::{BuiltInActuator, DEFAULT_CASE, DEMO, VirtualUnit, read_name};
use crate::caution::{self, Acknowledged, CAUTIONS};
use crate::console::Console;
use crate::document::{self, DemoDocument};
use crate::evaluate::UnitResult;
use crate::exit::{Failure, VerbResult};
use crate::fold::Fold;
use crate::link_rig;
use crate::output::{Maker, OutFolder};
use crate::port::{PortSpec, Processor};
use crate::procedure::{Basis, Bench, LearnChoice, MoveKind, Target, learn, record_move, record_simulation};
use crate::record::{Job, LogHead, Serials};
use crate::screen::{LiveScreen, Subject};
use crate::unit_result::{REPORT_FILE, Records, keep_verdicts, spoken, write_report};
use crate::unit_store::{self, OnUnproven, UnitStanding};

/// The scenario that shows the controller on the engine.
const SCENARIO: &str = "boost-step";
/// Name of the demo's unit: invented, like everything about it.
const UNIT: &str = "demo-unit";
/// The file that says what the job was and how it ended.
const JOB_FILE: &str = "job.json";
/// Folder of the unit records.
const UNITS: &str = "units";
/// The same with all that is in it.
const UNITS_INSIDE: &str = "units/";

/// What `demo` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Folder for records and report: new, empty, or an earlier demo's, which is replaced
    #[arg(long, value_name = "DIR", default_value = "out/demo")]
    out: PathBuf,
    /// Seed of the virtual unit's scatter; the same seed gives the same bytes
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Built-in actuator to work on; `vanebench ports` lists them
    #[arg(long, value_name = "NAME", default_value = DEMO.name, value_parser = read_name)]
    actuator: &'static BuiltInActuator,
    /// Case to work on; `vanebench ports` lists them
    #[arg(long, value_name = "CASE", default_value = DEFAULT_CASE)]
    on: String,
    /// Where the controller runs; `board` needs the board image and its emulator
    #[arg(long, value_enum, default_value_t)]
    processor: Processor,
}

/// Learns, sweeps, steps, simulates, judges, reports.
///
/// # Errors
/// When the rig or the disk fails; what was recorded stays.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    catalogue::find(&args.on).map_err(Failure::usage)?;
    let mut folder = OutFolder::claim(&args.out, Maker::Demo)?;
    let target = target(args)?;
    folder.clear_for(&[JOB_FILE, REPORT_FILE, UNITS_INSIDE])?;
    caution::show();
    console.note("(virtual rig: nothing real moves; unit, engine and numbers are invented)\n");
    let mut bench = link_rig::open(&target, Acknowledged::VirtualRig)?;
    learn_unit(&mut bench, &target, console)?;
    if let Some(basis) = basis(&target)? {
        for (kind, what) in
            [(MoveKind::Sweep, "sweep"), (MoveKind::Friction, "friction ramps"), (MoveKind::Step, "steps")]
        {
            let subject = Subject::moved(&target, what, Some(&basis.in_force().held.calibration));
            let mut screen = LiveScreen::new(console, subject, Pacing::Stepped);
            record_move(&mut bench, &target, kind, &basis, &mut screen)?;
        }
    }
    drop(bench);
    record_simulation(&target, &scenario(args.actuator)?)?;
    let exit = finish(args, &target, console);
    folder.close()?;
    exit
}

fn target(args: &Args) -> Result<Target, Failure> {
    Ok(Target {
        port: PortSpec::Virtual {
            unit: VirtualUnit { actuator: args.actuator, case: args.on.clone() },
            pacing: Pacing::Stepped,
            processor: args.processor,
        },
        unit: UNIT.into(),
        unit_dir: args.out.join(UNITS).join(UNIT),
        profile: args.actuator.profile().map_err(Failure::usage)?,
        limits: args.actuator.limits().map_err(Failure::usage)?,
        setup: Setup::Attached,
        warmth: Warmth::Cold,
        seed: args.seed,
        serials: Serials::default(),
        job: Job::default(),
        operator: None,
        customer: None,
    })
}

fn scenario(actuator: &BuiltInActuator) -> Result<study::scenario::Scenario, Failure> {
    let built_in = BuiltIn::named(SCENARIO)
        .ok_or_else(|| Failure::undetermined(format!("the built-in scenario {SCENARIO} is missing")))?;
    let mut scenario = built_in.scenario().map_err(Failure::undetermined)?;
    actuator.put_into(&mut scenario.world).map_err(Failure::undetermined)?;
    Ok(scenario)
}

/// What the motions stand on; nothing when the unit was refused.
fn basis(target: &Target) -> Result<Option<Basis>, Failure> {
    let wanted = target.wanted();
    Ok(match unit_store::read(wanted.unit_dir, wanted.unit, wanted.setup, wanted.warmth)? {
        UnitStanding::NeverLearned | UnitStanding::NoneInForce { .. } => None,
        UnitStanding::InForce(_) => Some(Basis::Accepted(unit_store::ground(&wanted, OnUnproven::Refuse)?)),
    })
}

fn learn_unit(bench: &mut Bench, target: &Target, console: &Console) -> Result<(), Failure> {
    let choice = LearnChoice { previous: None, checked: bench.confirmed_by_looking(), free: None };
    let subject = Subject::moved(target, "learning the end stops", None);
    learn(bench, target, choice, &mut LiveScreen::new(console, subject, Pacing::Stepped))?;
    Ok(())
}

fn finish(args: &Args, target: &Target, console: &Console) -> VerbResult {
    let records = Records::read(&target.unit_dir)?;
    let Records { runs, checked } = &records;
    let names = runs.iter().map(|run| format!("{UNITS}/{UNIT}/{}", run.name)).collect();
    keep_verdicts(&records, &target.profile, &target.limits)?;
    let result = UnitResult::of(runs.clone(), checked, &target.unit, &target.profile, &target.limits);
    let report = args.out.join(REPORT_FILE);
    write_report(&report, &target.unit_dir, &result, &target.profile, &target.limits, None)?;
    let job = DemoDocument {
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
    let text = document::text(&job)? + "\n";
    write_whole(&args.out.join(JOB_FILE), text.as_bytes()).map_err(Failure::undetermined)?;
    let mut more = vec![format!("  report {}", report.display())];
    // On screen only: the job's files repeat byte for byte, and the log holds the time.
    more.extend(checked.head.iter().flat_map(LogHead::lines));
    console.result(&spoken(UNIT, &result, &more, Fold::of_the_reader()), &job)?;
    Ok(result.verdict.judgement.exit())
}
