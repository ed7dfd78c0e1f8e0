//! The kinds of document, and what stands at the head of each.

use clap::ValueEnum;
use schemars::JsonSchema;
use serde::Serialize;

use crate::exit::{Exit, Failure};
use crate::output::MADE_BY;

/// What a document says, in a word: the first field of every one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema, ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Serial ports and virtual units
    Ports,
    /// What a unit reads while nothing is driven
    Monitor,
    /// A virtual unit on a serial device
    Rig,
    /// What a learn found and what is in force after it
    Learn,
    /// A recorded learn, decided again
    Replay,
    /// A sweep, a friction run or a step run, as recorded
    Motion,
    /// The whole job on a virtual unit
    Demo,
    /// A verdict with its reasons and figures
    Verdict,
    /// The units in a folder of records
    Units,
    /// The runs of a unit
    History,
    /// A file attached to a unit
    Attached,
    /// Two units, or two rounds of one, side by side
    SideBySide,
    /// A unit's folder checked against its log
    Check,
    /// What a person confirmed of a learn after the fact
    Confirmation,
    /// An empty sheet for a person to fill in
    Sheet,
    /// Two parts sheets side by side
    Comparison,
    /// A profile as the bench understands it
    Profile,
    /// Limits drawn from good units
    Limits,
    /// What the signals of an unknown actuator show
    Characterised,
    /// Gains proposed from a recorded step
    Tuning,
    /// A boost law tuned on some simulated engines and judged on others
    BoostTuning,
    /// Two measured turbos, and the calibration carried over
    Match,
    /// The built-in scenarios
    Scenarios,
    /// A scenario under one or several controllers
    Simulation,
    /// A scenario over units that differ
    Campaign,
    /// End-stop learning against every fault
    LearnCampaign,
    /// The over-boost guard in random worlds
    GuardCampaign,
    /// How well learns repeat
    GaugeStudy,
    /// A part of a campaign, kept in a file
    CampaignPart,
    /// A text for the shell or the manual
    ShellText,
    /// JSON Schemas of these documents
    Schemas,
    /// Why a verb could not do its work
    Error,
}

impl Kind {
    /// Counts the changes of this kind that a reader must know of.
    #[must_use]
    pub fn version(self) -> u32 {
        match self {
            // Bounds say `expanded_uncertainty` where they said `guard`.
            Self::Demo | Self::Verdict | Self::History => 2,
            Self::Ports
            | Self::Monitor
            | Self::Rig
            | Self::Learn
            | Self::Replay
            | Self::Motion
            | Self::Units
            | Self::Attached
            | Self::SideBySide
            | Self::Check
            | Self::Confirmation
            | Self::Sheet
            | Self::Comparison
            | Self::Profile
            | Self::Limits
            | Self::Characterised
            | Self::Tuning
            | Self::BoostTuning
            | Self::Match
            | Self::Scenarios
            | Self::Simulation
            | Self::Campaign
            | Self::LearnCampaign
            | Self::GuardCampaign
            | Self::GaugeStudy
            | Self::CampaignPart
            | Self::ShellText
            | Self::Schemas
            | Self::Error => 1,
        }
    }

    /// The word in a document and on the command line.
    #[must_use]
    pub fn word(self) -> String {
        self.to_possible_value().map_or_else(String::new, |value| value.get_name().to_owned())
    }

    /// What it is about, in a line.
    #[must_use]
    pub(crate) fn about(self) -> String {
        self.to_possible_value()
            .and_then(|value| value.get_help().map(ToString::to_string))
            .unwrap_or_default()
    }
}

/// One JSON document for machines: what a verb prints with `--json`, or keeps in a file.
pub(crate) trait Document: Serialize + JsonSchema {
    /// Its kind.
    const KIND: Kind;
}

/// A document with its head, as it is written.
#[derive(Serialize)]
struct Headed<'a, D> {
    kind: Kind,
    version: u32,
    about: &'static str,
    #[serde(flatten)]
    body: &'a D,
}

impl<'a, D: Document> Headed<'a, D> {
    fn of(body: &'a D) -> Self {
        Self { kind: D::KIND, version: D::KIND.version(), about: MADE_BY, body }
    }
}

/// A document as it is printed and kept, without a line end.
///
/// # Errors
/// None in a sound build: every document can be written as JSON.
pub(crate) fn text(document: &impl Document) -> Result<String, Failure> {
    serde_json::to_string_pretty(&Headed::of(document)).map_err(Failure::undetermined)
}

/// Why a verb could not do its work.
#[derive(Serialize, JsonSchema)]
pub(crate) struct ErrorDocument<'a> {
    /// What was seen, what is allowed, what to try.
    error: &'a str,
    /// The program's exit code.
    exit: u8,
}

impl<'a> ErrorDocument<'a> {
    /// Of a failure.
    #[must_use]
    pub(crate) fn of(error: &'a str, exit: Exit) -> Self {
        Self { error, exit: exit.code() }
    }
}

impl Document for ErrorDocument<'_> {
    const KIND: Kind = Kind::Error;
}
