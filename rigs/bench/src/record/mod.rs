//! Run folders: what was done to a unit, written as it goes and read back for judging.
//!
//! In: samples, marks and gaps from a procedure. Out: a folder `NNNN-kind` inside the unit's folder with
//! `run.toml` (what, with what, under which conditions), `samples.csv` and, after judging, `verdict.json`.
//! A run that was cut short stays, says so, and can be judged for what it holds. On reading, a record that
//! was edited, torn or written by another version is refused with its reason.

mod confirmation;
mod error;
mod from_stream;
mod hashes;
mod head;
mod info;
mod job;
mod log;
mod loss;
mod numbering;
mod provenance;
mod reader;
mod samples;
mod series;
mod strokes;
mod writer;

pub use confirmation::{Confirmation, Gauged};
pub use error::RecordError;
pub(crate) use from_stream::MOTION_ENDED;
pub use hashes::Sha256Hex;
pub(crate) use head::RunHead;
pub use info::{
    Conditions, FaultOf, Made, RunFile, RunInfo, RunKind, RunRefusal, RunResult, RunStatus, SampleSums,
};
pub(crate) use info::{LEARN_KIND, PORT, RELEARN, STARTED};
pub use job::{Job, JobState};
pub(crate) use log::HEAD_NOTE;
pub(crate) use log::{
    Attached, AttachedTrouble, attach, attached, attached_bytes, attached_trouble, explain,
};
pub use log::{Checked, ConfirmedTrouble, LogHead, LogTrouble, RunTrouble, Unsound, Weight};
pub use loss::Loss;
pub use numbering::RunName;
pub(crate) use numbering::runs_in;
pub use provenance::{BoardId, Ground, Provenance, Serials};
pub use reader::Run;
pub(crate) use samples::SAMPLE_HEADER;
pub use samples::{Mark, RecordedSample, Row};
pub(crate) use series::GUARD_LIMIT;
pub use series::{Column, Series};
pub use strokes::StrokeSummary;
pub(crate) use strokes::{Endurance, LIMIT_PASSED, STROKES_BEFORE, STROKES_WANTED};
pub(crate) use writer::RunWriter;

/// Most bytes of `samples.csv`: an hour at 1000 samples a second.
pub(crate) const SAMPLES_LIMIT: u64 = 256 << 20;
/// Most bytes of `series.csv`: a row of 100 bytes for each tick of the longest built-in scenario, 600 s.
pub(crate) const SERIES_LIMIT: u64 = 64 << 20;
/// Version of the folder's layout; a reader refuses any other.
pub(crate) const RECORD_VERSION: u32 = 1;
/// The file that says what the run is.
pub(crate) const RUN_FILE: &str = "run.toml";
/// The profile that the run was made under, whole.
pub(crate) const PROFILE_FILE: &str = "profile.toml";
/// The file of samples.
pub(crate) const SAMPLES_FILE: &str = "samples.csv";
/// The file of a simulated run's traces.
pub(crate) const SERIES_FILE: &str = "series.csv";
/// The file of confirmations in the unit's folder.
const CONFIRMED_FILE: &str = "confirmed.toml";
/// The file of the verdict.
pub(crate) const VERDICT_FILE: &str = "verdict.json";
