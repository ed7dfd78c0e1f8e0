//! A scenario: a world, what is asked of it over time, and the limits it is judged by.
//!
//! In: TOML, and a cycle file where one is named. Out: a checked [`Scenario`] ready to run. Refuses unknown
//! fields, values out of range and times out of order, naming file, line, field and what is allowed.

mod boost_map;
mod builtin;
mod demand;
mod vehicle;

pub use boost_map::wanted_boost_kpa;
pub use builtin::{BuiltIn, builtins};
pub use demand::{Demand, DemandCursor, DemandPoint, Shape, VaneUse};
pub(crate) use vehicle::EngineFigures;
pub(crate) use vehicle::engine_cycle;
pub(crate) use vehicle::vehicle_cycle;
pub use vehicle::{CycleError, Vehicle};

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use plant::check::{BadParameter, between};
use plant::toml_file::{TomlError, TomlFile};
use plant::world::WorldConfig;

/// Limits that a run is measured against.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct RunLimits {
    /// Most boost, kPa absolute.
    pub boost_kpa: f64,
    /// Most turbo speed, rpm.
    pub turbo_rpm: f64,
    /// Most exhaust pressure, kPa absolute.
    pub exhaust_kpa: f64,
}

impl Default for RunLimits {
    fn default() -> Self {
        Self { boost_kpa: 280.0, turbo_rpm: 185_000.0, exhaust_kpa: 520.0 }
    }
}

/// A cycle file and how it is driven.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cycle {
    /// CSV file, relative to the scenario's own folder.
    pub file: PathBuf,
    /// What the file holds.
    #[serde(default)]
    pub kind: CycleKind,
    /// First second of the file that is driven.
    #[serde(default)]
    pub from_s: f64,
    /// The vehicle of a vehicle cycle.
    #[serde(default)]
    pub vehicle: Vehicle,
}

/// What a cycle file holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CycleKind {
    /// Vehicle speed over time.
    #[default]
    Vehicle,
    /// Engine speed and load over time.
    Engine,
}

/// A whole scenario.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// Short name, for files and tables.
    pub name: String,
    /// One line that says what it is for.
    pub about: String,
    /// How long it runs, s.
    pub duration_s: f64,
    /// Closed loop before time 0 that no metric sees, s.
    #[serde(default = "default_warm_up_s")]
    pub warm_up_s: f64,
    /// Opening at which the world starts the warm-up.
    #[serde(default = "default_start_opening")]
    pub start_opening: f64,
    /// Time of the step that rise, settling and overshoot are measured on, s; none without it.
    pub step_at_s: Option<f64>,
    /// The world.
    #[serde(default)]
    pub world: WorldConfig,
    /// What is asked, point by point; with a cycle, leave it out.
    #[serde(default)]
    pub demand: Vec<DemandPoint>,
    /// A cycle file instead of points; once it is read, its points stand in `demand`.
    pub cycle: Option<Cycle>,
    /// Limits.
    #[serde(default)]
    pub limits: RunLimits,
}

fn default_warm_up_s() -> f64 {
    3.0
}

fn default_start_opening() -> f64 {
    0.4
}

/// Why a scenario could not be loaded.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ScenarioError {
    /// The scenario's own file.
    #[error(transparent)]
    File(#[from] TomlError),
    /// Its cycle file.
    #[error(transparent)]
    Cycle(#[from] CycleError),
}

impl Scenario {
    /// Loads a scenario and the cycle it names.
    ///
    /// # Errors
    /// [`ScenarioError`], naming file, line, field and what is allowed.
    pub fn load(path: &Path) -> Result<Self, ScenarioError> {
        let text = TomlFile::read(path)?;
        let folder = path.parent().unwrap_or_else(|| Path::new("."));
        Self::from_toml(text.text(), text.name(), |cycle| {
            TomlFile::read(&folder.join(cycle)).map(|file| file.text().to_owned())
        })
    }

    /// Reads a scenario from TOML; `cycle_text` fetches a cycle file by the name that the scenario gives it.
    ///
    /// # Errors
    /// [`ScenarioError`], naming file, line, field and what is allowed.
    pub fn from_toml(
        text: &str,
        file: &str,
        cycle_text: impl FnOnce(&Path) -> Result<String, TomlError>,
    ) -> Result<Self, ScenarioError> {
        let mut scenario: Self = TomlFile::from_text(file, text).checked(Self::validate)?;
        if let Some(cycle) = scenario.cycle.take() {
            let text = cycle_text(&cycle.file)?;
            scenario.demand = scenario.drive(&cycle, &text)?;
        }
        Ok(scenario)
    }

    fn drive(&self, cycle: &Cycle, text: &str) -> Result<Vec<DemandPoint>, CycleError> {
        let engine = &self.world.engine;
        let figures = EngineFigures {
            cylinders: engine.air.cylinders,
            heating_value: engine.air.heating_value,
            full_load_mg: engine.full_load_mg,
        };
        let file = cycle.file.display().to_string();
        let mut points = match cycle.kind {
            CycleKind::Vehicle => vehicle_cycle(text, &file, &cycle.vehicle, &figures)?,
            CycleKind::Engine => engine_cycle(text, &file, &figures)?,
        };
        points.retain(|point| point.t_s >= cycle.from_s && point.t_s <= cycle.from_s + self.duration_s + 1.0);
        if points.is_empty() {
            return Err(CycleError::Short { file });
        }
        for point in &mut points {
            point.t_s -= cycle.from_s;
        }
        Ok(points)
    }

    /// Checks every field.
    ///
    /// # Errors
    /// Names the first field that is out of range.
    pub fn validate(&self) -> Result<(), BadParameter> {
        between("duration_s", self.duration_s, 0.01, 1e5)?;
        between("warm_up_s", self.warm_up_s, 0.0, 600.0)?;
        between("start_opening", self.start_opening, 0.0, 1.0)?;
        if let Some(step_at_s) = self.step_at_s {
            between("step_at_s", step_at_s, 0.0, self.duration_s)?;
        }
        between("limits.boost_kpa", self.limits.boost_kpa, 50.0, 2000.0)?;
        between("limits.turbo_rpm", self.limits.turbo_rpm, 1e3, 1e6)?;
        between("limits.exhaust_kpa", self.limits.exhaust_kpa, 50.0, 3000.0)?;
        self.world.validate().map_err(|e| e.within("world"))?;
        if self.demand.is_empty() == self.cycle.is_none() {
            let seen = format!("{} points, {} cycle", self.demand.len(), usize::from(self.cycle.is_some()));
            return Err(BadParameter::new("demand", seen, "either [[demand]] points or one [cycle]"));
        }
        demand::check_points(&self.demand, "demand")
    }

    /// Walks the demand from the start.
    #[must_use]
    pub fn cursor(&self) -> DemandCursor<'_> {
        DemandCursor::new(&self.demand)
    }
}
