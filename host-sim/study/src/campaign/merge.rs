//! Puts the parts of a campaign together again.
//!
//! In: the files of all parts, in any order. Out: what one process would have counted, to the byte. Refuses parts
//! of different campaigns, parts that are not finished, runs that two files hold and runs that none holds.

use std::path::{Path, PathBuf};

use serde_json::Value;

use super::Counted;
use super::part::KeptPart;
use super::part_error::PartError;
use super::share::Share;

/// A campaign put together.
#[derive(Debug, Clone, PartialEq)]
pub struct Merged<C> {
    /// What was counted.
    pub counted: C,
    /// What the first file's command line left to be told.
    pub told: Value,
}

/// Merges parts; a file that holds the whole campaign is one too.
///
/// # Errors
/// [`PartError`], naming the file and what to do.
pub fn merge<C: Counted>(files: &[PathBuf]) -> Result<Merged<C>, PartError> {
    let mut parts: Vec<(&Path, KeptPart<C>)> = Vec::with_capacity(files.len());
    for file in files {
        let part = KeptPart::<C>::read(file)?;
        if let Some((first, held)) = parts.first() {
            part.agrees_with(file, (first, held))?;
        }
        let progress = part.progress();
        if progress.done < progress.wanted {
            return Err(PartError::Unfinished { file: file.clone(), share: part.share, progress });
        }
        parts.push((file.as_path(), part));
    }
    let told = parts.first().map(|(_, part)| part.told.clone()).unwrap_or_default();
    parts.sort_by_key(|(_, part)| (part.share.runs(part.runs).start, part.share.runs(part.runs).end));
    are_gapless(&parts)?;
    let mut counted = C::default();
    for (_, part) in parts {
        counted.join(part.counted);
    }
    Ok(Merged { counted, told })
}

/// Whether the parts, in order, hold every run once.
fn are_gapless<C>(parts: &[(&Path, KeptPart<C>)]) -> Result<(), PartError> {
    let Some((_, KeptPart { runs: all, share: first, .. })) = parts.first() else { return Ok(()) };
    let is_alike = parts.iter().all(|(_, part)| part.share.of() == first.of());
    let missing = |from: u64, to: u64| PartError::Missing {
        from,
        to: to - 1,
        advice: if is_alike {
            absent(*first, *all, from, to)
        } else {
            "give the files that hold them".into()
        },
    };
    let (mut next, mut before) = (0, Path::new(""));
    for (file, part) in parts {
        let runs = part.share.runs(*all);
        if runs.is_empty() {
            continue;
        }
        if runs.start > next {
            return Err(missing(next, runs.start));
        }
        if runs.start < next {
            let (file, other) = (file.to_path_buf(), before.to_owned());
            return Err(PartError::Overlap { file, share: part.share, other, from: runs.start });
        }
        (next, before) = (runs.end, file);
    }
    if next < *all { Err(missing(next, *all)) } else { Ok(()) }
}

/// The parts that hold the runs which nobody has.
fn absent(first: Share, all: u64, from: u64, to: u64) -> String {
    const MOST_NAMED: usize = 5;
    let holds = |share: &Share| {
        let runs = share.runs(all);
        runs.start < to && runs.end > from
    };
    let shares = (1..=first.of()).map(|number| first.sibling(number)).filter(holds);
    let mut words: Vec<String> = shares.take(MOST_NAMED + 1).map(|share| share.to_string()).collect();
    if words.len() > MOST_NAMED {
        words.truncate(MOST_NAMED);
        words.push("and more".to_owned());
    }
    format!("give or run part {}", words.join(", "))
}
