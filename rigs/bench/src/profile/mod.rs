//! Actuator profiles: what the bench must know of a kind of unit before it moves one.
//!
//! In: a TOML file. Out: a [`Profile`]: what a sound unit shows, the controller settings that go to the board (given, or
//! following from that), and the plan of sweeps and steps. Anything out of range is refused with file, line, field, the
//! value seen and what is allowed; nothing moves on a profile that was not understood whole.

mod contradictions;
mod derived;
mod plan;
mod stops;

use derived::reserve;
pub(crate) use derived::{Derived, LEAST_RESERVE, Reserve, SoundUnit};
pub(crate) use plan::REVERSAL_HOLE;
pub(crate) use plan::REVERSAL_RANGE;
pub(crate) use plan::REVERSAL_TICKS;
pub use plan::{BandPlan, FrictionPlan, StepPlan, SweepPlan, TestPlan};
pub(crate) use stops::{StopTolerance, WindowSupport};

use firmware_core::learn::{Check, CheckSet};
use firmware_core::settings::Settings;
use plant::shown::MOST_SHOWN;
use serde::Deserialize;

use plant::toml_file::{MOST_ORIGIN, TomlError, TomlFile};

/// One kind of actuator.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Profile {
    /// Name of the profile.
    pub name: String,
    /// Where the numbers come from.
    pub origin: String,
    /// Lever travel between the stops of a sound unit, degrees, 5 to 180.
    pub travel_deg: f64,
    /// What a sound unit's signals show; settings follow from it. Only profiles that older runs carry lack it.
    pub(crate) sound_unit: Option<SoundUnit>,
    /// How far off a stop may be; without it nobody knows what the windows prove.
    pub(crate) stops: Option<StopTolerance>,
    /// How the bench moves it.
    pub plan: TestPlan,
    /// What the controller is told.
    pub settings: Settings,
    /// The file's text: what a run carries along.
    #[serde(skip)]
    pub text: String,
}

/// How the origin of a profile begins that was made from one unit: its windows are that unit's own, and prove nothing.
pub(crate) const OF_ONE_UNIT: &str = "Characterised on this unit alone";
/// What is said of checks that such a profile leaves open.
pub(crate) const WINDOWS_OF_ITS_OWN: &str = "This profile's windows come from this unit's own stops, so \
    nothing can be confirmed on it: learn with windows from other sound units or a data sheet.";

const NEXT: &str = "Correct this line and run again; nothing was moved.";

impl Profile {
    /// Reads and checks a profile.
    ///
    /// # Errors
    /// [`TomlError`] names file, line, field, value and what is allowed.
    pub fn read(file: &TomlFile) -> Result<Self, TomlError> {
        let profile = Self::of_a_run(file)?;
        match profile.sound_unit {
            Some(_) => Ok(profile),
            None => {
                let allowed =
                    "missing: friction, spring, yield and noise of a sound unit, which settings follow from";
                Err(file.refuse(
                    "sound_unit",
                    allowed,
                    "Add the table, as in a built-in profile; nothing was moved.",
                ))
            }
        }
    }

    /// Reads a profile that a run carries: older releases had no `[sound_unit]`, and nothing followed from it.
    ///
    /// # Errors
    /// As [`Self::read`].
    pub(crate) fn of_a_run(file: &TomlFile) -> Result<Self, TomlError> {
        let mut profile: Self = file.parse()?;
        file.text().clone_into(&mut profile.text);
        file.short("name", &profile.name, MOST_SHOWN)?;
        file.short("origin", &profile.origin, MOST_ORIGIN)?;
        if !(5.0..=180.0).contains(&profile.travel_deg) {
            return Err(file.refuse("travel_deg", "allowed 5 to 180 degrees", NEXT));
        }
        profile.plan.check(file)?;
        whole(file)?;
        if let Some(unit) = &profile.sound_unit {
            unit.check(file)?;
        }
        if let Some(stops) = &profile.stops {
            stops.check(file)?;
        }
        profile.let_follow(file)?;
        profile.settings.validate().map_err(|error| {
            let field = format!("settings.{}", error.field);
            let range = error.range;
            let allowed = format!("{} is outside {} to {}", range.value, range.min, range.max);
            file.refuse(&field, allowed, NEXT)
        })?;
        contradictions::check(&profile, file)?;
        Ok(profile)
    }

    /// What nobody can confirm of a learn on this profile, one check of each setup at least: windows that are the unit's
    /// own stops show neither wrong indexing nor a wrong scale. Nothing, where other units made the windows.
    #[must_use]
    pub(crate) fn beyond_confirming(&self) -> CheckSet {
        if self.origin.starts_with(OF_ONE_UNIT) {
            CheckSet::NONE.with(Check::Indexing).with(Check::SensorScale)
        } else {
            CheckSet::NONE
        }
    }

    /// Every setting that follows from what a sound unit shows.
    #[must_use]
    pub(crate) fn derived(&self) -> Vec<Derived> {
        self.sound_unit.iter().flat_map(|unit| derived::derive(&self.settings, unit)).collect()
    }

    /// Force that a learn has to spare on a sound unit, where the profile says what one takes.
    #[must_use]
    pub(crate) fn reserve(&self) -> Option<Reserve> {
        self.sound_unit.map(|unit| reserve(&self.settings.actuator, &unit))
    }

    /// Sets what follows and was not given.
    fn let_follow(&mut self, file: &TomlFile) -> Result<(), TomlError> {
        let given: toml::Table = file.parse()?;
        for one in self.derived() {
            if !gives(&given, one.field) {
                one.put(&mut self.settings);
            }
        }
        Ok(())
    }

    /// Whether the file gives a setting itself.
    #[must_use]
    pub(crate) fn gives(&self, field: &str) -> bool {
        toml::from_str(&self.text).is_ok_and(|given| gives(&given, field))
    }
}

/// What every profile tells whole: the controller's defaults describe an invented actuator, and a current
/// limit, a direction or a window that nobody gave would move a real lever.
const WHOLE: [&str; 3] = ["actuator", "limits", "learn.windows"];

/// Refuses a profile that leaves out any value of those sections.
fn whole(file: &TomlFile) -> Result<(), TomlError> {
    let settings: toml::Table = file.parse()?;
    let given = settings.get("settings");
    let wanted = toml::Value::try_from(Settings::default()).ok();
    let missing = WHOLE.iter().find_map(|section| {
        let path: Vec<&str> = section.split('.').collect();
        first_missing(at(wanted.as_ref(), &path)?, at(given, &path)).map(|field| (section, field))
    });
    missing.map_or(Ok(()), |(section, field)| {
        let next = "Give it from the unit's data sheet; nothing was moved.";
        Err(file.refuse(&format!("settings.{section}"), format!("{field} is missing"), next))
    })
}

fn gives(profile: &toml::Table, field: &str) -> bool {
    let path: Vec<&str> = field.split('.').collect();
    at(profile.get("settings"), &path).is_some()
}

fn at<'a>(value: Option<&'a toml::Value>, path: &[&str]) -> Option<&'a toml::Value> {
    path.iter().try_fold(value?, |inner, name| inner.get(name))
}

/// The first field of `wanted`, with the tables that it stands in, that `given` does not have.
fn first_missing(wanted: &toml::Value, given: Option<&toml::Value>) -> Option<String> {
    let Some(fields) = wanted.as_table() else { return given.is_none().then(String::new) };
    fields.iter().find_map(|(name, inner)| {
        let deeper = first_missing(inner, given.and_then(|given| given.get(name)))?;
        Some(if deeper.is_empty() { name.clone() } else { format!("{name}.{deeper}") })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::actuator::{ALL, DEMO};

    /// Bench actuator A is what the controller's defaults were made for: its rules give them, figure by figure.
    #[test]
    fn what_follows_for_bench_actuator_a_is_what_the_controller_defaults_to() {
        let derived = DEMO.profile().unwrap().derived();
        assert!(derived.len() > 15);
        for one in derived {
            assert_eq!(one.value as f32, one.held(&Settings::default()), "{}", one.field);
        }
    }

    #[test]
    fn every_built_in_actuator_has_torque_in_reserve_and_gives_none_of_what_follows() {
        for actuator in ALL {
            let profile = actuator.profile().unwrap();
            let reserve = profile.reserve().unwrap();
            assert!(reserve.ratio > 2.0 * LEAST_RESERVE, "{}: {reserve:?}", actuator.name);
            for one in profile.derived() {
                assert!(!profile.gives(one.field), "{}: {}", actuator.name, one.field);
                assert_eq!(one.held(&profile.settings), one.value as f32, "{}", one.field);
            }
        }
    }

    #[test]
    fn a_given_setting_stands_against_its_rule_and_a_weak_motor_shows_in_the_reserve() {
        let given = format!("{}\n[settings.learn.limits]\nfriction = 0.9\n", DEMO.profile_text);
        let profile = Profile::read(&TomlFile::from_text("unit.toml", &given)).unwrap();
        assert_eq!(profile.settings.learn.limits.friction.0, 0.9);
        assert_eq!(profile.settings.learn.limits.repeat, Settings::default().learn.limits.repeat);
        let text = DEMO.profile_text.replace("friction_a = 0.25", "friction_a = 1.5");
        let text = text.replace("break_away_a = 0.34", "break_away_a = 2.5");
        let weak = Profile::read(&TomlFile::from_text("unit.toml", &text)).unwrap();
        assert!(weak.reserve().unwrap().ratio < LEAST_RESERVE);
    }

    #[test]
    fn a_profile_without_a_sound_unit_is_read_from_an_older_run_only() {
        let (before, table) = DEMO.profile_text.split_once("[sound_unit]").unwrap();
        let older = format!("{before}{}", &table[table.find("\n[").unwrap()..]);
        let file = TomlFile::from_text("profile.toml", &older);
        let carried = Profile::of_a_run(&file).unwrap();
        assert_eq!(carried.settings.learn.motion, Settings::default().learn.motion);
        assert!(carried.derived().is_empty() && carried.reserve().is_none());
        assert_eq!(&*Profile::read(&file).unwrap_err().field, "sound_unit");
    }

    fn edited(from: &str, to: &str) -> TomlError {
        assert!(DEMO.profile_text.contains(from), "{from} is not in the demo profile");
        let text = DEMO.profile_text.replacen(from, to, 1);
        Profile::read(&TomlFile::from_text("unit.toml", &text)).unwrap_err()
    }

    #[test]
    fn fields_that_contradict_each_other_are_refused_with_both_lines() {
        for (from, to, other) in [
            ("nominal_span_counts = 10700.0", "nominal_span_counts = 3000.0", "(line "),
            ("\"opening-lowers\"", "\"opening-raises\"", "settings.learn.windows.free.cold.closed.min"),
            ("sensor_min = 400", "sensor_min = 2000", "settings.actuator.sensor_min"),
            ("max_current = 4.0", "max_current = 0.7", "settings.actuator.max_current"),
        ] {
            let error = edited(from, to);
            assert!(error.line.is_some() || to.starts_with("max"), "{error}");
            assert!(error.allowed.contains(other), "{error}");
        }
    }

    #[test]
    fn wrong_values_are_refused_with_line_field_value_and_range() {
        let error = edited("max_current = 4.0", "max_current = 99.0");
        assert_eq!((&*error.field, &*error.seen), ("settings.actuator.max_current", "99.0"));
        assert!(error.line.is_some() && error.allowed.contains("0.1 to 30"), "{error}");
        let error = edited("travel_deg = 70.0", "travel_deg = 700.0");
        assert!(error.to_string().contains("travel_deg = 700.0: allowed 5 to 180"), "{error}");
        let error = edited("points = 11", "points = 2");
        assert_eq!((&*error.field, &*error.seen), ("plan.sweep.points", "2"));
        let error = edited("spring = \"opens\"", "spring = \"pulls\"");
        assert!(error.allowed.contains("closes"), "{error}");
        let error = edited("max_current = 4.0", "");
        assert!(
            error.to_string().contains("settings.actuator") && error.allowed.contains("max_current"),
            "{error}"
        );
        let error = edited("heat_time_s = 20.0", "");
        assert!(
            error.to_string().contains("settings.limits") && error.allowed.contains("heat_time_s is missing"),
            "{error}"
        );
        let error = edited(
            "[settings.learn.windows.attached.hot]\nclosed = { min = 13208, max = 13454 }\n",
            "[settings.learn.windows.attached.hot]\n",
        );
        assert!(error.allowed.contains("attached.hot.closed") || error.allowed.contains("closed"), "{error}");
        let error = edited("travel_deg", "travel_degrees");
        assert!(error.allowed.contains("unknown field") && error.allowed.contains("travel_deg"), "{error}");
    }
}
