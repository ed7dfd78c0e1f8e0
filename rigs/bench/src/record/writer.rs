//! Writes a run folder as the run goes.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use crc::{CRC_32_ISO_HDLC, Crc, Digest};
use firmware_core::calibration::Calibration;
use firmware_core::units::Tick;

use plant::files::{bytes_of, write_whole};

use crate::rig::StreamItem;

use super::log::Entry;
use super::{
    Conditions, Made, Mark, PROFILE_FILE, RECORD_VERSION, RUN_FILE, RecordError, RecordedSample, Row,
    RunFile, RunInfo, RunName, RunRefusal, RunResult, RunStatus, SAMPLE_HEADER, SAMPLES_FILE, SERIES_FILE,
    SERIES_LIMIT, SampleSums, Series, Sha256Hex, from_stream, hashes, log, numbering,
};

/// Checksum of `samples.csv`; any archive tool computes the same.
pub(super) static CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// An open run. Dropped without [`RunWriter::close`] it stays on disk as incomplete.
pub(crate) struct RunWriter {
    name: RunName,
    dir: PathBuf,
    file: RunFile,
    rows: csv::Writer<Summed>,
    sums: SampleSums,
}

/// A file that keeps the checksum of what went into it.
struct Summed {
    file: BufWriter<File>,
    digest: Digest<'static, u32>,
}

impl Write for Summed {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.file.write(bytes)?;
        self.digest.update(bytes.get(..written).unwrap_or_default());
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl RunWriter {
    /// Makes the next run folder of the unit and writes what is known so far, marked incomplete.
    ///
    /// # Errors
    /// When a folder or file cannot be made.
    pub(crate) fn create(unit_dir: &Path, run: RunInfo, conditions: Conditions) -> Result<Self, RecordError> {
        let (name, dir) = numbering::create_next(unit_dir, run.kind)?;
        // Before the first file: whatever lies in a folder that the log does not name was put there.
        log::append(unit_dir, &run.unit, Entry::Opened { run: name.to_string() })?;
        let path = dir.join(SAMPLES_FILE);
        let file = File::create(&path).map_err(RecordError::io(&path, "could not be made"))?;
        let sink = Summed { file: BufWriter::new(file), digest: CRC.digest() };
        // RFC 4180 ends lines with CR LF.
        let rows = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(sink);
        let file = RunFile {
            version: RECORD_VERSION,
            status: RunStatus::still_running(),
            run,
            conditions,
            outcome: RunResult::default(),
            sums: None,
            made: Made::new(),
        };
        let mut writer = Self { name, dir, file, rows, sums: SampleSums::default() };
        writer.write_fields(SAMPLE_HEADER)?;
        writer.flush()?;
        writer.write_run_file()?;
        Ok(writer)
    }

    /// The run's name.
    #[must_use]
    pub(crate) fn name(&self) -> RunName {
        self.name
    }

    /// The run's folder.
    #[must_use]
    pub(crate) fn dir(&self) -> &Path {
        &self.dir
    }

    /// Adds a sample.
    ///
    /// # Errors
    /// When the disk refuses.
    pub(crate) fn sample(&mut self, sample: RecordedSample) -> Result<(), RecordError> {
        self.sums.samples += 1;
        self.write_fields(Row::Sample(sample).to_fields())
    }

    /// Adds a mark; a gap also counts as lost samples.
    ///
    /// # Errors
    /// When the disk refuses.
    pub(crate) fn mark(&mut self, tick: Tick, mark: Mark) -> Result<(), RecordError> {
        if let Mark::Gap { lost } = mark {
            self.sums.lost += u64::from(lost);
        }
        self.write_fields(Row::Mark(tick, mark).to_fields())
    }

    /// Adds what the board told: a sample, or a mark for anything else.
    ///
    /// # Errors
    /// When the disk refuses.
    pub(crate) fn item(
        &mut self,
        item: &StreamItem,
        calibration: Option<&Calibration>,
    ) -> Result<(), RecordError> {
        match from_stream::row(item, calibration) {
            Some(Row::Sample(sample)) => self.sample(sample),
            Some(Row::Mark(tick, mark)) => self.mark(tick, mark),
            None => Ok(()),
        }
    }

    /// Ticks that are marked as lost so far, and their share of all.
    #[must_use]
    pub(crate) fn lost(&self) -> (u64, f64) {
        let SampleSums { samples, lost, .. } = self.sums;
        (lost, if lost == 0 { 0.0 } else { lost as f64 / (samples + lost) as f64 })
    }

    /// Hands everything so far to the system; call it after each batch, so that a crash loses one at most.
    ///
    /// # Errors
    /// When the disk refuses.
    pub(crate) fn flush(&mut self) -> Result<(), RecordError> {
        let path = self.dir.join(SAMPLES_FILE);
        self.rows.flush().map_err(RecordError::io(&path, "could not be written"))
    }

    /// Notes what came out: a calibration, a refusal.
    pub(crate) fn outcome(&mut self, outcome: RunResult) {
        self.file.outcome = outcome;
    }

    /// Notes why the run could not go on.
    pub(crate) fn refused(&mut self, refusal: RunRefusal) {
        self.file.outcome.refusal = Some(refusal);
    }

    /// Adds a condition that was only known during the run (supply, temperature).
    pub(crate) fn condition(&mut self, name: &str, value: String) {
        self.file.conditions.insert(name.to_owned(), value);
    }

    /// Notes something that differs between two equal runs (date, port, line statistics).
    pub(crate) fn made(&mut self, name: &str, value: String) {
        self.file.made.insert(name.to_owned(), value);
    }

    /// Keeps the profile that the run is made under, whole: a verdict goes by it, whatever its name comes to mean.
    ///
    /// # Errors
    /// When the disk refuses.
    pub(crate) fn profile(&mut self, text: &str) -> Result<(), RecordError> {
        write_whole(&self.dir.join(PROFILE_FILE), text.as_bytes())?;
        self.sums.profile_crc32 = Some(CRC.checksum(text.as_bytes()));
        Ok(())
    }

    /// Writes the traces of a simulated run.
    ///
    /// # Errors
    /// When the disk refuses.
    pub(crate) fn series(&mut self, series: &Series) -> Result<(), RecordError> {
        let path = self.dir.join(SERIES_FILE);
        series.write(&path)?;
        let bytes = bytes_of(&path, SERIES_LIMIT).map_err(RecordError::unread(&path))?;
        self.sums.series_crc32 = Some(CRC.checksum(&bytes));
        Ok(())
    }

    /// Closes the run: everything on disk, checksum and status last. Gives the folder.
    ///
    /// # Errors
    /// When the disk refuses; the run then stays marked incomplete.
    pub(crate) fn close(mut self, status: RunStatus) -> Result<PathBuf, RecordError> {
        self.flush()?;
        let path = self.dir.join(SAMPLES_FILE);
        let sink = self.rows.get_ref();
        sink.file.get_ref().sync_all().map_err(RecordError::io(&path, "could not be written"))?;
        self.sums.crc32 = sink.digest.clone().finalize();
        self.file.status = status;
        let run_path = self.dir.join(RUN_FILE);
        let evidence = self
            .file
            .evidence()
            .map_err(|error| RecordError::io(&run_path, "could not be written")(io::Error::other(error)))?;
        self.sums.record_crc32 = CRC.checksum(evidence.as_bytes());
        let evidence = hashes::evidence(&self.dir, &self.file)?;
        self.sums.evidence_sha256 = Some(evidence.clone());
        self.file.sums = Some(self.sums.clone());
        self.write_run_file()?;
        self.note_closed(evidence)?;
        Ok(self.dir.clone())
    }

    /// The run's last word in the unit's log: without it, the run is incomplete.
    fn note_closed(&self, evidence: Sha256Hex) -> Result<(), RecordError> {
        let unit_dir = self.dir.parent().unwrap_or(&self.dir);
        let whole = hashes::whole(&self.dir)?;
        let run = self.name.to_string();
        log::append(unit_dir, &self.file.run.unit, Entry::Closed { run, evidence, whole })
    }

    fn write_fields<T: AsRef<[u8]>>(
        &mut self,
        fields: impl IntoIterator<Item = T>,
    ) -> Result<(), RecordError> {
        let written = self.rows.write_record(fields);
        let path = self.dir.join(SAMPLES_FILE);
        written.map_err(|error| RecordError::io(&path, "could not be written")(io::Error::other(error)))
    }

    fn write_run_file(&self) -> Result<(), RecordError> {
        let path = self.dir.join(RUN_FILE);
        let text = toml::to_string(&self.file)
            .map_err(|error| RecordError::io(&path, "could not be written")(io::Error::other(error)))?;
        Ok(write_whole(&path, text.as_bytes())?)
    }
}
