//! Says why a run has no closing line. Nothing of the run changes, and it counts for nothing.

use std::path::Path;

use super::{Entry, append};
use crate::record::{RecordError, RunName, hashes};
use crate::short_text::ShortText;

/// Puts the explanation into the log, with the hash of the files as they are now.
///
/// # Errors
/// When the run cannot be read, the disk refuses, or the log does not hold the run as open.
pub(crate) fn explain(
    unit_dir: &Path,
    unit: &str,
    run: RunName,
    by: ShortText,
    why: ShortText,
) -> Result<(), RecordError> {
    let run = run.to_string();
    let whole = hashes::whole(&unit_dir.join(&run))?;
    append(unit_dir, unit, Entry::Explained { run, whole, by, why })
}
