//! What `run.toml` holds. Everything that differs between two equal runs (date, port, line statistics)
//! stands in `[made]`; the rest repeats byte for byte.

use std::collections::BTreeMap;
use std::fmt;

use firmware_core::calibration::{Calibration, Setup, Warmth};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Sha256Hex;
use super::provenance::{Ground, Provenance};
use crate::caution::Acknowledged;

/// What was done to the unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RunKind {
    /// Learning the end stops.
    Learn,
    /// Closed-loop staircase, up and down.
    Sweep,
    /// Slow open-loop ramps, both directions.
    Friction,
    /// Steps of the opening.
    Step,
    /// Strokes of an endurance.
    Cycle,
    /// Controller and engine simulated.
    Simulate,
}

impl RunKind {
    const ALL: [Self; 6] =
        [Self::Learn, Self::Sweep, Self::Friction, Self::Step, Self::Cycle, Self::Simulate];

    /// The word in folder names.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Learn => "learn",
            Self::Sweep => "sweep",
            Self::Friction => "friction",
            Self::Step => "step",
            Self::Cycle => "cycle",
            Self::Simulate => "simulate",
        }
    }

    pub(super) fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

impl fmt::Display for RunKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// Whether the run came to its end.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema, Deserialize)]
#[serde(tag = "state", rename_all = "kebab-case")]
pub enum RunStatus {
    /// It did.
    Complete,
    /// The unit ended it: why stands in the outcome's refusal.
    EndedByUnit {
        /// Short name of the reason, for machines: `obstructed`.
        reason: String,
        /// Tick in which the drive was let go.
        tick: u32,
        /// Raw position in the last tick before.
        position_counts: i16,
    },
    /// It did not.
    Incomplete {
        /// Why, in words for the report.
        reason: String,
    },
}

impl RunStatus {
    /// What stands in the file from the first moment on, so that even a power cut leaves the truth.
    #[must_use]
    pub fn still_running() -> Self {
        Self::Incomplete { reason: "cut off without warning: the program never closed this run".into() }
    }

    /// True for a run that came to its end.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        matches!(self, Self::Complete)
    }
}

/// Whom or what the run is about.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunInfo {
    /// What was done.
    pub kind: RunKind,
    /// The unit's name.
    pub unit: String,
    /// The actuator profile's name.
    pub profile: String,
    /// How the unit was mounted.
    pub setup: Setup,
    /// Cold or hot.
    pub warmth: Warmth,
    /// What was done about the cautions.
    pub cautions: Acknowledged,
    /// Seed of a virtual rig.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seed: Option<u64>,
    /// Name of the virtual unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub virtual_unit: Option<String>,
    /// Version of this program.
    pub software: String,
    /// What the controller said of itself.
    pub controller: String,
    /// Serial numbers, board and settings; none in a simulation and in runs of older releases.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub provenance: Option<Provenance>,
}

/// Conditions by name, each with its unit in the text: `dwell = "400 ms"`.
pub type Conditions = BTreeMap<String, String>;
/// What differs between two equal runs: date, port, line statistics.
pub type Made = BTreeMap<String, String>;

/// Where the cause lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FaultOf {
    /// In the unit: it is out of limits.
    Unit,
    /// In the rig, the supply, the link or the person: nothing is said of the unit.
    Rig,
}

/// Why a procedure refused the unit or could not go on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunRefusal {
    /// Short name of the reason, for machines: `span-short`.
    pub reason: String,
    /// What was seen and what is allowed.
    pub seen: String,
    /// What to try.
    pub advice: String,
    /// Whether the reason lies in the unit.
    pub fault_of: FaultOf,
}

impl RunRefusal {
    /// Reason and what was seen, the reason once.
    #[must_use]
    pub fn text(&self) -> String {
        let reason = self.reason.replace('-', " ");
        if self.seen.starts_with(&reason) { self.seen.clone() } else { format!("{reason}: {}", self.seen) }
    }
}

/// What came out of the run, beside its samples.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct RunResult {
    /// Tick in which a learn came to its decision.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decided_at: Option<u32>,
    /// Why the run could not go on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refusal: Option<RunRefusal>,
    /// What signals could not show and nobody confirmed: "not proven" until someone does.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub not_proven: Vec<String>,
    /// On what footing the unit moved; none for a learn.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ground: Option<Ground>,
    /// Calibration that was learned, or that the run used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub calibration: Option<Calibration>,
}

/// How many rows there are and their checksum.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SampleSums {
    /// Samples in the file.
    pub samples: u64,
    /// Samples known to be lost on the line.
    pub lost: u64,
    /// CRC-32 (ISO-HDLC) of the whole file.
    pub crc32: u32,
    /// The same of `series.csv`, where the run has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub series_crc32: Option<u32>,
    /// The same of `profile.toml`; runs of older releases carry no profile.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub profile_crc32: Option<u32>,
    /// The same of what `run.toml` says, `[sums]` and `[made]` aside, as this program writes it.
    pub record_crc32: u32,
    /// SHA-256 of the evidence, where the run was recorded into the unit's log; older releases kept none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evidence_sha256: Option<Sha256Hex>,
}

/// The whole of `run.toml`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunFile {
    /// Version of the record.
    pub version: u32,
    /// Whether the run came to its end.
    pub status: RunStatus,
    /// What the run is.
    pub run: RunInfo,
    /// Rate, dwell, ends excluded, supply, …
    #[serde(default)]
    pub conditions: Conditions,
    /// Refusal and calibration.
    #[serde(default)]
    pub outcome: RunResult,
    /// Set when the run is closed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sums: Option<SampleSums>,
    /// What differs between two equal runs.
    #[serde(default)]
    pub made: Made,
}

/// Key in `[made]`: when the run began, seconds since 1970-01-01 00:00 UTC.
pub(crate) const STARTED: &str = "started_unix_s";
/// Key in `[made]`: the port it ran on.
pub(crate) const PORT: &str = "port";

/// Condition that says whether a learn was a full one.
pub(crate) const LEARN_KIND: &str = "learn";
/// Its word for a key-off relearn.
pub(crate) const RELEARN: &str = "key-off relearn";

impl RunFile {
    /// True for a learn that started from an earlier calibration.
    #[must_use]
    pub fn is_relearn(&self) -> bool {
        self.conditions.get(LEARN_KIND).is_some_and(|kind| kind == RELEARN)
    }

    /// True for a run without a calibration: a picture, no measurement.
    #[must_use]
    pub fn is_diagnostic(&self) -> bool {
        matches!(self.outcome.ground, Some(Ground::Diagnostic { .. }))
    }

    /// When the run began, to the minute; nothing where the clock was not known.
    #[must_use]
    pub fn begun(&self) -> Option<String> {
        minute(self.begun_unix_s()?)
    }

    /// The same in seconds since 1970-01-01 00:00 UTC.
    #[must_use]
    pub(crate) fn begun_unix_s(&self) -> Option<i64> {
        self.made.get(STARTED)?.parse().ok()
    }

    /// The job that the run belongs to, in words; nothing where none was named.
    #[must_use]
    pub(crate) fn job(&self) -> Option<String> {
        let job = &self.run.provenance.as_ref()?.job;
        (!job.is_unnamed()).then(|| job.to_string())
    }

    /// The port that the run was made on; empty for a simulation.
    #[must_use]
    pub fn port(&self) -> &str {
        self.made.get(PORT).map_or("", String::as_str)
    }

    /// The text that [`SampleSums::record_crc32`] is taken of.
    pub(super) fn evidence(&self) -> Result<String, toml::ser::Error> {
        toml::to_string(&Self { sums: None, made: Made::new(), ..self.clone() })
    }
}

/// Seconds since 1970-01-01 00:00 UTC as date and time, to the minute.
pub(super) fn minute(seconds: i64) -> Option<String> {
    let t = time::OffsetDateTime::from_unix_timestamp(seconds).ok()?;
    let (month, day) = (u8::from(t.month()), t.day());
    Some(format!("{}-{month:02}-{day:02} {:02}:{:02} UTC", t.year(), t.hour(), t.minute()))
}
