//! Holds a unit's folder against its log.
//!
//! In: the folder. Out: [`Checked`]: what is wrong with the log, and each run that is not what was recorded.

use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};

use super::{ConfirmedTrouble, LOG_FILE, LogHead, Logged, UnitLog};
use crate::record::{RecordError, Run, RunHead, RunName, Sha256Hex, hashes, runs_in};
use crate::short_text::ShortText;

/// A unit's folder, checked.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Checked {
    /// Length and head of the log; none where there is no log.
    pub head: Option<LogHead>,
    /// What is wrong with the log itself: it says nothing then.
    pub log: Option<LogTrouble>,
    /// Runs that are not what was recorded.
    pub unsound: Vec<Unsound>,
    /// What is wrong with the confirmations.
    pub confirmed: Option<ConfirmedTrouble>,
    /// Runs that no log was kept of: their own checksums are all there is.
    pub unchained: Vec<RunName>,
    /// A crash tore the last line apart; it counts for nothing.
    pub is_torn: bool,
}

/// A run that is not what was recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unsound {
    /// The run.
    pub run: RunName,
    /// What is wrong.
    pub trouble: RunTrouble,
}

/// What can be wrong with a log.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LogTrouble {
    /// A line was changed, removed, added or moved.
    #[error("line {line} of {LOG_FILE} does not follow from the line before: the log was changed")]
    Broken {
        /// The first line that does not.
        line: u64,
    },
    /// Its runs say that there was one.
    #[error(
        "{run} was recorded into a log, but the {LOG_FILE} of that time is not here: it was removed or \
         started over"
    )]
    Removed {
        /// One of them.
        run: RunName,
    },
}

/// What can be wrong with a run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RunTrouble {
    /// Its evidence is not what was recorded.
    Changed,
    /// What stands in `[made]` of `run.toml`: date, port, line statistics.
    ChangedMade,
    /// The log names it and its folder is gone.
    Removed,
    /// It holds what was recorded as another run.
    Swapped {
        /// That run.
        with: RunName,
    },
    /// The log does not name it.
    Added,
    /// Its record says that it ended, the log does not: a crash, or a log that was shortened.
    NotClosed,
    /// The same, and a person has said why: it stays incomplete and counts for nothing.
    Explained {
        /// Who.
        by: ShortText,
        /// Why.
        why: ShortText,
    },
}

/// How much a trouble says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    /// A person has answered it.
    Answered,
    /// It may be a crash as well.
    Doubt,
    /// Something is not as it was recorded.
    Found,
}

impl RunTrouble {
    /// How much it says.
    #[must_use]
    pub fn weight(&self) -> Weight {
        match self {
            Self::Explained { .. } => Weight::Answered,
            Self::NotClosed => Weight::Doubt,
            Self::Changed | Self::ChangedMade | Self::Removed | Self::Swapped { .. } | Self::Added => {
                Weight::Found
            }
        }
    }
}

impl fmt::Display for RunTrouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Changed => f.write_str("changed since it was recorded"),
            Self::ChangedMade => {
                f.write_str("changed since it was recorded: [made] in run.toml (date, port, line)")
            }
            Self::Removed => f.write_str("removed: the log names it and its folder is gone"),
            Self::Swapped { with } => write!(f, "swapped: it holds what was recorded as {with}"),
            Self::Added => f.write_str("added: the log does not name it"),
            Self::NotClosed => f.write_str(
                "incomplete: the log has no closing entry (the tool crashed at that moment, or the log was \
                 shortened)",
            ),
            Self::Explained { by, why } => write!(f, "incomplete: never closed, explained by {by}: {why}"),
        }
    }
}

impl fmt::Display for Unsound {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.run, self.trouble)
    }
}

impl Checked {
    /// Checks the runs that are wanted.
    ///
    /// # Errors
    /// When folder, log or a run's file cannot be read: then nothing can be said.
    pub fn of(unit_dir: &Path, wanted: impl Fn(RunName) -> bool) -> Result<Self, RecordError> {
        let found: BTreeMap<RunName, PathBuf> =
            runs_in(unit_dir)?.into_iter().filter(|(run, _)| wanted(*run)).collect();
        let Some(log) = UnitLog::read(unit_dir)? else {
            let log = found.values().find_map(|dir| was_logged(dir));
            let unchained = found.into_keys().collect();
            return Ok(Self { log, unchained, ..Self::default() });
        };
        let mut checked = Self {
            head: Some(log.head.clone()),
            log: log.broken.clone(),
            is_torn: log.is_torn,
            confirmed: ConfirmedTrouble::of(unit_dir, &log)?,
            ..Self::default()
        };
        let named = log.runs.keys().copied().filter(|run| wanted(*run));
        let mut all: Vec<RunName> = named.chain(found.keys().copied()).collect();
        all.sort();
        all.dedup();
        for run in all {
            checked.look(&log, run, found.get(&run))?;
        }
        Ok(checked)
    }

    /// By the log alone: its chain, and the runs that it names. No sample is read, so a run that was changed goes unseen.
    ///
    /// # Errors
    /// When the log cannot be read.
    pub(crate) fn by_names(
        unit_dir: &Path,
        runs: &[(RunName, Result<RunHead, RecordError>)],
    ) -> Result<Self, RecordError> {
        let Some(log) = UnitLog::read(unit_dir)? else {
            return Ok(Self { unchained: runs.iter().map(|(name, _)| *name).collect(), ..Self::default() });
        };
        let found: BTreeMap<RunName, bool> = runs
            .iter()
            .map(|(name, run)| (*name, run.as_ref().is_ok_and(|run| run.file.sums.is_some())))
            .collect();
        let lost = log.runs.keys().filter(|run| !found.contains_key(run));
        let removed = lost.map(|run| Unsound { run: *run, trouble: RunTrouble::Removed });
        let doubted = found.iter().filter_map(|(run, is_closed)| {
            let trouble = match log.runs.get(run) {
                None if !is_closed => None,
                None => Some(RunTrouble::Added),
                Some(Logged::Open) => is_closed.then_some(RunTrouble::NotClosed),
                Some(Logged::Explained { by, why, .. }) => {
                    Some(RunTrouble::Explained { by: by.clone(), why: why.clone() })
                }
                Some(Logged::Earlier(_) | Logged::Closed { .. }) => None,
            };
            trouble.map(|trouble| Unsound { run: *run, trouble })
        });
        let unsound = removed.chain(doubted).collect();
        let is_earlier = |run: &&RunName| matches!(log.runs.get(run), Some(Logged::Earlier(_)));
        let unchained = found.keys().filter(is_earlier).copied().collect();
        Ok(Self {
            log: log.broken.clone(),
            is_torn: log.is_torn,
            unsound,
            unchained,
            head: Some(log.head),
            ..Self::default()
        })
    }

    fn look(&mut self, log: &UnitLog, run: RunName, dir: Option<&PathBuf>) -> Result<(), RecordError> {
        let trouble = match (log.runs.get(&run), dir) {
            (None, None) => None,
            // A tool that was killed between making the folder and its line in the log: nothing was recorded.
            (None, Some(dir)) if is_empty(dir) => None,
            (Some(_), None) => Some(RunTrouble::Removed),
            (None, Some(dir)) => Some(log.holder(&hashes::whole(dir)?, RunTrouble::Added)),
            (Some(Logged::Open), Some(dir)) => {
                Run::open(dir).is_ok_and(|run| run.file.sums.is_some()).then_some(RunTrouble::NotClosed)
            }
            (Some(Logged::Explained { whole, by, why }), Some(dir)) => {
                let now = hashes::whole(dir)?;
                let explained = RunTrouble::Explained { by: by.clone(), why: why.clone() };
                Some(if now == *whole { explained } else { log.holder(&now, RunTrouble::Changed) })
            }
            (Some(Logged::Earlier(whole)), Some(dir)) => {
                self.unchained.push(run);
                self.log = self.log.take().or_else(|| was_logged(dir));
                let now = hashes::whole(dir)?;
                (now != *whole).then(|| log.holder(&now, RunTrouble::Changed))
            }
            (Some(Logged::Closed { evidence, whole }), Some(dir)) => {
                let now = hashes::whole(dir)?;
                let is_same = |run: Run| run.evidence == *evidence;
                let trouble = || match Run::open(dir).map(is_same) {
                    Ok(true) => RunTrouble::ChangedMade,
                    Ok(false) | Err(_) => RunTrouble::Changed,
                };
                (now != *whole).then(|| log.holder(&now, trouble()))
            }
        };
        self.unsound.extend(trouble.map(|trouble| Unsound { run, trouble }));
        Ok(())
    }

    /// The heaviest of what is found; nothing where every run is as it was recorded.
    #[must_use]
    pub fn weight(&self) -> Option<Weight> {
        let log = self.log.as_ref().map(|_| Weight::Found);
        let confirmed = self.confirmed.map(ConfirmedTrouble::weight);
        self.unsound.iter().map(|one| one.trouble.weight()).chain(log).chain(confirmed).max()
    }

    /// The run without confirmations that the log does not vouch for.
    #[must_use]
    pub(crate) fn without_doubted(&self, mut run: Run) -> Run {
        if self.confirmed.is_some() {
            run.confirmed.clear();
        }
        run
    }

    /// True where nothing is known against the run.
    #[must_use]
    pub(crate) fn vouches_for(&self, run: RunName) -> bool {
        self.log.is_none() && self.trouble(run).is_none()
    }

    /// Name and trouble of a run, where it has one.
    #[must_use]
    pub fn trouble(&self, run: RunName) -> Option<&RunTrouble> {
        self.unsound.iter().find(|one| one.run == run).map(|one| &one.trouble)
    }
}

impl UnitLog {
    /// The run that was recorded with this hash, else what it otherwise is.
    fn holder(&self, now: &Sha256Hex, otherwise: RunTrouble) -> RunTrouble {
        let holds = |logged: &Logged| match logged {
            Logged::Earlier(whole) | Logged::Closed { whole, .. } | Logged::Explained { whole, .. } => {
                whole == now
            }
            Logged::Open => false,
        };
        let other = self.runs.iter().find(|(_, logged)| holds(logged));
        other.map_or(otherwise, |(run, _)| RunTrouble::Swapped { with: *run })
    }
}

/// A run that was recorded into a log says so in its sums.
fn was_logged(dir: &Path) -> Option<LogTrouble> {
    let run = Run::open(dir).ok()?;
    run.file.sums.as_ref()?.evidence_sha256.as_ref()?;
    Some(LogTrouble::Removed { run: run.name })
}

fn is_empty(dir: &Path) -> bool {
    dir.read_dir().is_ok_and(|mut entries| entries.next().is_none())
}
