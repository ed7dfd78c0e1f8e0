//! Which job on a unit a run belongs to, and how the unit stands in it.
//!
//! In: what the command line says. Out: what a run keeps and a verdict counts by. A unit that comes back a year later
//! keeps its folder; its jobs are told apart by these words.

use std::fmt;

use clap::ValueEnum;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::short_text::ShortText;

/// How the unit stands in the job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema, ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum JobState {
    /// As it came in, before anything was done to it
    AsFound,
    /// As it goes out
    AsLeft,
}

/// A job and the unit's state in it, as far as they are named.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema, clap::Args)]
#[serde(default, deny_unknown_fields)]
pub struct Job {
    /// Name of the job; a verdict counts the runs of one job
    #[arg(id = "job", long = "job", value_name = "NAME")]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<ShortText>,
    /// How the unit stands in the job; a verdict counts the runs of one state
    #[arg(long, value_enum)]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub state: Option<JobState>,
}

impl Job {
    /// True where neither is named.
    #[must_use]
    pub(crate) fn is_unnamed(&self) -> bool {
        self.name.is_none() && self.state.is_none()
    }

    /// True where `other` has each word that is named here, capitals aside.
    #[must_use]
    pub(crate) fn fits(&self, other: &Self) -> bool {
        let name =
            self.name.as_ref().is_none_or(|name| other.name.as_ref().is_some_and(|one| one.is_same(name)));
        name && self.state.is_none_or(|state| other.state == Some(state))
    }

    /// True for the same job and state, capitals aside.
    #[must_use]
    pub(crate) fn is_same(&self, other: &Self) -> bool {
        self.fits(other) && other.fits(self)
    }
}

impl fmt::Display for JobState {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::AsFound => "as found",
            Self::AsLeft => "as left",
        })
    }
}

impl fmt::Display for Job {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (&self.name, self.state) {
            (None, None) => f.write_str("no job named"),
            (Some(name), None) => write!(f, "job {name}"),
            (None, Some(state)) => write!(f, "no job named, {state}"),
            (Some(name), Some(state)) => write!(f, "job {name}, {state}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_job_fits_what_has_its_words_and_is_same_only_both_ways() {
        let job = |name: Option<&str>, state| Job { name: name.map(|n| n.parse().unwrap()), state };
        let full = job(Some("A-17"), Some(JobState::AsLeft));
        assert!(job(None, None).fits(&full) && job(Some("a-17"), None).fits(&full));
        assert!(!job(Some("A-18"), None).fits(&full) && !job(None, Some(JobState::AsFound)).fits(&full));
        assert!(!job(Some("A-17"), None).is_same(&full) && full.is_same(&job(Some("a-17"), full.state)));
        assert_eq!(full.to_string(), "job A-17, as left");
    }
}
