//! By what a unit is judged: its profile and its acceptance limits, as named on the command line.
//!
//! In: options, and the actuator that a virtual port or a record names. Out: [`Profile`] and [`Limits`]. The built-in
//! ones are inventions: a real unit is refused without a profile of its own, and a profile without limits of the same
//! name.

use std::path::{Path, PathBuf};

use crate::actuator::{self, BuiltInActuator};
use crate::exit::Failure;
use crate::limits::Limits;
use crate::profile::Profile;
use crate::record::Run;
use plant::toml_file::TomlFile;

/// Where the system keeps pseudo-terminals.
const PSEUDO_TERMINALS: &str = "/dev/pts";

/// The options.
#[derive(Debug, Clone, Default, clap::Args)]
pub(crate) struct CriteriaArgs {
    /// Actuator profile, TOML; a real unit needs its own [default: the virtual actuator's own,
    /// invented]
    #[arg(long, value_name = "FILE")]
    pub profile: Option<PathBuf>,
    /// Acceptance limits, TOML [default: those of the built-in profile]
    #[arg(long, value_name = "FILE")]
    pub limits: Option<PathBuf>,
}

impl CriteriaArgs {
    /// Profile and limits; without `--profile`, those of `actuator`.
    ///
    /// # Errors
    /// Names file, line and field; or says that there are no limits for this profile.
    pub(crate) fn read(&self, actuator: &BuiltInActuator) -> Result<(Profile, Limits), Failure> {
        let profile = profile(self.profile.as_deref(), actuator)?;
        let built_in = actuator::named(&profile.name).unwrap_or(actuator);
        let limits = match &self.limits {
            Some(path) => Limits::read(&TomlFile::read(path).map_err(Failure::usage)?),
            None => built_in.limits(),
        }
        .map_err(Failure::usage)?;
        if limits.name == profile.name {
            return Ok((profile, limits));
        }
        let whose = match &self.limits {
            Some(path) => format!("{}: name = {:?}: these limits are", path.display(), limits.name),
            None => format!("--limits is missing: the built-in ones are invented for {:?},", limits.name),
        };
        Err(Failure::usage(format!(
            "{whose} not for the profile {:?}. Give limits of that name, each set from the unit's data \
             sheet; rigs/profiles/bench-actuator-a/limits.toml is an example.",
            profile.name
        )))
    }

    /// Refuses an invented profile for a real unit, by whatever name and file it comes. A pseudo-terminal has no unit
    /// behind it: `vanebench rig` serves its virtual ones there, for practice.
    ///
    /// # Errors
    /// Says what is missing and where to begin.
    pub(crate) fn of_a_real_unit(&self, profile: &Profile, port: &Path) -> Result<(), Failure> {
        let is_invented = || actuator::is_invented(profile).map_err(Failure::usage);
        if self.profile.is_some() && (port.starts_with(PSEUDO_TERMINALS) || !is_invented()?) {
            return Ok(());
        }
        Err(Failure::usage(format!(
            "--profile: {} is invented and describes no real unit: it says so, or its actuator and stop windows are those \
             of a built-in invention. Copy profile.toml and limits.toml from rigs/profiles/bench-actuator-a, give both a \
             name of their own, set every value from the unit's data sheet, and say in `origin` where the values come from.",
            profile.name
        )))
    }
}

/// The profile in a file, or the actuator's own.
///
/// # Errors
/// Names file, line and field.
pub fn profile(path: Option<&Path>, actuator: &BuiltInActuator) -> Result<Profile, Failure> {
    match path {
        Some(path) => TomlFile::read(path).and_then(|file| Profile::read(&file)),
        None => actuator.profile(),
    }
    .map_err(Failure::usage)
}

/// The built-in actuator under whose profile runs were recorded; the demo's where it is none of them.
pub(crate) fn recorded_on(runs: &[Run]) -> &'static BuiltInActuator {
    runs.iter().find_map(|run| actuator::named(&run.file.run.profile)).unwrap_or(&actuator::DEMO)
}

/// Refuses runs that were recorded under another profile: their figures would be judged by foreign windows.
///
/// # Errors
/// Names the run, both profiles and the option.
pub(crate) fn same_profile(runs: &[Run], profile: &Profile) -> Result<(), Failure> {
    match runs.iter().find(|run| run.file.run.profile != profile.name) {
        None => Ok(()),
        Some(run) => Err(Failure::usage(format!(
            "{}: recorded under the profile {1}, but to be judged under {2}. Give --profile with the file \
             of the profile {1}.",
            run.dir.display(),
            run.file.run.profile,
            profile.name
        ))),
    }
}
