//! One side of a comparison: the runs of a unit's newest job, or of one learn.

use std::path::Path;

use super::super::name_of;
use crate::criteria::{CriteriaArgs, recorded_on, same_profile};
use crate::evaluate::UnitResult;
use crate::exit::Failure;
use crate::limits::Limits;
use crate::profile::Profile;
use crate::record::{Job, Run, RunKind, RunName};
use crate::unit_result::Records;

/// One side.
pub(super) struct ComparedUnit {
    /// How it is called: the unit and its job, or the learn.
    pub(super) name: String,
    pub(super) result: UnitResult,
    pub(super) profile: Profile,
    pub(super) limits: Limits,
}

impl ComparedUnit {
    /// The records in a folder, checked and judged.
    pub(super) fn of(dir: &Path, job: &Job, criteria: &CriteriaArgs) -> Result<Self, Failure> {
        let real = dir.canonicalize().map_err(|error| {
            Failure::usage(format!("{}: {error}. Give a unit's folder, such as units/NAME.", dir.display()))
        })?;
        let learn = real.file_name().and_then(|name| name.to_str()).and_then(RunName::parse);
        let unit_dir = match learn {
            Some(_) => real.parent().unwrap_or(&real),
            None => &real,
        };
        let unit = name_of(unit_dir)?;
        let Records { runs, checked } = Records::read(unit_dir)?;
        let (profile, limits) = criteria.read(recorded_on(&runs))?;
        same_profile(&runs, &profile)?;
        let runs = match learn {
            Some(learn) => of_the_learn(runs, learn),
            None => runs,
        };
        let result = UnitResult::of_job(runs, &checked, &unit, (&profile, &limits), job);
        if result.runs.is_empty() {
            return Err(Failure::usage(format!(
                "{}: no run on record counts ({job}). Name a job that is on record both as found and as \
                 left, or give a second folder.",
                dir.display()
            )));
        }
        let judged = &result.verdict.job;
        let name = match learn {
            Some(learn) => format!("{unit}, {learn}"),
            None if judged.is_unnamed() => unit,
            None => format!("{unit}, {judged}"),
        };
        Ok(Self { name, result, profile, limits })
    }
}

/// A learn and the runs until the next one.
fn of_the_learn(runs: Vec<Run>, learn: RunName) -> Vec<Run> {
    let is_next = |run: &&Run| run.name.kind == RunKind::Learn && run.name > learn;
    let next = runs.iter().find(is_next).map(|run| run.name);
    runs.into_iter().filter(|run| run.name >= learn && next.is_none_or(|next| run.name < next)).collect()
}
