//! `rig`: a virtual unit that stands on a serial device until Ctrl-C.
//!
//! In: a case of the fault catalogue and a seed. Out: the device's path, and the commands that take the unit to
//! a verdict as they would a real one. For practice on the real-port path and for clients in other languages.

use std::fs;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use firmware_core::learn::{Check, CheckSet};
use firmware_core::link::Pacing;
use study::catalogue::{self, Case};
use virtual_rig::rig::SimulatedRig;
use virtual_rig::runner::{Ended, RunningRig};

use crate::actuator::{BuiltInActuator, DEFAULT_CASE, VirtualUnit};
use crate::caution::HANDED_OVER;
use crate::checks::check_word;
use crate::client::BAUD;
use crate::console::Console;
use crate::document::RigDocument;
use crate::exit::{Exit, Failure, VerbResult};
use crate::interrupt;
use plant::files::write_together;

/// What `rig` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Virtual unit to serve: CASE of bench actuator A, or ACTUATOR/CASE; `vanebench ports` lists
    /// them
    #[arg(value_name = "UNIT", default_value = DEFAULT_CASE)]
    unit: VirtualUnit,
    /// Seed of the unit's scatter
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Time passes only as far as the client grants it: for clients whose runs must repeat. Without it, time follows
    /// the clock and the drive lease expires as on a real board
    #[arg(long)]
    stepped: bool,
    /// Folder for practice.toml and practice.limits.toml, which a real port needs; existing files
    /// are kept
    #[arg(long, value_name = "DIR", default_value = "practice")]
    files: PathBuf,
}

/// Between two looks at Ctrl-C and at the rig.
const LOOK_AGAIN: Duration = Duration::from_millis(50);
/// Name of the practice profile, its limits and the unit in the printed commands.
const PRACTICE: &str = "practice";

/// Serves the unit until Ctrl-C.
///
/// # Errors
/// When there is no such case, no pseudo-terminal, or the files cannot be written; or when the rig fails.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let actuator = args.unit.actuator;
    let preset = catalogue::find(&args.unit.case).map_err(Failure::usage)?;
    let case = args.unit.unit()?;
    let pacing = if args.stepped { Pacing::Stepped } else { Pacing::Paced };
    let rig = SimulatedRig::of_case(&case, args.seed, pacing).map_err(Failure::usage)?;
    let [profile, limits] = write_practice_files(&args.files, actuator)?;
    let mut rig = RunningRig::start(rig)
        .map_err(|error| Failure::undetermined(format!("the virtual rig could not start: {error}")))?;
    let served = RigDocument {
        device: rig.path().to_owned(),
        actuator: actuator.name,
        case: args.unit.case.clone(),
        what: preset.about,
        seed: args.seed,
        pacing,
        baud: BAUD,
        confirmed_by_looking: words(case.checks_passed()),
        fails_on_looking: case.failed_checks.iter().copied().map(check_word).collect(),
        commands: commands(rig.path(), &args.files, [&profile, &limits], &actuator.own(PRACTICE), &case),
        profile,
        limits,
    };
    console.result(&text(&served), &served)?;
    serve(&mut rig)
}

fn serve(rig: &mut RunningRig) -> VerbResult {
    let _watch = interrupt::watch();
    while !interrupt::asked() && !rig.has_ended() {
        thread::sleep(LOOK_AGAIN);
    }
    match rig.unplug() {
        Ended::Unplugged => Ok(Exit::Done),
        Ended::Failed(why) => Err(Failure::undetermined(format!("the virtual rig stopped: {why}"))),
    }
}

fn words(checks: CheckSet) -> Vec<&'static str> {
    checks.iter().map(check_word).collect()
}

/// The built-in profile and limits under a name of their own, as a user's copies would be.
fn write_practice_files(folder: &Path, actuator: &BuiltInActuator) -> Result<[PathBuf; 2], Failure> {
    let refused = |error| Failure::undetermined(format!("--files {}: {error}", folder.display()));
    fs::create_dir_all(folder).map_err(refused)?;
    let name = actuator.own(PRACTICE);
    let files = [("toml", actuator.profile_text), ("limits.toml", actuator.limits_text)]
        .map(|(ending, text)| (folder.join(format!("{name}.{ending}")), renamed(text, &name)));
    let missing: Vec<(PathBuf, &[u8])> = files
        .iter()
        .filter(|(path, _)| !path.exists())
        .map(|(path, text)| (path.clone(), text.as_bytes()))
        .collect();
    write_together(&missing).map_err(Failure::undetermined)?;
    Ok(files.map(|(path, _)| path))
}

fn renamed(text: &str, name: &str) -> String {
    let line = |line: &str| match line.split_once(" = ") {
        Some(("name", _)) => format!("name = \"{name}\"\n"),
        Some(("origin", _)) => {
            "origin = \"Invented, for practice on the virtual units of `vanebench rig`.\"\n".to_owned()
        }
        Some(_) | None => format!("{line}\n"),
    };
    let head = format!("# {HANDED_OVER}\n");
    std::iter::once(head).chain(text.lines().map(line)).collect()
}

fn commands(
    device: &Path,
    files: &Path,
    [profile, limits]: [&Path; 2],
    unit: &str,
    case: &Case,
) -> Vec<String> {
    let records = files.join("units");
    let criteria = format!("--profile {} --limits {}", shown(profile), shown(limits));
    let checked = words(case.checks_passed()).join(",");
    let on_unit = |verb| {
        format!(
            "vanebench {verb} --port {} --unit {unit} --records {} {criteria}",
            shown(device),
            shown(&records)
        )
    };
    let mut commands = vec![format!("{} --checked {checked}", on_unit("learn"))];
    commands.extend(["sweep", "friction", "step"].map(on_unit));
    commands.push(format!("vanebench report {} {criteria}", shown(&records.join(unit))));
    commands
}

/// A path as a shell takes it back.
fn shown(path: &Path) -> String {
    let path = path.display().to_string();
    let plain = |c: char| c.is_ascii_alphanumeric() || "/._-".contains(c);
    if path.chars().all(plain) { path } else { format!("'{}'", path.replace('\'', r"'\''")) }
}

fn text(served: &RigDocument) -> String {
    let time = match served.pacing {
        Pacing::Paced => {
            "time follows the clock, and the drive is released when the client falls silent, as on a real \
             board"
        }
        Pacing::Stepped => "time passes only by the ticks that the client grants",
    };
    let mut lines = vec![
        format!("Virtual unit on {}", served.device.display()),
        format!(
            "  unit   {}: {} ({}, invented; nothing real moves)",
            served.case, served.what, served.actuator
        ),
        format!("  seed   {}", served.seed),
        format!("  line   {} baud, 8 data bits, no parity, 1 stop bit; one client at a time", served.baud),
        format!("  time   {time}"),
        String::new(),
        "To practise a bench job just as with a real unit, run these in a second terminal, one after the \
         other:"
            .into(),
    ];
    lines.extend(served.commands.iter().map(|command| format!("  {command}")));
    lines.push(format!(
        "Profile and limits in {} carry the virtual unit's own numbers. A real unit needs numbers from its data sheet.",
        served.profile.parent().unwrap_or(Path::new(".")).display()
    ));
    lines.push(looked_at(served));
    lines.push(
        "A client of your own: open the device at that speed and talk as firmware-core/WIRE.md says.".into(),
    );
    lines.push("Ctrl-C removes the unit.".into());
    lines.join("\n")
}

fn looked_at(served: &RigDocument) -> String {
    let failed: Vec<&str> = Check::ALL
        .into_iter()
        .filter(|check| served.fails_on_looking.contains(&check_word(*check)))
        .map(Check::text)
        .collect();
    if failed.is_empty() {
        "A person who inspects and gauges this unit finds everything in order: --checked says so.".into()
    } else {
        format!(
            "A person who inspects this unit finds a fault in: {}. --checked leaves that out.",
            failed.join("; ")
        )
    }
}
