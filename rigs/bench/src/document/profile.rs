//! The document of `profile check`.

use schemars::JsonSchema;
use serde::Serialize;

use crate::document_kind::{Document, Kind};
use crate::profile::{StopTolerance, WindowSupport};

/// A profile as the bench understands it.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct ProfileDocument {
    /// Its name.
    pub profile: String,
    /// Every setting that follows from what a sound unit shows.
    pub settings: Vec<DerivedSetting>,
    /// What force a learn has to spare.
    pub torque_reserve: TorqueReserve,
    /// What is tolerated of a stop; none where the profile does not say.
    pub stops: Option<StopTolerance>,
    /// What each window does under that tolerance.
    pub windows: Vec<WindowRow>,
}

/// One window of a learn.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct WindowRow {
    /// Setup, warmth and stop.
    pub window: String,
    /// What it does.
    #[serde(flatten)]
    pub support: WindowSupport,
}

/// A setting that follows.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct DerivedSetting {
    /// Its path in a profile.
    pub field: String,
    /// Its value by the rule, in the setting's own unit.
    pub follows: f64,
    /// What the profile gives instead.
    pub given: Option<f64>,
    /// The rule.
    pub rule: &'static str,
}

/// Force to spare.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct TorqueReserve {
    /// What moving a unit at the limit of soundness needs, A.
    pub needed_a: f64,
    /// What a low supply drives through a warm winding, A.
    pub available_a: f64,
    /// What is left, in shares of the friction current.
    pub times_friction: f64,
    /// Least share at which learning a sound unit is to be relied on.
    pub least: f64,
    /// Whether it is that much.
    pub is_enough: bool,
}

impl Document for ProfileDocument {
    const KIND: Kind = Kind::Profile;
}

/// What was found, for machines.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct CharacterisedDocument {
    pub unit: String,
    /// Values with their uncertainty, k = 2; null where the signals cannot say.
    pub resistance_ohm: [f64; 2],
    pub friction_a: [f64; 2],
    pub spring_least_a: [f64; 2],
    pub spring_most_a: [f64; 2],
    pub open_stop_counts: [f64; 2],
    pub closed_stop_counts: [f64; 2],
    pub back_emf_v_per_count_per_s: Option<[f64; 2]>,
    pub noise_counts: f64,
    pub largest_current_a: f64,
    pub over_cap: f64,
    pub stop_speed_travel_per_s: f64,
    pub seconds: f64,
    pub profile: String,
}

impl Document for CharacterisedDocument {
    const KIND: Kind = Kind::Characterised;
}
