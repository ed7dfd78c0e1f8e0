//! How end stops are learned: speeds, pushes, signs, windows. Distances are fractions of the actuator's
//! nominal travel unless the name says counts.

use serde::{Deserialize, Serialize};

use super::{SettingError, check};
use crate::calibration::{Setup, Warmth};
use crate::units::{Ampere, Counts, Opening, Volt, is_within};

/// Where one stop may lie, counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(deny_unknown_fields)]
pub struct StopWindow {
    /// Lowest reading that is believed.
    pub min: Counts,
    /// Highest reading that is believed.
    pub max: Counts,
}

impl StopWindow {
    /// Window of `half_width` counts around `centre`.
    #[must_use]
    pub const fn around(centre: i16, half_width: i16) -> Self {
        Self {
            min: Counts(centre.saturating_sub(half_width)),
            max: Counts(centre.saturating_add(half_width)),
        }
    }

    /// True when the reading lies inside.
    #[must_use]
    pub fn contains(&self, counts: f32) -> bool {
        is_within(counts, self.min.as_f32(), self.max.as_f32())
    }

    /// Middle of the window.
    #[must_use]
    pub fn centre(&self) -> f32 {
        (self.min.as_f32() + self.max.as_f32()) / 2.0
    }

    /// Half its width.
    #[must_use]
    pub fn half_width(&self) -> f32 {
        (self.max.as_f32() - self.min.as_f32()) / 2.0
    }

    #[inline]
    fn validate(&self, field: &'static str) -> Result<(), SettingError> {
        check(field, self.max.as_f32() - self.min.as_f32(), 1.0, 8000.0)?;
        check(field, self.min.as_f32(), 0.0, 16_383.0)
    }
}

/// Windows of both stops for one setup at one warmth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(deny_unknown_fields)]
pub struct StopWindows {
    /// Closed stop (opening 0).
    pub closed: StopWindow,
    /// Open stop (opening 1).
    pub open: StopWindow,
}

/// Windows of one setup.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(deny_unknown_fields)]
pub struct SetupWindows {
    /// Near room temperature.
    pub cold: StopWindows,
    /// Heat-soaked.
    pub hot: StopWindows,
}

/// Speeds and pushes of the learn.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct LearnMotion {
    /// Speed between the stops, travel/s, 0.1 to 3. Default 1.0; higher learns sooner, hits an
    /// obstruction harder.
    pub traverse_speed: f32,
    /// Speed between the stops of a key-off relearn, travel/s, 0.1 to 3. Default 2.0: the way is known.
    pub relearn_speed: f32,
    /// Speed near an expected stop, travel/s, 0.02 to 0.5. Default 0.2: the impact speed of a sound unit.
    pub approach_speed: f32,
    /// How far before the window the approach turns soft, travel, 0.005 to 0.2. Default 0.03.
    pub soft_zone: f32,
    /// How far a touch backs off, travel, 0.01 to 0.2. Default 0.03; long enough to run before contact.
    pub retreat: f32,
    /// Largest current-equivalent effort of an approach, A, 0.1 to 10. Default 2.0. It is given as a
    /// voltage, so back-EMF bounds the speed even when the sensor is dead.
    pub approach_current: Ampere,
    /// Smaller push above running current, A, 0.05 to 5. Default 0.5.
    pub small_push: Ampere,
    /// Larger push above running current, A, 0.1 to 10. Default 1.2.
    pub large_push: Ampere,
}

impl LearnMotion {
    /// The defaults.
    pub const DEFAULT: Self = Self {
        traverse_speed: 1.0,
        relearn_speed: 2.0,
        approach_speed: 0.2,
        soft_zone: 0.03,
        retreat: 0.03,
        approach_current: Ampere(2.0),
        small_push: Ampere(0.5),
        large_push: Ampere(1.2),
    };
}

impl Default for LearnMotion {
    fn default() -> Self {
        Self::DEFAULT
    }
}

/// What makes a stop or a travel believable.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct LearnLimits {
    /// Supply that a learn may run at, lowest, V, 5 to 32. Default 9.
    pub supply_min: Volt,
    /// Supply that a learn may run at, highest, V, 5 to 36. Default 16.
    pub supply_max: Volt,
    /// Largest current at rest with the drive off, A, 0.01 to 1. Default 0.15.
    pub rest_current: Ampere,
    /// Largest spread of the reading at rest, travel, 0.0002 to 0.02. Default 0.002.
    pub rest_noise: f32,
    /// Largest step of the reading in one tick, travel, 0.002 to 0.1. Default 0.012 (12 travel/s; a lever falling on its spring reaches 6).
    pub jump: f32,
    /// Travel of a sound unit: smallest, as a fraction of nominal, 0.5 to 1. Default 0.985.
    pub span_min: f32,
    /// Travel of a sound unit: largest, as a fraction of nominal, 1 to 1.5. Default 1.015.
    pub span_max: f32,
    /// Largest spread of the zero-push readings of one stop, travel, 0.0002 to 0.02. Default 0.002.
    pub repeat: f32,
    /// Largest one-way creep from the first touch to the last, travel, 0.0001 to 0.02. Default 0.0012.
    pub drift: f32,
    /// Least yield of a stop, travel/A, 0 to 0.01. Default 0.0003; less means that the sensor does not follow.
    pub compliance_min: f32,
    /// Largest yield of a stop, travel/A, 0.0001 to 0.05. Default 0.0034; more is soot, a bent stop or a loose mount.
    pub compliance_max: f32,
    /// Largest friction on the way, A, 0.05 to 5. Default 0.55.
    pub friction: Ampere,
    /// Least current that balances the return spring, mean over the travel, A, 0 to 5. Default 0.15.
    pub spring_current: Ampere,
    /// Largest difference between the push asked for and the current measured, A, 0.02 to 2. Default 0.2.
    pub push_error: Ampere,
    /// How far a key-off relearn may move a stop, travel, 0.0005 to 0.05. Default 0.005.
    pub relearn_window: f32,
    /// Smallest over-travel reserve at either end (free stop minus attached stop), travel, 0 to 0.2. Default 0.01.
    pub reserve_min: f32,
    /// Largest difference between the two reserves, travel, 0.001 to 0.2. Default 0.03.
    pub reserve_lopsided: f32,
    /// Command range kept from both stops when cold, opening, 0 to 0.2. Default 0.005.
    pub clearance_cold: Opening,
    /// The same when hot, opening, 0 to 0.2, at least the cold one. Default 0.01: parts grow.
    pub clearance_hot: Opening,
    /// Whole-learn deadline, ticks, 500 to 60 000. Default 12 000.
    pub deadline_ticks: u32,
}

impl LearnLimits {
    /// The defaults.
    pub const DEFAULT: Self = Self {
        supply_min: Volt(9.0),
        supply_max: Volt(16.0),
        rest_current: Ampere(0.15),
        rest_noise: 0.002,
        jump: 0.012,
        span_min: 0.985,
        span_max: 1.015,
        repeat: 0.002,
        drift: 0.0012,
        compliance_min: 0.0003,
        compliance_max: 0.0034,
        friction: Ampere(0.55),
        spring_current: Ampere(0.15),
        push_error: Ampere(0.2),
        relearn_window: 0.005,
        reserve_min: 0.01,
        reserve_lopsided: 0.03,
        clearance_cold: Opening::saturating(0.005, Opening::CLOSED),
        clearance_hot: Opening::saturating(0.01, Opening::CLOSED),
        deadline_ticks: 12_000,
    };
}

impl Default for LearnLimits {
    fn default() -> Self {
        Self::DEFAULT
    }
}

/// Windows of every setup.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct LearnWindows {
    /// Actuator alone.
    pub free: SetupWindows,
    /// With the ring attached.
    pub attached: SetupWindows,
    /// On the engine.
    pub on_engine: SetupWindows,
}

/// Everything the learner must be told.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(default, deny_unknown_fields)]
pub struct LearnSettings {
    /// Speeds and pushes.
    pub motion: LearnMotion,
    /// Limits of belief.
    pub limits: LearnLimits,
    /// Where the stops may lie.
    pub windows: LearnWindows,
}

impl LearnSettings {
    /// The defaults.
    pub const DEFAULT: Self =
        Self { motion: LearnMotion::DEFAULT, limits: LearnLimits::DEFAULT, windows: LearnWindows::DEFAULT };
}

impl Default for LearnSettings {
    fn default() -> Self {
        Self::DEFAULT
    }
}

/// Half width of the default windows, counts: 1.15 % of the default travel. The tolerance of a stop is
/// 2 % of travel (6 kPa of boost at about 300 kPa per unit of opening), and a unit may sit 0.8 % off
/// nominal; what is left is what a hidden shift may use up without being believed.
const WINDOW: i16 = 123;

impl SetupWindows {
    /// The default windows around these stops, cold and hot.
    const fn around(closed: i16, open: i16) -> Self {
        let windows = StopWindows {
            closed: StopWindow::around(closed, WINDOW),
            open: StopWindow::around(open, WINDOW),
        };
        Self { cold: windows, hot: windows }
    }
}

impl Default for LearnWindows {
    fn default() -> Self {
        Self::DEFAULT
    }
}

impl LearnWindows {
    /// Bench actuator A: internal stops at −4° and 75°, ring stops at 0° and 70° with half of 0.4° joint play
    /// taken up at each; 152.857 counts per degree from 2600 at 0°.
    pub const DEFAULT: Self = Self {
        free: SetupWindows::around(14_064, 1989),
        attached: SetupWindows::around(13_331, 2569),
        on_engine: SetupWindows::around(13_331, 2569),
    };

    /// Windows that hold for a setup at a warmth.
    #[must_use]
    pub fn of(&self, setup: Setup, warmth: Warmth) -> StopWindows {
        let of_setup = match setup {
            Setup::Free => &self.free,
            Setup::Attached => &self.attached,
            Setup::OnEngine => &self.on_engine,
        };
        match warmth {
            Warmth::Cold => of_setup.cold,
            Warmth::Hot => of_setup.hot,
        }
    }

    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        for setup in [&self.free, &self.attached, &self.on_engine] {
            for windows in [&setup.cold, &setup.hot] {
                windows.closed.validate("learn.windows.*.closed")?;
                windows.open.validate("learn.windows.*.open")?;
            }
        }
        Ok(())
    }
}

impl LearnSettings {
    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        self.motion.validate()?;
        self.limits.validate()?;
        self.windows.validate()
    }
}

impl LearnMotion {
    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        check("learn.motion.traverse_speed", self.traverse_speed, 0.1, 3.0)?;
        check("learn.motion.relearn_speed", self.relearn_speed, 0.1, 3.0)?;
        check("learn.motion.approach_speed", self.approach_speed, 0.02, 0.5)?;
        check("learn.motion.soft_zone", self.soft_zone, 0.005, 0.2)?;
        check("learn.motion.retreat", self.retreat, 0.01, 0.2)?;
        check("learn.motion.approach_current", self.approach_current.0, 0.1, 10.0)?;
        check("learn.motion.small_push", self.small_push.0, 0.05, 5.0)?;
        check("learn.motion.large_push", self.large_push.0, self.small_push.0 + 0.05, 10.0)
    }
}

impl LearnLimits {
    /// Clearance of the command range at a warmth.
    #[must_use]
    pub fn clearance(&self, warmth: Warmth) -> Opening {
        match warmth {
            Warmth::Cold => self.clearance_cold,
            Warmth::Hot => self.clearance_hot,
        }
    }

    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        check("learn.limits.supply_min", self.supply_min.0, 5.0, 32.0)?;
        check("learn.limits.supply_max", self.supply_max.0, self.supply_min.0 + 0.5, 36.0)?;
        check("learn.limits.rest_current", self.rest_current.0, 0.01, 1.0)?;
        check("learn.limits.rest_noise", self.rest_noise, 0.000_2, 0.02)?;
        check("learn.limits.jump", self.jump, 0.002, 0.1)?;
        check("learn.limits.span_min", self.span_min, 0.5, 1.0)?;
        check("learn.limits.span_max", self.span_max, 1.0, 1.5)?;
        check("learn.limits.repeat", self.repeat, 0.000_2, 0.02)?;
        check("learn.limits.drift", self.drift, 0.000_1, 0.02)?;
        check("learn.limits.compliance_min", self.compliance_min, 0.0, 0.01)?;
        check("learn.limits.compliance_max", self.compliance_max, self.compliance_min + 0.000_1, 0.05)?;
        check("learn.limits.friction", self.friction.0, 0.05, 5.0)?;
        check("learn.limits.spring_current", self.spring_current.0, 0.0, 5.0)?;
        check("learn.limits.push_error", self.push_error.0, 0.02, 2.0)?;
        check("learn.limits.relearn_window", self.relearn_window, 0.000_5, 0.05)?;
        check("learn.limits.reserve_min", self.reserve_min, 0.0, 0.2)?;
        check("learn.limits.reserve_lopsided", self.reserve_lopsided, 0.001, 0.2)?;
        check("learn.limits.clearance_cold", self.clearance_cold.get(), 0.0, 0.2)?;
        check("learn.limits.clearance_hot", self.clearance_hot.get(), self.clearance_cold.get(), 0.2)?;
        #[allow(clippy::cast_precision_loss)] // only compared with small bounds
        check("learn.limits.deadline_ticks", self.deadline_ticks as f32, 500.0, 60_000.0)
    }
}
