//! Reads the learns of a unit from their run folders.

use std::path::Path;

use firmware_core::calibration::{Calibration, CalibrationError, Setup, Warmth};
use firmware_core::held::{Held, Origin, Standing};
use firmware_core::units::Tick;

use super::origin::tag;
use super::standing::{Learn, NoneWhy, Reach, RunEnd, UnitStanding};
use crate::exit::Failure;
use crate::record::{
    Checked, Provenance, RecordError, Run, RunHead, RunInfo, RunKind, RunName, RunStatus, RunTrouble, runs_in,
};

/// How the unit in a folder stands in a setup and warmth.
///
/// # Errors
/// When the folder cannot be listed.
pub fn read(unit_dir: &Path, unit: &str, setup: Setup, warmth: Warmth) -> Result<UnitStanding, Failure> {
    let is_learn = |run: RunName| run.kind == RunKind::Learn;
    let checked = Checked::of(unit_dir, is_learn).map_err(Failure::undetermined)?;
    let runs = runs_in(unit_dir).map_err(Failure::undetermined)?;
    let found = runs.into_iter().filter(|(run, _)| is_learn(*run));
    let own = found.filter(|(run, _)| checked.trouble(*run).is_none_or(|t| *t == RunTrouble::Added));
    let mut learns: Vec<Learn> =
        own.filter_map(|(run, dir)| learn(run, &dir, unit, setup, warmth, &checked)).collect();
    // A learn that the log does not name may take a calibration out of force and gives none.
    for learn in &mut learns {
        if let (RunEnd::Found(_), Some(trouble)) = (&learn.end, checked.trouble(learn.run)) {
            learn.end = RunEnd::Without(NoneWhy::Unsound { error: trouble.to_string() });
        }
    }
    let named = checked.unsound.iter().filter(|one| one.trouble != RunTrouble::Added);
    learns.extend(named.map(|one| unsound(one.run, setup, one.trouble.to_string())));
    learns.sort_by_key(|learn| learn.run);
    Ok(UnitStanding::after(learns))
}

/// The same by what `run.toml` of each run says: neither samples nor log are looked at.
#[must_use]
pub(crate) fn as_recorded<'a>(
    heads: impl IntoIterator<Item = &'a RunHead>,
    unit: &str,
    setup: Setup,
    warmth: Warmth,
) -> UnitStanding {
    let learns = heads.into_iter().filter(|head| head.name.kind == RunKind::Learn);
    UnitStanding::after(learns.filter_map(|head| said_by(head, unit, setup, warmth)))
}

/// It may have been this setup's, and full.
fn unsound(run: RunName, setup: Setup, error: String) -> Learn {
    Learn { run, setup, reach: Reach::Full, end: RunEnd::Without(NoneWhy::Unsound { error }) }
}

/// One learn, where it says something of this unit, setup and warmth.
fn learn(
    name: RunName,
    dir: &Path,
    unit: &str,
    setup: Setup,
    warmth: Warmth,
    checked: &Checked,
) -> Option<Learn> {
    if let Some(trouble) = &checked.log {
        return Some(unsound(name, setup, trouble.to_string()));
    }
    let run = match Run::open(dir) {
        Ok(run) => checked.without_doubted(run).into_head(),
        // Cut before its first line: nothing moved.
        Err(RecordError::NoRun { .. }) => return None,
        Err(error) => return Some(unsound(name, setup, error.to_string())),
    };
    said_by(&run, unit, setup, warmth)
}

/// What the record of a learn says of this unit, setup and warmth.
fn said_by(head: &RunHead, unit: &str, setup: Setup, warmth: Warmth) -> Option<Learn> {
    let info = &head.file.run;
    if info.unit != unit || info.setup != setup {
        return None;
    }
    let end = end(head);
    // A learn cold speaks of the hot calibration only when it finds none: the stops are the same ones.
    if info.warmth != warmth && matches!(end, RunEnd::Found(_)) {
        return None;
    }
    let reach = if head.file.is_relearn() { Reach::Relearn } else { Reach::Full };
    Some(Learn { run: head.name, setup, reach, end })
}

fn end(run: &RunHead) -> RunEnd {
    let outcome = &run.file.outcome;
    if let RunStatus::Incomplete { reason } = &run.file.status {
        return RunEnd::Without(NoneWhy::CutShort { reason: reason.clone() });
    }
    if let Some(refusal) = &outcome.refusal {
        return RunEnd::Without(NoneWhy::Refused(refusal.clone()));
    }
    if run.file.sums.is_none() {
        let error = format!("{}: closed without checksums", run.dir.display());
        return RunEnd::Without(NoneWhy::Unsound { error });
    }
    let (Some(provenance), Some(tick)) = (&run.file.run.provenance, outcome.decided_at) else {
        return RunEnd::Without(NoneWhy::WithoutProvenance);
    };
    let Some(calibration) = outcome.calibration else {
        let error = format!("{}: ended without an outcome", run.dir.display());
        return RunEnd::Without(NoneWhy::Unsound { error });
    };
    if let Err(error) = calibration.check_for(run.file.run.setup) {
        let error = format!("{}: {}", run.dir.display(), unusable(error));
        return RunEnd::Without(NoneWhy::Unsound { error });
    }
    let standing = Standing::of_open(run.open_checks());
    let held = held(run.name, &run.file.run, provenance, calibration, standing, Tick(tick));
    RunEnd::Found(Box::new((held, provenance.clone())))
}

fn held(
    run: RunName,
    info: &RunInfo,
    provenance: &Provenance,
    calibration: Calibration,
    standing: Standing,
    tick: Tick,
) -> Held {
    let tag = tag(&info.unit, &provenance.serials, run);
    Held::of_full_learn(calibration, standing, Origin { tag, settings: provenance.settings, tick })
}

fn unusable(error: CalibrationError) -> String {
    match error {
        CalibrationError::OtherSetup { learned, wanted } => {
            format!("its calibration was learned in setup {learned}, but its run was made in setup {wanted}")
        }
        CalibrationError::NoSpan { span_counts } => format!("its stops are {span_counts} counts apart"),
        CalibrationError::Clearance { clearance, max } => {
            format!("its clearance is {clearance} of travel, allowed is at most {max}")
        }
    }
}
