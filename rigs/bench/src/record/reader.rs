//! Reads a run folder back.

use std::path::{Path, PathBuf};

use firmware_core::learn::CheckSet;
use plant::files::bytes_of;

use super::confirmation;
use super::writer::CRC;
use super::{
    Confirmation, Loss, PROFILE_FILE, RECORD_VERSION, RUN_FILE, RecordError, RecordedSample, Row, RunFile,
    RunHead, RunKind, RunName, RunStatus, SAMPLE_HEADER, SAMPLES_FILE, SAMPLES_LIMIT, SERIES_FILE,
    SERIES_LIMIT, Series, Sha256Hex, hashes,
};
use crate::checks::checks_of_texts;
use crate::profile::Profile;
use plant::toml_file::TomlFile;

/// A run as it stands on disk.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Its name.
    pub name: RunName,
    /// Its folder.
    pub dir: PathBuf,
    /// What `run.toml` says.
    pub file: RunFile,
    /// Hash of what two equal runs share: samples, traces, profile and `run.toml` without `[made]`.
    pub evidence: Sha256Hex,
    /// The profile that it was made under; none in a run of an older release.
    pub profile: Option<Profile>,
    /// Samples and marks in order.
    pub rows: Vec<Row>,
    /// What a person confirmed of this learn after the fact.
    pub confirmed: Vec<Confirmation>,
    /// A last line that a crash tore apart was left out.
    pub torn_end: bool,
}

impl Run {
    /// Reads the folder.
    ///
    /// # Errors
    /// [`RecordError`] when it is no run folder, of another version, or a closed run was edited.
    pub fn open(dir: &Path) -> Result<Self, RecordError> {
        let (run_path, samples_path) = (dir.join(RUN_FILE), dir.join(SAMPLES_FILE));
        let name = run_name(dir)?;
        let file = read_run_file(dir, &run_path)?;
        let bytes = bytes_of(&samples_path, SAMPLES_LIMIT).map_err(RecordError::unread(&samples_path))?;
        if let Some(sums) = &file.sums {
            unchanged(&samples_path, &bytes, sums.crc32)?;
            if let Some(closed) = sums.series_crc32 {
                let path = dir.join(SERIES_FILE);
                let bytes = bytes_of(&path, SERIES_LIMIT).map_err(RecordError::unread(&path))?;
                unchanged(&path, &bytes, closed)?;
            }
        }
        let evidence = hashes::evidence(dir, &file)?;
        let profile = read_profile(dir, &file)?;
        let (rows, torn_end) = read_rows(&samples_path, &bytes, file.sums.is_some())?;
        let confirmed = match name.kind {
            RunKind::Learn => {
                let all = dir.parent().map_or_else(|| Ok(Vec::new()), confirmation::all)?;
                confirmation::of_learn(&all, name, &file)
            }
            RunKind::Sweep | RunKind::Friction | RunKind::Step | RunKind::Cycle | RunKind::Simulate => {
                Vec::new()
            }
        };
        Ok(Self { name, dir: dir.to_owned(), file, evidence, profile, rows, confirmed, torn_end })
    }

    /// The samples, without the marks.
    pub fn samples(&self) -> impl Iterator<Item = &RecordedSample> {
        self.rows.iter().filter_map(|row| match row {
            Row::Sample(sample) => Some(sample),
            Row::Mark(..) => None,
        })
    }

    /// What signals cannot show of this learn and nobody has confirmed, then or since.
    #[must_use]
    pub fn open_checks(&self) -> CheckSet {
        open_checks(&self.file, &self.confirmed)
    }

    /// The run without its samples.
    #[must_use]
    pub(crate) fn into_head(self) -> RunHead {
        RunHead { name: self.name, dir: self.dir, file: self.file, confirmed: self.confirmed }
    }

    /// What the record does not hold.
    #[must_use]
    pub fn loss(&self) -> Loss {
        Loss::of(&self.rows)
    }

    /// True for a run that the unit ended.
    #[must_use]
    pub fn is_ended_by_unit(&self) -> bool {
        matches!(self.file.status, RunStatus::EndedByUnit { .. })
    }

    /// True when the run came to its end.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        self.file.status == RunStatus::Complete
    }

    /// The traces of a simulated run.
    ///
    /// # Errors
    /// When the file is missing or wrong.
    pub fn series(&self) -> Result<Series, RecordError> {
        Series::read(&self.dir.join(SERIES_FILE))
    }
}

/// What signals cannot show of a learn and nobody has confirmed, then or since.
pub(super) fn open_checks(file: &RunFile, confirmed: &[Confirmation]) -> CheckSet {
    let at_first = checks_of_texts(&file.outcome.not_proven, CheckSet::needed_for(file.run.setup));
    confirmed.iter().fold(at_first, |open, one| open.minus(one.checks()))
}

/// The run's name, where the folder is a run's.
pub(super) fn run_name(dir: &Path) -> Result<RunName, RecordError> {
    let no_run = |file| RecordError::NoRun { path: dir.to_owned(), file };
    let name = dir.file_name().and_then(|n| n.to_str()).and_then(RunName::parse);
    match [RUN_FILE, SAMPLES_FILE].into_iter().find(|file| !dir.join(file).is_file()) {
        Some(file) => Err(no_run(file)),
        None => name.ok_or(no_run(RUN_FILE)),
    }
}

/// Refuses what is not as it was when the run was closed.
fn unchanged(path: &Path, bytes: &[u8], closed: u32) -> Result<(), RecordError> {
    let seen = CRC.checksum(bytes);
    if seen == closed { Ok(()) } else { Err(RecordError::Edited { path: path.to_owned(), seen, closed }) }
}

/// The profile beside the run. A run that was never closed has no sum of it yet.
fn read_profile(dir: &Path, file: &RunFile) -> Result<Option<Profile>, RecordError> {
    let path = dir.join(PROFILE_FILE);
    let closed = file.sums.as_ref().and_then(|sums| sums.profile_crc32);
    if closed.is_none() && (file.sums.is_some() || !path.is_file()) {
        return Ok(None);
    }
    let text = TomlFile::read(&path)?;
    if let Some(closed) = closed {
        unchanged(&path, text.text().as_bytes(), closed)?;
    }
    Ok(Some(Profile::of_a_run(&text)?))
}

/// `run.toml`, held against its own checksum.
pub(super) fn read_run_file(dir: &Path, path: &Path) -> Result<RunFile, RecordError> {
    #[derive(serde::Deserialize)]
    struct Versioned {
        version: u32,
    }
    let text = TomlFile::read(path)?;
    // The version comes first: fields of another version would only confuse.
    let seen = text.parse::<Versioned>()?.version;
    if seen != RECORD_VERSION {
        return Err(RecordError::OtherVersion { path: dir.to_owned(), seen, known: RECORD_VERSION });
    }
    let file: RunFile = text.parse()?;
    match &file.sums {
        Some(sums) => unchanged(path, file.evidence().unwrap_or_default().as_bytes(), sums.record_crc32)?,
        None if file.status == RunStatus::Complete => {
            return Err(RecordError::NoSums { path: path.to_owned() });
        }
        None => {}
    }
    Ok(file)
}

/// Rows of the file. Only a run that was never closed may end in a torn line.
fn read_rows(path: &Path, bytes: &[u8], closed: bool) -> Result<(Vec<Row>, bool), RecordError> {
    let whole =
        if closed { bytes.len() } else { bytes.iter().rposition(|&b| b == b'\n').map_or(0, |i| i + 1) };
    let torn = whole < bytes.len();
    let mut reader = csv::Reader::from_reader(bytes.get(..whole).unwrap_or_default());
    let bad = |line, field, seen: &str, allowed| RecordError::bad_line(path, line, field, seen, allowed);
    let header = reader.headers().map_err(|_| bad(1, "header", "", "allowed: UTF-8 text"))?;
    if !header.iter().eq(SAMPLE_HEADER) {
        let seen = header.iter().collect::<Vec<_>>().join(",");
        return Err(bad(1, "header", &seen, "allowed: the columns of this record version"));
    }
    let mut rows = Vec::new();
    // No field holds a line break, so rows are lines; the header is line 1.
    for (record, line) in reader.records().zip(2..) {
        let allowed = "allowed: UTF-8 text with as many fields as the header";
        let record = record.map_err(|_| bad(line, "row", "", allowed))?;
        rows.push(Row::from_fields(&record).map_err(|field| {
            let name = SAMPLE_HEADER.get(field.column).copied().unwrap_or("row");
            bad(line, name, record.get(field.column).unwrap_or_default(), field.allowed)
        })?);
    }
    Ok((rows, torn))
}

#[cfg(test)]
mod tests;
