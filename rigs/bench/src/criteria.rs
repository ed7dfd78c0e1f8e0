//! By what a unit is judged: its profile and its acceptance limits, as named on the command line.
//!
//! In: options. Out: [`Profile`] and [`Limits`]. The built-in ones are inventions: a real unit is refused
//! without a profile of its own, and another profile without limits of its own.

use std::path::{Path, PathBuf};

use crate::exit::Failure;
use crate::limits::Limits;
use crate::profile::Profile;
use crate::record::Run;
use crate::toml_file::TomlFile;

/// The options.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct CriteriaArgs {
    /// Actuator profile, TOML; a real unit needs its own [default: the built-in, invented bench-actuator-a]
    #[arg(long, value_name = "FILE")]
    pub profile: Option<PathBuf>,
    /// Acceptance limits, TOML [default: those of the built-in profile, for that profile only]
    #[arg(long, value_name = "FILE")]
    pub limits: Option<PathBuf>,
}

impl CriteriaArgs {
    /// Profile and limits.
    ///
    /// # Errors
    /// Names file, line and field; or says that the built-in limits are not this profile's.
    pub fn read(&self) -> Result<(Profile, Limits), Failure> {
        let profile = profile(self.profile.as_deref())?;
        let limits = match &self.limits {
            Some(path) => Limits::read(&TomlFile::read(path).map_err(Failure::usage)?),
            None => Limits::demo(),
        }
        .map_err(Failure::usage)?;
        if self.limits.is_none() && limits.name != profile.name {
            return Err(Failure::usage(format!(
                "--limits is missing: the built-in limits are invented for {}, not for {}. Copy \
                 rigs/profiles/bench-actuator-a.limits.toml and set each limit from the unit's data sheet.",
                limits.name, profile.name
            )));
        }
        Ok((profile, limits))
    }
}

/// The profile in a file, or the built-in one.
///
/// # Errors
/// Names file, line and field.
pub fn profile(path: Option<&Path>) -> Result<Profile, Failure> {
    match path {
        Some(path) => TomlFile::read(path).and_then(|file| Profile::read(&file)),
        None => Profile::demo(),
    }
    .map_err(Failure::usage)
}

/// Refuses runs that were recorded under another profile: their figures would be judged by foreign windows.
///
/// # Errors
/// Names the run, both profiles and the option.
pub fn same_profile(runs: &[Run], profile: &Profile) -> Result<(), Failure> {
    match runs.iter().find(|run| run.file.run.profile != profile.name) {
        None => Ok(()),
        Some(run) => Err(Failure::usage(format!(
            "{}: recorded under the profile {}, to be judged under {}. Give --profile with the file of the profile {1}.",
            run.dir.display(),
            run.file.run.profile,
            profile.name
        ))),
    }
}
