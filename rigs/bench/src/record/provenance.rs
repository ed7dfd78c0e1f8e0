//! What a run of a unit rests on: serial numbers, board, settings, and on what footing it moved.

use std::fmt;

use firmware_core::settings::SettingsHash;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::job::Job;
use crate::caution::Present;
use crate::short_text::ShortText;

/// Serial numbers, where the command line gives them.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, clap::Args)]
#[serde(default, deny_unknown_fields)]
pub struct Serials {
    /// Serial number on the actuator; a calibration holds for this actuator only
    #[arg(long = "actuator-serial", value_name = "TEXT")]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub actuator: Option<ShortText>,
    /// Serial number on the turbo; a calibration holds for this turbo only
    #[arg(long = "turbo-serial", value_name = "TEXT")]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub turbo: Option<ShortText>,
}

impl Serials {
    /// These, and the other's where one is not given: a serial number stands until another learn gives another.
    #[must_use]
    pub fn or(&self, other: &Self) -> Self {
        let pick =
            |given: &Option<ShortText>, other: &Option<ShortText>| given.clone().or_else(|| other.clone());
        Self { actuator: pick(&self.actuator, &other.actuator), turbo: pick(&self.turbo, &other.turbo) }
    }

    fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// The board that the run was made with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BoardId {
    /// The board's name.
    pub name: String,
    /// Its serial number; empty where it has none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub serial: String,
}

impl fmt::Display for BoardId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &*self.serial {
            "" => f.write_str(&self.name),
            serial => write!(f, "{} {serial}", self.name),
        }
    }
}

/// What a run of a unit came from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Provenance {
    /// The settings in use, by their content.
    #[serde(with = "hex")]
    pub settings: SettingsHash,
    /// Who stood beside the unit, where the command line says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<ShortText>,
    /// The customer's reference, where it is given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub customer: Option<ShortText>,
    /// The board.
    pub board: BoardId,
    /// Serial numbers.
    #[serde(default, skip_serializing_if = "Serials::is_empty")]
    pub serials: Serials,
    /// The job and the unit's state in it, where they are named.
    #[serde(default, skip_serializing_if = "Job::is_unnamed")]
    pub job: Job,
}

/// On what footing a unit moved.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema, Deserialize)]
#[serde(tag = "on", rename_all = "kebab-case")]
pub enum Ground {
    /// An accepted calibration.
    Accepted {
        /// The learn that it came from.
        learn: String,
    },
    /// One that is not proven or suspended: half the current, half the speed.
    Unproven {
        /// The learn that it came from.
        learn: String,
        /// How it stands, in words.
        standing: String,
        /// Who was there.
        present: Present,
    },
    /// No calibration: little current, open loop, to see where the lever binds.
    Diagnostic {
        /// Why none is in force.
        because: String,
        /// Most current that the ramp asks for, A.
        peak_current_a: f32,
    },
}

/// Eight hexadecimal digits in the file.
mod hex {
    use firmware_core::settings::SettingsHash;
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub(super) fn serialize<S: Serializer>(hash: &SettingsHash, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(hash)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<SettingsHash, D::Error> {
        let text = String::deserialize(deserializer)?;
        let number =
            u32::from_str_radix(&text, 16).map_err(|_| D::Error::custom("allowed: 8 hexadecimal digits"))?;
        Ok(SettingsHash(number))
    }
}
