//! What a named fault is: family, tag, severity range, and the change it makes to a sound unit.

use firmware_core::learn::Check;
use serde::{Deserialize, Serialize};

use super::Case;
use plant::world::WorldConfig;

/// From how many degrees of a travel of 70° an index mark or a gauge at the minimum-flow stop shows something off: half
/// the tolerance (common practice, no source).
pub(super) const LOOK_DEG: f64 = 0.7;

/// What fault it belongs with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Family {
    /// Nothing wrong, or wear within limits.
    Healthy,
    /// Stops, ring, lever, mount.
    Mechanics,
    /// Motor, bridge, supply.
    Drive,
    /// Position and current sensors.
    Sensor,
    /// Link, host, controller restart.
    Host,
    /// Two faults at once.
    Pair,
}

impl Family {
    /// A fault of this family; severity from mild to worst, with its unit.
    pub(super) const fn preset(
        self,
        name: &'static str,
        about: &'static str,
        tag: Tag,
        (mild, worst, unit): (f64, f64, &'static str),
        reasons: &'static [&'static str],
        apply: fn(&mut Case, f64),
    ) -> Preset {
        let severity = Severity { mild, worst, unit };
        Preset { name, about, family: self, tag, severity, reasons, shown_by: None, apply }
    }
}

/// What a learn must make of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Tag {
    /// Never a calibration that is off by more than the tolerance; small severities may pass when the
    /// calibration is still right.
    MustReject,
    /// Always a calibration.
    MustAccept,
    /// Counts and current look sound: never accepted until a person has made this check.
    UndecidableWithout(Check),
}

/// Severity range of a preset, mildest first; the number itself may fall on the way (a share left, a voltage).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Severity {
    /// Mildest.
    pub mild: f64,
    /// Worst.
    pub worst: f64,
    /// What the number is, with its unit.
    pub unit: &'static str,
}

impl Severity {
    /// The severity at a share 0 … 1 of the range.
    #[must_use]
    pub fn at(&self, share: f64) -> f64 {
        self.mild + share * (self.worst - self.mild)
    }

    /// The typical severity that a virtual unit shows when none is given: three quarters up.
    #[must_use]
    pub fn typical(&self) -> f64 {
        self.at(0.75)
    }
}

/// One named fault.
#[derive(Debug, Clone, Copy)]
pub struct Preset {
    /// Name as typed.
    pub name: &'static str,
    /// What it is, in a sentence.
    pub about: &'static str,
    /// Family.
    pub family: Family,
    /// What a learn must make of it.
    pub tag: Tag,
    /// Severity range.
    pub severity: Severity,
    /// Names of the refusals that fit this fault.
    pub reasons: &'static [&'static str],
    shown_by: Option<(Check, f64)>,
    apply: fn(&mut Case, f64),
}

impl Preset {
    /// This fault, which a person's check shows from a severity on, whatever the signals say.
    pub(super) const fn shown_by(self, check: Check, from: f64) -> Self {
        Self { shown_by: Some((check, from)), ..self }
    }

    /// The check that a careful person finds failed at a severity, though alone this fault shows in the signals.
    pub(crate) fn shown(&self, severity: f64) -> Option<Check> {
        self.shown_by.and_then(|(check, from)| (severity >= from).then_some(check))
    }

    /// Puts the fault into a unit.
    pub fn apply(&self, case: &mut Case, severity: f64) {
        (self.apply)(case, severity);
    }

    /// A kind's nominal unit with this fault, at a severity or the typical one.
    #[must_use]
    pub fn on(&self, nominal: &WorldConfig, severity: Option<f64>) -> Case {
        let mut case = Case::of(nominal.clone());
        self.apply(&mut case, severity.unwrap_or_else(|| self.severity.typical()));
        case
    }

    /// Bench actuator A's nominal unit with this fault, at a severity or the typical one.
    #[must_use]
    pub fn unit(&self, severity: Option<f64>) -> Case {
        self.on(&WorldConfig::default(), severity)
    }
}
