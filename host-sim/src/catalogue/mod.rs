//! Named faults, each with a severity range, a tag and the reasons that a learn may give for it.
//!
//! In: a name as typed. Out: a preset that changes a sound unit. Refuses a name that is not in the
//! catalogue, with the nearest ones. All numbers are invented; severity is drawn continuously across what
//! can be tolerated, so that a threshold cannot hide between two steps.

mod drive;
mod healthy;
mod host;
mod mechanics;
mod pairs;
mod sensor;
mod stops;

pub use healthy::{draw_unit, nominal_unit};

use firmware_core::learn::{Check, CheckSet};
use firmware_core::units::Duty;
use serde::Serialize;

use crate::actuator::{End, StopCondition};
use crate::world::{Fault, FaultKind, OpeningDirection, StopFault, WorldConfig};

/// What fault it belongs with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
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

/// What a learn must make of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
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

/// What happens around the unit while it learns.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Mishaps {
    /// The host goes silent at this time, s, and its lease runs out.
    pub host_silent_at_s: Option<f64>,
    /// The controller restarts at this time, s: the tick number jumps.
    pub restart_at_s: Option<f64>,
    /// The bridge keeps this duty from this time on, s.
    pub duty_stuck: Option<(f64, f64)>,
    /// Share of the asked duty that the bridge gives; nothing means all of it.
    pub duty_share: Option<f64>,
    /// Noise bytes arrive on the line all the time; the learner runs on the board and must not notice.
    pub garbage_on_line: Option<u32>,
}

impl Mishaps {
    /// The duty that the bridge gives at a time.
    #[must_use]
    pub fn duty(&self, asked: Duty, time_s: f64) -> Duty {
        match self.duty_stuck {
            Some((at_s, duty)) if time_s >= at_s => Duty::saturating(duty as f32, Duty::ZERO),
            _ => match self.duty_share {
                Some(share) => Duty::saturating(asked.get() * share as f32, Duty::ZERO),
                None => asked,
            },
        }
    }
}

/// A unit and what happens around it.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// The unit.
    pub world: WorldConfig,
    /// What happens around it.
    pub mishaps: Mishaps,
    /// Checks that a person would find failed on this unit, looking carefully.
    pub failed_checks: Vec<Check>,
}

impl Case {
    /// A case without a fault.
    #[must_use]
    pub fn of(world: WorldConfig) -> Self {
        Self { world, mishaps: Mishaps::default(), failed_checks: Vec::new() }
    }

    /// What a careful person confirms on this unit: everything but what fails.
    #[must_use]
    pub fn checks_passed(&self) -> CheckSet {
        self.failed_checks.iter().fold(CheckSet::ALL, |passed, failed| passed.without(*failed))
    }

    /// Openings between which the lever can stand, from what shuts off its ends.
    #[must_use]
    pub fn free_openings(&self) -> [f64; 2] {
        let Ok(travel) = self.world.travel() else { return [0.0, 1.0] };
        let mut free = [0.0_f64, 1.0_f64];
        for fault in &self.world.faults {
            let at = match fault.what {
                FaultKind::Obstruction(obstruction) => (obstruction.shuts_off, obstruction.stop.angle_rad),
                FaultKind::RingStop(end, StopFault::Changed(StopCondition::Shifted(by_rad))) => {
                    let Some(stop) = self.world.actuator.ring.stops.at(end) else { continue };
                    (end, stop.angle_rad + by_rad)
                }
                _ => continue,
            };
            let opening = travel.opening(at.1);
            let shuts_off_open = (at.0 == End::Low) == (self.world.opening == OpeningDirection::LowersAngle);
            if shuts_off_open {
                free[1] = free[1].min(opening);
            } else {
                free[0] = free[0].max(opening);
            }
        }
        free
    }

    /// Where to put the lever before the start: a share of the free range, or where the spring would hold it
    /// when that is not its usual place.
    #[must_use]
    pub fn start_opening(&self, share: Option<f64>) -> Option<f64> {
        let [low, high] = self.free_openings();
        match share {
            Some(share) => Some(low + share * (high - low)),
            None if high < 1.0 => Some(high),
            None => None,
        }
    }

    fn fault(&mut self, what: FaultKind) {
        self.world.faults.push(Fault::standing(what));
    }

    fn fault_from(&mut self, at_s: f64, what: FaultKind) {
        self.world.faults.push(Fault { at_s, until_s: None, what });
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
    apply: fn(&mut Case, f64),
}

impl Preset {
    /// Puts the fault into a unit.
    pub fn apply(&self, case: &mut Case, severity: f64) {
        (self.apply)(case, severity);
    }

    /// The nominal unit with this fault, at a severity or the typical one.
    #[must_use]
    pub fn unit(&self, severity: Option<f64>) -> Case {
        let mut case = Case::of(nominal_unit());
        self.apply(&mut case, severity.unwrap_or_else(|| self.severity.typical()));
        case
    }
}

/// No such preset.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("no unit or fault is called `{asked}`; nearest: {nearest}; `vanebench ports` lists all")]
pub struct UnknownPreset {
    /// What was typed.
    pub asked: String,
    /// The nearest names.
    pub nearest: String,
}

/// The whole catalogue, in a fixed order.
pub fn all() -> impl Iterator<Item = &'static Preset> {
    healthy::PRESETS
        .iter()
        .chain(stops::PRESETS)
        .chain(mechanics::PRESETS)
        .chain(drive::PRESETS)
        .chain(sensor::PRESETS)
        .chain(host::PRESETS)
        .chain(pairs::PRESETS)
}

/// Finds a preset by name.
///
/// # Errors
/// [`UnknownPreset`] with the three nearest names.
pub fn find(name: &str) -> Result<&'static Preset, UnknownPreset> {
    all().find(|preset| preset.name == name).ok_or_else(|| {
        let mut names: Vec<&str> = all().map(|preset| preset.name).collect();
        names.sort_by_key(|known| distance(name, known));
        UnknownPreset { asked: name.to_owned(), nearest: names[..3].join(", ") }
    })
}

/// Edit distance of two names.
fn distance(one: &str, other: &str) -> usize {
    let mut row: Vec<usize> = (0..=other.chars().count()).collect();
    for (i, a) in one.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, b) in other.chars().enumerate() {
            let change = diagonal + usize::from(a != b);
            diagonal = row[j + 1];
            row[j + 1] = change.min(diagonal + 1).min(row[j] + 1);
        }
    }
    row[row.len() - 1]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::World;

    #[test]
    fn names_are_plain_and_unique_and_there_are_at_least_forty_faults() {
        let mut names: Vec<&str> = all().map(|preset| preset.name).collect();
        let plain = |name: &str| name.chars().all(|letter| letter.is_ascii_lowercase() || letter == '-');
        assert!(names.iter().all(|name| plain(name)), "{names:?}");
        names.sort_unstable();
        let count = names.len();
        names.dedup();
        assert_eq!(names.len(), count);
        assert!(all().filter(|preset| preset.family != Family::Healthy).count() >= 40);
    }

    #[test]
    fn every_preset_makes_a_valid_world_over_its_whole_severity_range() {
        for preset in all() {
            for share in [0.0, 0.25, 0.5, 0.75, 1.0] {
                let case = preset.unit(Some(preset.severity.at(share)));
                let world = World::new(&case.world, 1);
                assert!(world.is_ok(), "{} at {share}: {}", preset.name, world.unwrap_err());
            }
        }
    }

    #[test]
    fn a_mistyped_name_is_answered_with_the_nearest() {
        let error = find("soted-ring").unwrap_err();
        assert!(error.nearest.starts_with("sooted-ring"), "{error}");
    }
}
