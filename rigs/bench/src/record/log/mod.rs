//! A unit's log: what was recorded of it, each line with the hash of the line before.
//!
//! In: entries as runs open and close. Out: `log.jsonl` in the unit's folder, and on reading its runs, its head and
//! whether the chain holds. A last line that a crash tore apart counts for nothing.

mod append;
mod attached;
mod check;
mod confirmed;
mod entry;
mod explain;

use std::collections::BTreeMap;
use std::path::Path;

use plant::files::bytes_of;
use schemars::JsonSchema;
use serde::Serialize;

use super::{RecordError, RunName, Sha256Hex};
use crate::short_text::ShortText;
pub(super) use append::append;
pub(crate) use attached::{Attached, AttachedTrouble, attach, attached, attached_bytes, attached_trouble};
pub use check::{Checked, LogTrouble, RunTrouble, Unsound, Weight};
pub use confirmed::ConfirmedTrouble;
use entry::ChainedLine;
pub(super) use entry::Entry;
pub(crate) use explain::explain;

/// The file in the unit's folder.
pub(crate) const LOG_FILE: &str = "log.jsonl";
/// Most bytes of it: two lines of 400 bytes for each of 9999 runs.
const LOG_LIMIT: u64 = 16 << 20;
/// What nobody can see from a log alone.
pub(crate) const HEAD_NOTE: &str =
    "Note the count and the head somewhere else: only they show whether the log was shortened or rewritten.";

/// How long a log is, and the hash of its last line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct LogHead {
    /// Entries.
    pub entries: u64,
    /// SHA-256 of the last line, without its line end.
    pub sha256: Sha256Hex,
}

impl LogHead {
    /// For the screen.
    #[must_use]
    pub fn lines(&self) -> [String; 2] {
        [format!("  log: {} entries, head", self.entries), format!("    {}", self.sha256)]
    }
}

/// A log as it stands on disk.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct UnitLog {
    pub(super) head: LogHead,
    runs: BTreeMap<RunName, Logged>,
    /// Each state of `confirmed.toml`, oldest first.
    confirmed: Vec<Sha256Hex>,
    attached: Vec<Attached>,
    broken: Option<LogTrouble>,
    is_torn: bool,
}

/// What the log says of a run.
#[derive(Debug, Clone, PartialEq)]
enum Logged {
    /// It was there before the log.
    Earlier(Sha256Hex),
    Open,
    Closed {
        evidence: Sha256Hex,
        whole: Sha256Hex,
    },
    /// Never closed, and a person has said why.
    Explained {
        whole: Sha256Hex,
        by: ShortText,
        why: ShortText,
    },
}

impl UnitLog {
    /// The log of the unit in that folder; nothing where there is none.
    pub(super) fn read(unit_dir: &Path) -> Result<Option<Self>, RecordError> {
        let path = unit_dir.join(LOG_FILE);
        if !path.exists() {
            return Ok(None);
        }
        let bytes = bytes_of(&path, LOG_LIMIT).map_err(RecordError::unread(&path))?;
        Ok(Some(Self::of(&bytes)))
    }

    fn of(bytes: &[u8]) -> Self {
        let (whole, torn) = bytes.split_at(whole_length(bytes));
        let head = LogHead { entries: 0, sha256: Sha256Hex::none() };
        let (runs, confirmed, attached) = (BTreeMap::new(), Vec::new(), Vec::new());
        let mut log = Self { head, runs, confirmed, attached, broken: None, is_torn: !torn.is_empty() };
        for line in whole.split_inclusive(|byte| *byte == b'\n') {
            log.take(line.strip_suffix(b"\n").unwrap_or(line));
        }
        log
    }

    fn take(&mut self, text: &[u8]) {
        let before = std::mem::replace(&mut self.head.sha256, Sha256Hex::of(text));
        self.head.entries += 1;
        let number = self.head.entries;
        let line = serde_json::from_slice::<ChainedLine>(text).ok();
        let is_next = line.as_ref().is_some_and(|line| line.entry == number && line.before == before);
        let is_taken = line.is_some_and(|line| self.says(line.says, number).is_some());
        if !(is_next && is_taken) {
            self.broken.get_or_insert(LogTrouble::Broken { line: number });
        }
    }

    /// Nothing where it contradicts what stands before it.
    fn says(&mut self, entry: Entry, number: u64) -> Option<()> {
        match entry {
            Entry::Begun { unit: _, earlier, confirmed } => {
                self.confirmed.extend(confirmed);
                for (run, whole) in earlier {
                    self.runs.insert(RunName::parse(&run)?, Logged::Earlier(whole));
                }
                (number == 1).then_some(())
            }
            Entry::Opened { run } => {
                let was = self.runs.insert(RunName::parse(&run)?, Logged::Open);
                was.is_none().then_some(())
            }
            Entry::Closed { run, evidence, whole } => {
                let was = self.runs.insert(RunName::parse(&run)?, Logged::Closed { evidence, whole });
                (was == Some(Logged::Open)).then_some(())
            }
            Entry::Confirmed { run, file } => {
                self.confirmed.push(file);
                self.runs.contains_key(&RunName::parse(&run)?).then_some(())
            }
            Entry::Attached(file) => {
                let is_new = self.attached.iter().all(|one| one.name != file.name);
                self.attached.push(file);
                is_new.then_some(())
            }
            Entry::Explained { run, whole, by, why } => {
                let was = self.runs.insert(RunName::parse(&run)?, Logged::Explained { whole, by, why });
                (was == Some(Logged::Open)).then_some(())
            }
        }
    }

    /// Highest number that a run has had.
    pub(super) fn last_ordinal(&self) -> u32 {
        self.runs.keys().map(|run| run.ordinal).max().unwrap_or(0)
    }
}

/// Bytes of the lines that came to their end.
fn whole_length(bytes: &[u8]) -> usize {
    bytes.iter().rposition(|byte| *byte == b'\n').map_or(0, |at| at + 1)
}
