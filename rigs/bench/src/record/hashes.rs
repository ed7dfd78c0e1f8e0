//! The two hashes of a run, each the SHA-256 of a list as GNU `sha256sum` prints it, one line a file in the order of
//! names: the evidence hash of what two equal runs share, the whole-run hash of the files as they are. So
//! `sha256sum profile.toml run.toml samples.csv | sha256sum` gives the whole-run hash.

use std::fmt;
use std::path::Path;

use plant::files::bytes_of;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::{
    CONFIRMED_FILE, PROFILE_FILE, RUN_FILE, RecordError, RunFile, SAMPLES_FILE, SAMPLES_LIMIT, SERIES_FILE,
    SERIES_LIMIT,
};

/// A SHA-256 (FIPS 180-4) in 64 hexadecimal digits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Sha256Hex(String);

impl Sha256Hex {
    /// Of these bytes.
    pub(super) fn of(bytes: &[u8]) -> Self {
        Self(format!("{:x}", Sha256::digest(bytes)))
    }

    /// What stands before the first line of a log.
    pub(crate) fn none() -> Self {
        Self("0".repeat(2 * <Sha256 as Digest>::output_size()))
    }
}

impl fmt::Display for Sha256Hex {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Most bytes of `profile.toml`, `run.toml` and `confirmed.toml`.
const TEXT_LIMIT: u64 = 1 << 20;
/// How the record stands in the list of the evidence: without sums and `[made]`, as this program writes it.
const RECORD: &str = "run";

/// Of what two equal runs share.
pub(super) fn evidence(dir: &Path, file: &RunFile) -> Result<Sha256Hex, RecordError> {
    let text = file.evidence().map_err(|error| {
        RecordError::io(&dir.join(RUN_FILE), "could not be written")(std::io::Error::other(error))
    })?;
    let record = Sha256Hex::of(text.as_bytes());
    list(dir, [(PROFILE_FILE, TEXT_LIMIT)], Some(record))
}

/// Of the files as they are; a verdict beside them is none of the run.
pub(super) fn whole(dir: &Path) -> Result<Sha256Hex, RecordError> {
    list(dir, [(PROFILE_FILE, TEXT_LIMIT), (RUN_FILE, TEXT_LIMIT)], None)
}

/// Of the unit's confirmations as they are; nothing where there are none.
pub(super) fn confirmed(unit_dir: &Path) -> Result<Option<Sha256Hex>, RecordError> {
    let path = unit_dir.join(CONFIRMED_FILE);
    if !path.exists() {
        return Ok(None);
    }
    let bytes = bytes_of(&path, TEXT_LIMIT).map_err(RecordError::unread(&path))?;
    Ok(Some(Sha256Hex::of(&bytes)))
}

fn list<const N: usize>(
    dir: &Path,
    texts: [(&str, u64); N],
    record: Option<Sha256Hex>,
) -> Result<Sha256Hex, RecordError> {
    let mut lines = String::new();
    let mut add = |(name, limit): (&str, u64)| {
        let path = dir.join(name);
        if path.exists() {
            let bytes = bytes_of(&path, limit).map_err(RecordError::unread(&path))?;
            lines.push_str(&format!("{}  {name}\n", Sha256Hex::of(&bytes)));
        }
        Ok::<_, RecordError>(())
    };
    texts.into_iter().try_for_each(&mut add)?;
    let series = [(SAMPLES_FILE, SAMPLES_LIMIT), (SERIES_FILE, SERIES_LIMIT)];
    series.into_iter().try_for_each(&mut add)?;
    if let Some(record) = record {
        lines.push_str(&format!("{record}  {RECORD}\n"));
    }
    Ok(Sha256Hex::of(lines.as_bytes()))
}
