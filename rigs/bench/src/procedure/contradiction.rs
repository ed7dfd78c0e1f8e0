//! What speaks against the profile or the history of a unit, and what to try.

/// What speaks against profile or history.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum Contradiction {
    /// The lever rests where no lever of this profile can.
    #[error(
        "before the first push the lever reads {seen:.0} counts; allowed by the profile: {low:.0} to \
         {high:.0}"
    )]
    Rest {
        /// Reading, counts.
        seen: f32,
        /// Lowest that the profile allows, counts.
        low: f32,
        /// Highest.
        high: f32,
    },
    /// The lever rests beyond the stops that the calibration in force knows.
    #[error(
        "before it moves, the lever reads {seen:.0} counts; allowed by the calibration in force: {low:.0} \
         to {high:.0}"
    )]
    RestBeyondStops {
        /// Reading, counts.
        seen: f32,
        /// Lowest that the calibration allows, counts.
        low: f32,
        /// Highest.
        high: f32,
    },
    /// The supply is not the profile's.
    #[error("the supply is {seen:.1} V; allowed around the profile's value: {low:.1} to {high:.1} V")]
    Supply {
        /// Seen, V.
        seen: f32,
        /// Lowest allowed, V.
        low: f32,
        /// Highest, V.
        high: f32,
    },
    /// The winding is not the profile's.
    #[error(
        "with the lever still, the winding measures {seen:.2} Ω; allowed around the profile's value: \
         {low:.2} to {high:.2} Ω"
    )]
    Winding {
        /// Seen, Ω.
        seen: f32,
        /// Lowest allowed, Ω.
        low: f32,
        /// Highest, Ω.
        high: f32,
    },
    /// The winding is not the one that this unit had.
    #[error(
        "with the lever still, the winding measures {seen:.2} Ω; at its last learn this unit measured \
         {before:.2} Ω; allowed: {low:.2} to {high:.2} Ω"
    )]
    OtherWinding {
        /// Seen, Ω.
        seen: f32,
        /// Then, Ω.
        before: f32,
        /// Lowest allowed, Ω.
        low: f32,
        /// Highest, Ω.
        high: f32,
    },
}

impl Contradiction {
    /// What to try.
    #[must_use]
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Rest { .. } => {
                "The wrong actuator on the bench, or the wrong profile? Compare the actuator's tag with the profile; then check the sensor's plug and wires."
            }
            Self::RestBeyondStops { .. } => {
                "Is this the unit that was learned, mounted as it was? A turned stop screw, lever or rod voids the calibration: learn it again."
            }
            Self::Supply { .. } => {
                "Check battery and cable, and that profile and bench are for the same system voltage."
            }
            Self::Winding { .. } => {
                "The wrong actuator on the bench, or the wrong profile? Compare the actuator's tag with the profile; then measure winding and plug with an ohmmeter."
            }
            Self::OtherWinding { .. } => {
                "Is this the unit whose name was given? Another actuator needs a name of its own. If it \
                 is, let it cool, then measure winding and plug with an ohmmeter."
            }
        }
    }
}
