//! A line of a unit's log.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::Attached;
use crate::record::Sha256Hex;
use crate::short_text::ShortText;

/// A line as it is written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct ChainedLine {
    /// Counts from 1.
    pub(super) entry: u64,
    /// SHA-256 of the line before, without its line end; zeros before the first.
    pub(super) before: Sha256Hex,
    /// What it says.
    #[serde(flatten)]
    pub(super) says: Entry,
}

/// What a line says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub(in crate::record) enum Entry {
    /// The log begins.
    Begun {
        /// The unit.
        unit: String,
        /// Runs of before, each with its whole-run hash as it was found.
        earlier: BTreeMap<String, Sha256Hex>,
        /// The confirmations of before, as they were found.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        confirmed: Option<Sha256Hex>,
    },
    /// A run is about to take its first sample.
    Opened {
        /// Its name.
        run: String,
    },
    /// A run has ended and lies on disk.
    Closed {
        /// Its name.
        run: String,
        /// Hash of what two equal runs share.
        evidence: Sha256Hex,
        /// Hash of the files as they are.
        whole: Sha256Hex,
    },
    /// A person has confirmed what a learn could not prove.
    Confirmed {
        /// The learn.
        run: String,
        /// Hash of `confirmed.toml` with the new confirmation in it.
        file: Sha256Hex,
    },
    /// A person says of a run that its closing line was lost. It stays incomplete.
    Explained {
        /// Its name.
        run: String,
        /// Hash of the files as they were found.
        whole: Sha256Hex,
        /// Who says so.
        by: ShortText,
        /// Why the line was lost, as far as that person knows.
        why: ShortText,
    },
    /// A person has put a file to the unit.
    Attached(Attached),
}
