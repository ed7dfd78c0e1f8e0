//! Named faults, each with a severity range, a tag and the reasons that a learn may give for it.
//!
//! In: a name as typed. Out: a preset that changes a sound unit. Refuses a name that is not in the
//! catalogue, with the nearest ones. All numbers are invented; severity is drawn continuously across what
//! can be tolerated, so that a threshold cannot hide between two steps.

mod case;
mod drive;
mod healthy;
mod host;
mod mechanics;
mod pairs;
mod preset;
mod sensor;
mod size;
mod stops;

pub use case::{Case, Mishaps};
pub(crate) use healthy::draw_of;
pub use healthy::{draw_unit, nominal_unit};
use plant::shown::brief;
pub use preset::{Family, Preset, Severity, Tag};
use size::Size;
pub(crate) use size::travel_counts;

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
        let asked = brief(name);
        let mut names: Vec<&str> = all().map(|preset| preset.name).collect();
        names.sort_by_key(|known| distance(&asked, known));
        UnknownPreset { asked, nearest: names[..3].join(", ") }
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
    use plant::actuator::{StopCondition, TravelEnd};
    use plant::world::{FaultKind, OpeningDirection, StopFault, World, WorldConfig};

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

    /// Invented: 25° of travel from 10° on, 24 V, stiff stops, opening raises the angle, 10-bit falling counts.
    fn another_kind() -> WorldConfig {
        let mut kind = nominal_unit();
        kind.opening = OpeningDirection::RaisesAngle;
        let actuator = &mut kind.actuator;
        actuator.bridge.supply_v = 24.0;
        for (end, degrees) in [(TravelEnd::Low, 10.0_f64), (TravelEnd::High, 35.0)] {
            let stop = actuator.ring.stops.at_mut(end).as_mut().unwrap();
            stop.angle_rad = degrees.to_radians();
            stop.stiffness_nm_per_rad = 3000.0;
        }
        actuator.lever_stops.low.as_mut().unwrap().angle_rad = 8.0_f64.to_radians();
        actuator.lever_stops.high.as_mut().unwrap().angle_rad = 37.0_f64.to_radians();
        let position = &mut kind.sensors.position;
        (position.bits, position.counts_at_zero) = (10, 1200.0);
        position.counts_per_rad = -1800.0;
        kind
    }

    #[test]
    fn a_fault_takes_the_same_share_of_every_kinds_travel_stiffness_and_supply() {
        let kind = another_kind();
        let on = |name: &str, severity: f64| find(name).unwrap().on(&kind, Some(severity));
        // 7 of 70 degrees are a tenth: 2.5 of 25. Closed is the low end here.
        let FaultKind::RingStop(end, StopFault::Changed(StopCondition::Shifted(by_rad))) =
            on("closed-stop-shifted-in", 7.0).world.faults[0].what
        else {
            panic!("no shifted stop")
        };
        assert!(end == TravelEnd::Low && (by_rad - 2.5_f64.to_radians()).abs() < 1e-12, "{by_rad}");
        let FaultKind::Obstruction(soot) = on("soot-at-open-stop", 7.0).world.faults[0].what else {
            panic!("no soot")
        };
        assert_eq!((soot.shuts_off, soot.stop.stiffness_nm_per_rad), (TravelEnd::High, 300.0));
        assert!((soot.stop.angle_rad - 32.5_f64.to_radians()).abs() < 1e-12, "{soot:?}");
        let FaultKind::Obstruction(block) = on("blocked-travel", 0.2).world.faults[0].what else {
            panic!("no block")
        };
        assert!((block.stop.angle_rad - 15.0_f64.to_radians()).abs() < 1e-12, "{block:?}");
        assert_eq!(on("low-supply", 9.0).world.actuator.bridge.supply_v, 18.0);
    }

    #[test]
    fn every_preset_makes_a_valid_world_of_another_kind() {
        for preset in all() {
            for share in [0.0, 0.5, 1.0] {
                let case = preset.on(&another_kind(), Some(preset.severity.at(share)));
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
