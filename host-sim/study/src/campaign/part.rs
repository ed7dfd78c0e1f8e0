//! Keeps what a part of a campaign has counted, so that it can go on after an interruption and be merged.
//!
//! In: what is counted so far and the marks of the campaign. Out: a file of two lines, whole or absent: what is kept
//! as JSON, and its SHA-256. Refuses a file of another campaign, naming the mark, and one that was changed.

use std::path::{Path, PathBuf};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest, Sha256};

use super::part_error::PartError;
use super::share::Share;
use super::{Counted, Progress};
use plant::files::{self, ReadError};
use plant::shown::{brief, brief_message};

/// Most bytes of a part: several times what a campaign of a million runs keeps, and more runs keep hardly more.
const MOST_BYTES: u64 = 16 << 20;
/// Digits of a sum that stand for long settings: enough that two never agree by chance.
const DIGITS: usize = 16;

/// Which question a campaign asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, strum::Display)]
#[serde(rename_all = "kebab-case")]
#[strum(serialize_all = "kebab-case")]
pub enum Asks {
    /// A scenario over units that differ.
    Scenario,
    /// End-stop learning against every fault.
    Learn,
    /// The guard in random worlds.
    Guard,
    /// How well a learn repeats.
    Gauge,
}

/// What must be equal for parts to be of one campaign, by name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Marks(Vec<(String, String)>);

impl Marks {
    /// The number of runs, and the code that makes them.
    pub(super) fn new(runs: u64) -> Self {
        let code = env!("CAMPAIGN_CODE").get(..DIGITS).unwrap_or_default();
        let program = format!("{} {code}", env!("CARGO_PKG_VERSION"));
        Self(Vec::new()).with("program", program).with("number of runs", runs)
    }

    /// Adds a mark with its value in full.
    pub(super) fn with(mut self, what: &str, value: impl ToString) -> Self {
        self.0.push((what.to_owned(), value.to_string()));
        self
    }

    /// Adds a mark with a checksum in place of its value.
    pub(super) fn with_sum_of(self, what: &str, value: &impl std::fmt::Debug) -> Self {
        let mut sum = sum(&format!("{value:?}"));
        sum.truncate(DIGITS);
        self.with(what, sum)
    }

    /// The first mark that differs: its name, its value here and there.
    fn difference(&self, other: &Self) -> Option<[String; 3]> {
        let there = |what: &String| other.0.iter().find(|(named, _)| named == what).map(|(_, value)| value);
        let shown =
            |value: Option<&String>| value.map_or_else(|| "not given".to_owned(), |value| brief(value));
        let differs = self.0.iter().find(|(what, value)| there(what) != Some(value));
        let (what, here) = differs?;
        Some([brief(what), shown(Some(here)), shown(there(what))])
    }
}

/// What is kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct KeptPart<C> {
    pub asks: Asks,
    pub marks: Marks,
    pub runs: u64,
    pub share: Share,
    pub done: u64,
    pub told: Value,
    pub counted: C,
}

impl<C: Counted> KeptPart<C> {
    /// Loads the part that is to go on; nothing when there is no file.
    pub(super) fn load(
        file: &Path,
        asks: Asks,
        wanted: &Marks,
        share: Share,
    ) -> Result<Option<Self>, PartError> {
        let text = match files::text_of(file, MOST_BYTES) {
            Ok(text) => text,
            // Told now, not after the minutes that the first save is away.
            Err(ReadError::Missing) => return room_for(file).map(|()| None),
            Err(error) => return Err(unreadable(file, &error)),
        };
        let there: PartHead = checked(file, &text)?;
        match there.marks().difference(&PartHead { asks, marks: wanted.clone(), share }.marks()) {
            None => parsed(file, &text).map(Some),
            Some([what, seen, wanted]) => {
                Err(PartError::OtherCampaign { file: file.to_owned(), what, seen, wanted })
            }
        }
    }

    /// Reads a part that is to be merged.
    pub(super) fn read(file: &Path) -> Result<Self, PartError> {
        let text = files::text_of(file, MOST_BYTES).map_err(|error| unreadable(file, &error))?;
        parsed(file, &text)
    }

    /// Writes it whole or not at all.
    pub(super) fn save(&self, file: &Path) -> Result<(), PartError> {
        let refused = |reason: String| PartError::Unwritable { reason };
        let text = serde_json::to_string(self).map_err(|error| refused(error.to_string()))?;
        let text = format!("{text}\n{}\n", sum(&text));
        files::write_whole(file, text.as_bytes()).map_err(|error| refused(error.to_string()))
    }

    /// How far it is.
    pub(super) fn progress(&self) -> Progress {
        let runs = self.share.runs(self.runs);
        Progress { done: self.done, wanted: runs.end - runs.start }
    }

    /// Whether another part is of the same campaign.
    pub(super) fn agrees_with(&self, file: &Path, first: (&Path, &Self)) -> Result<(), PartError> {
        match self.marks.difference(&first.1.marks) {
            None => Ok(()),
            Some([what, seen, wanted]) => Err(PartError::Differs {
                file: file.to_owned(),
                first: first.0.to_owned(),
                what,
                seen,
                wanted,
            }),
        }
    }
}

/// Whose part it is.
#[derive(Deserialize)]
struct PartHead {
    asks: Asks,
    marks: Marks,
    share: Share,
}

impl PartHead {
    fn of(file: &Path) -> Result<Self, PartError> {
        let text = files::text_of(file, MOST_BYTES).map_err(|error| unreadable(file, &error))?;
        checked(file, &text)
    }

    fn marks(self) -> Marks {
        self.marks.with("kind of campaign", self.asks).with("part", self.share)
    }
}

/// The kind of campaign that files hold parts of.
///
/// # Errors
/// [`PartError`] when one holds none, or a part of another kind than the first.
pub fn asked_by(files: &[PathBuf]) -> Result<Option<Asks>, PartError> {
    let mut first = None;
    for file in files {
        let asks = PartHead::of(file)?.asks;
        let (first, wanted) = first.get_or_insert((file, asks));
        if asks != *wanted {
            let (seen, wanted) = (asks.to_string(), wanted.to_string());
            let what = "kind of campaign".to_owned();
            return Err(PartError::Differs { file: file.clone(), first: first.clone(), what, seen, wanted });
        }
    }
    Ok(first.map(|(_, asks)| asks))
}

fn parsed<C: Counted>(file: &Path, text: &str) -> Result<KeptPart<C>, PartError> {
    let part: KeptPart<C> = checked(file, text)?;
    let is_sound = part.counted.is_sound() && part.progress().done <= part.progress().wanted;
    if is_sound { Ok(part) } else { Err(foreign(file, "its tables have the wrong size")) }
}

/// What the first line holds, once its sum is right.
fn checked<T: DeserializeOwned>(file: &Path, text: &str) -> Result<T, PartError> {
    let changed = || PartError::Changed { file: file.to_owned() };
    let Some((kept, told)) = text.split_once('\n').map(|(kept, told)| (kept, told.trim_end())) else {
        // The one line of an older release, cut short, or something else altogether.
        let is_older = serde_json::from_str::<Value>(text).is_ok();
        return Err(if is_older { changed() } else { foreign(file, "its checksum line is missing") });
    };
    if told.len() != sum("").len() || told.contains(|c: char| !c.is_ascii_hexdigit()) {
        return Err(foreign(file, "its checksum line is missing"));
    }
    if sum(kept) != told {
        return Err(changed());
    }
    serde_json::from_str(kept).map_err(|error| foreign(file, &brief_message(&error.to_string())))
}

fn foreign(file: &Path, reason: &str) -> PartError {
    PartError::Foreign { file: file.to_owned(), reason: reason.to_owned() }
}

fn unreadable(file: &Path, error: &ReadError) -> PartError {
    PartError::Unreadable { file: file.to_owned(), reason: error.to_string() }
}

/// Whether the folder is there that the file is to be made in.
fn room_for(file: &Path) -> Result<(), PartError> {
    match file.parent() {
        Some(folder) if !(folder.as_os_str().is_empty() || folder.is_dir()) => Err(PartError::Unreadable {
            file: file.to_owned(),
            reason: format!("there is no folder {}; make it, or give another file", folder.display()),
        }),
        _ => Ok(()),
    }
}

/// SHA-256 of a text, in hexadecimal digits.
fn sum(text: &str) -> String {
    format!("{:x}", Sha256::digest(text))
}
