//! `sweep`, `friction` and `step`: move a unit and record it, on the calibration in force.

use std::path::Path;

use crate::console::Console;
use crate::document::{Diagnostic, MotionDocument};
use crate::evaluate::picture;
use crate::exit::{Exit, Failure, VerbResult};
use crate::figures::binding::Picture;
use crate::link_rig;
use crate::procedure::{
    Basis, Bench, MoveKind, Target, TargetArgs, diagnostic_peak, record_diagnostic, record_move,
};
use crate::record::Run;
use crate::screen::{LiveScreen, Subject};
use crate::unit_result::keep_verdict_of;
use crate::unit_store::{self, InForce, OnUnproven};

/// What each of them takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    target: TargetArgs,
    /// Move on a calibration that is suspended or not proven, at half the current and half the
    /// speed; needs a person beside the unit: a typed yes, or --hands-clear with --operator
    #[arg(long)]
    on_unproven: bool,
}

/// Moves the unit and records it.
///
/// # Errors
/// A [`Failure`] when no calibration carries the motion, or the run was cut short.
pub fn run(args: &Args, kind: MoveKind, console: &Console) -> VerbResult {
    let target = args.target.read()?;
    if kind == MoveKind::Friction
        && let Some(because) = nothing_in_force(&target)?
    {
        return run_diagnostic(args, &target, because, console);
    }
    let on_unproven = if args.on_unproven { OnUnproven::Allow } else { OnUnproven::Refuse };
    let in_force = unit_store::ground(&target.wanted(), on_unproven)?;
    let (mut bench, basis) = open(args, &target, in_force)?;
    basis.in_force().learned_with(&target.unit, &bench.board())?;
    let subject = Subject::moved(&target, kind.doing(), Some(&basis.in_force().held.calibration));
    let mut screen = LiveScreen::new(console, subject, target.port.pacing());
    let dir = record_move(&mut bench, &target, kind, &basis, &mut screen);
    drop(screen);
    let dir = dir?;
    let run = Run::open(&dir).map_err(Failure::undetermined)?;
    keep_verdict_of(&run, &target.profile, &target.limits);
    let lost = run.loss().text();
    let mut text = format!("{}: recorded {}{}", target.unit, dir.display(), on_what(&basis));
    if let Some(lost) = &lost {
        text.push_str(&format!("\n  {lost}; a figure that needs them is undetermined"));
    }
    console.result(&text, &MotionDocument { lost, ..document(&target, &dir, None) })?;
    Ok(Exit::Done)
}

/// Why no calibration is in force; nothing where one is.
fn nothing_in_force(target: &Target) -> Result<Option<String>, Failure> {
    let standing = unit_store::read(&target.unit_dir, &target.unit, target.setup, target.warmth)?;
    Ok(unit_store::why_nothing(&standing))
}

/// Has the cautions acknowledged, and a person's presence where the calibration is unproven, then opens the port.
fn open(args: &Args, target: &Target, in_force: Box<InForce>) -> Result<(Bench, Basis), Failure> {
    let hands_clear = args.target.hands_clear;
    if !args.on_unproven {
        let cautions = hands_clear.confirm(target.motion())?;
        return Ok((link_rig::open(target, cautions)?, Basis::Accepted(in_force)));
    }
    let unproven = unit_store::stands(&in_force);
    let (cautions, present) =
        hands_clear.confirm_unproven(target.motion(), &unproven, target.operator.as_ref())?;
    Ok((link_rig::open(target, cautions)?, Basis::Unproven(in_force, present)))
}

fn on_what(basis: &Basis) -> String {
    match basis {
        Basis::Accepted(in_force) => format!("\n  on the calibration of {}, accepted", in_force.run),
        Basis::Unproven(in_force, present) => format!(
            "\n  on the calibration of {}, {}\n  half the current and half the speed: its figures do not \
             count in a verdict\n  beside it: {present}",
            in_force.run,
            unit_store::stands_briefly(in_force.held.standing)
        ),
    }
}

fn document(target: &Target, dir: &Path, diagnostic: Option<Diagnostic>) -> MotionDocument {
    let run = dir.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    MotionDocument {
        unit: target.unit.clone(),
        run,
        folder: dir.display().to_string(),
        lost: None,
        endurance: Vec::new(),
        diagnostic,
    }
}

/// The low-current look at a unit that has no calibration in force.
fn run_diagnostic(args: &Args, target: &Target, because: String, console: &Console) -> VerbResult {
    if args.on_unproven {
        return Err(Failure::usage(format!(
            "{}: nothing moved. --on-unproven needs a calibration that is not proven or suspended, and \
             none is in force: {because}. Without the option, friction shows at low current where the \
             lever binds.",
            target.unit
        )));
    }
    let peak = diagnostic_peak(target).0;
    console.note(&format!(
        "No calibration is in force: {because}.\nSo friction only looks for where the lever binds: open \
         loop, at most {peak:.2} A. The lever may let go and jump either way.\n"
    ));
    let cautions = args.target.hands_clear.confirm(target.motion())?;
    let mut bench = link_rig::open(target, cautions)?;
    let subject = Subject::moved(target, "looking for where it binds, at low current", None);
    let mut screen = LiveScreen::new(console, subject, target.port.pacing());
    let dir = record_diagnostic(&mut bench, target, because.clone(), &mut screen);
    drop(screen);
    let dir = dir?;
    let run = Run::open(&dir).map_err(Failure::undetermined)?;
    let picture = picture(&run, &target.profile).ok_or_else(|| {
        Failure::undetermined(format!("{}: holds no sample of the ramps. Run friction again.", dir.display()))
    })?;
    let text = diagnostic_text(target, &dir, &picture);
    let findings = picture.findings();
    let document = document(target, &dir, Some(Diagnostic { because, findings, picture }));
    console.result(&text, &MotionDocument { lost: run.loss().text(), ..document })?;
    Ok(Exit::Done)
}

fn diagnostic_text(target: &Target, dir: &Path, picture: &Picture) -> String {
    let mut lines =
        vec![format!("{}: where it binds, at low current (a picture, not a measurement)", target.unit)];
    lines.extend(picture.findings().iter().map(|finding| format!("  {finding}")));
    lines.push(String::new());
    lines.extend(picture.curve());
    lines.push(format!("  record {}", dir.display()));
    lines.join("\n")
}
