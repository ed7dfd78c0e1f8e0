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
mod tests {
    use super::*;
    use crate::caution::Acknowledged;
    use crate::record::{Conditions, Made, Mark, PORT, RunInfo, RunKind, RunWriter, STARTED};
    use firmware_core::calibration::{Setup, Warmth};
    use firmware_core::command::Command;
    use firmware_core::learn::Stop;
    use firmware_core::units::{Ampere, Counts, Opening, Tick, Volt};
    use std::fs;

    fn info() -> RunInfo {
        RunInfo {
            kind: RunKind::Sweep,
            unit: "demo".into(),
            profile: "bench-actuator-a".into(),
            setup: Setup::Attached,
            warmth: Warmth::Cold,
            cautions: Acknowledged::VirtualRig,
            seed: Some(7),
            virtual_unit: Some("healthy".into()),
            software: "vanebench 0.1.0".into(),
            controller: "core 0.1.0".into(),
            provenance: None,
        }
    }

    fn sample(tick: u32) -> RecordedSample {
        RecordedSample {
            tick: Tick(tick),
            position: Counts(2600),
            opening: Some(0.1 + 0.2),
            command: Command::Opening(Opening::OPEN),
            duty: -0.25,
            motor_current: Some(Ampere(0.1)),
            supply: Some(Volt(12.0)),
            state: "moving".into(),
        }
    }

    fn written(unit: &Path) -> RunWriter {
        let conditions = Conditions::from([("dwell".to_owned(), "400 ms".to_owned())]);
        let mut run = RunWriter::create(unit, info(), conditions).unwrap();
        run.sample(sample(1)).unwrap();
        run.mark(Tick(2), Mark::Gap { lost: 32 }).unwrap();
        run.sample(sample(34)).unwrap();
        run.mark(
            Tick(35),
            Mark::Touch { stop: Stop::Open, pressed: 2580.5, released: 2590.25, zero_push: 2600.1 },
        )
        .unwrap();
        run.flush().unwrap();
        run
    }

    #[test]
    fn a_closed_run_reads_back_whole() {
        let unit = tempfile::tempdir().unwrap();
        let dir = written(unit.path()).close(RunStatus::Complete).unwrap();
        let run = Run::open(&dir).unwrap();
        assert!(run.is_complete() && !run.torn_end);
        assert_eq!(run.name.to_string(), "0001-sweep");
        assert_eq!(run.file.run, info());
        assert_eq!(run.file.sums.as_ref().map(|s| (s.samples, s.lost)), Some((2, 32)));
        assert_eq!(run.rows.len(), 4);
        assert_eq!(run.samples().last(), Some(&sample(34)));
    }

    /// POSIX.1-2017, XBD 4.16 (seconds since the epoch); 1 000 000 000 s is 2001-09-09 01:46:40 UTC, as
    /// GNU `date -u -d @1000000000` prints it.
    #[test]
    fn a_run_tells_when_and_where_it_was_begun() {
        let unit = tempfile::tempdir().unwrap();
        let mut writer = written(unit.path());
        writer.made(STARTED, "1000000000".into());
        writer.made(PORT, "a port".into());
        let run = Run::open(&writer.close(RunStatus::Complete).unwrap()).unwrap();
        assert_eq!(run.file.begun().as_deref(), Some("2001-09-09 01:46 UTC"));
        assert_eq!(run.file.port(), "a port");
        let file = RunFile { made: Made::from([(STARTED.to_owned(), "unknown".to_owned())]), ..run.file };
        assert_eq!(file.begun(), None);
    }

    #[test]
    fn a_run_cut_off_without_warning_is_kept_and_marked_incomplete() {
        let unit = tempfile::tempdir().unwrap();
        let run = written(unit.path());
        let dir = run.dir().to_owned();
        // The program is gone: nothing closes the run, and a line is torn.
        std::mem::forget(run);
        let samples = dir.join(SAMPLES_FILE);
        let mut bytes = fs::read(&samples).unwrap();
        bytes.extend(b"36,26");
        fs::write(&samples, bytes).unwrap();
        let run = Run::open(&dir).unwrap();
        assert!(!run.is_complete() && run.torn_end);
        assert_eq!(run.rows.len(), 4);
    }

    #[test]
    fn an_edited_record_is_refused() {
        let unit = tempfile::tempdir().unwrap();
        let dir = written(unit.path()).close(RunStatus::Complete).unwrap();
        let samples = dir.join(SAMPLES_FILE);
        let text = fs::read_to_string(&samples).unwrap().replace("-0.25", "-0.24");
        fs::write(&samples, text).unwrap();
        assert!(matches!(Run::open(&dir), Err(RecordError::Edited { .. })));
    }

    #[test]
    fn a_wrong_field_of_an_unclosed_run_is_named_with_its_line() {
        let unit = tempfile::tempdir().unwrap();
        let run = written(unit.path());
        let dir = run.dir().to_owned();
        std::mem::forget(run);
        let samples = dir.join(SAMPLES_FILE);
        let text = fs::read_to_string(&samples).unwrap().replacen("-0.25", "fast", 1);
        fs::write(&samples, text).unwrap();
        let error = Run::open(&dir).unwrap_err().to_string();
        assert!(error.contains("line 2: duty [1] = \"fast\": allowed: a number"), "{error}");
    }

    #[test]
    fn another_version_and_another_folder_are_refused() {
        let unit = tempfile::tempdir().unwrap();
        let dir = written(unit.path()).close(RunStatus::Complete).unwrap();
        let path = dir.join(RUN_FILE);
        let text = fs::read_to_string(&path).unwrap().replace("version = 1", "version = 2\nnew_field = 1");
        fs::write(&path, text).unwrap();
        assert!(matches!(Run::open(&dir), Err(RecordError::OtherVersion { seen: 2, .. })));
        assert!(matches!(Run::open(unit.path()), Err(RecordError::NoRun { .. })));
    }

    #[test]
    fn two_equal_runs_are_equal_byte_for_byte() {
        let (first, second) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let bytes = |unit: &Path| {
            let dir = written(unit).close(RunStatus::Complete).unwrap();
            (fs::read(dir.join(RUN_FILE)).unwrap(), fs::read(dir.join(SAMPLES_FILE)).unwrap())
        };
        assert_eq!(bytes(first.path()), bytes(second.path()));
    }
}
