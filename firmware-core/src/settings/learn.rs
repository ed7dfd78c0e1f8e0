//! How end stops are learned: speeds, pushes, signs, windows. Distances are fractions of the actuator's
//! nominal travel unless the name says counts.

use serde::{Deserialize, Serialize};

use super::table::{AllowedRange, OnWire, WireField, section};
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

section! {
    /// Speeds and pushes of the learn.
    pub struct LearnMotion as it {
        /// Speed between the stops, travel/s; higher learns sooner, hits an obstruction harder.
        traverse_speed: f32 = 1.0, from 0.1, to 3.0;
        /// Speed between the stops of a key-off relearn, travel/s: the way is known.
        relearn_speed: f32 = 2.0, from 0.1, to 3.0;
        /// Speed near an expected stop, travel/s: the impact speed of a sound unit.
        approach_speed: f32 = 0.2, from 0.02, to 0.5;
        /// How far before the window the approach turns soft, travel.
        soft_zone: f32 = 0.03, from 0.005, to 0.2;
        /// How far a touch backs off, travel; long enough to run before contact.
        retreat: f32 = 0.03, from 0.01, to 0.2;
        /// Largest current-equivalent effort of an approach, A. It is given as a voltage, so back-EMF bounds
        /// the speed even when the sensor is dead.
        approach_current: Ampere = Ampere(2.0), from 0.1, to 10.0;
        /// Smaller push above running current, A.
        small_push: Ampere = Ampere(0.5), from 0.05, to 5.0;
        /// Larger push above running current, A.
        large_push: Ampere = Ampere(1.2), from it.small_push.0 + 0.05, to 10.0;
    }
}

section! {
    /// What makes a stop or a travel believable.
    pub struct LearnLimits as it {
        /// Supply that a learn may run at, lowest, V.
        supply_min: Volt = Volt(9.0), from 5.0, to 32.0;
        /// Supply that a learn may run at, highest, V.
        supply_max: Volt = Volt(16.0), from it.supply_min.0 + 0.5, to 36.0;
        /// Largest current at rest with the drive off, A.
        rest_current: Ampere = Ampere(0.15), from 0.01, to 1.0;
        /// Largest spread of the reading at rest, travel.
        rest_noise: f32 = 0.002, from 0.000_2, to 0.02;
        /// Largest step of the reading in one tick, travel (12 travel/s; a lever falling on its spring
        /// reaches 6).
        jump: f32 = 0.012, from 0.002, to 0.1;
        /// Travel of a sound unit: smallest, as a fraction of nominal.
        span_min: f32 = 0.985, from 0.5, to 1.0;
        /// Travel of a sound unit: largest, as a fraction of nominal.
        span_max: f32 = 1.015, from 1.0, to 1.5;
        /// Largest spread of the zero-push readings of one stop, travel.
        repeat: f32 = 0.002, from 0.000_2, to 0.02;
        /// Largest one-way creep from the first touch to the last, travel.
        drift: f32 = 0.0012, from 0.000_1, to 0.02;
        /// Least yield of a stop, travel/A; less means that the sensor does not follow.
        compliance_min: f32 = 0.0003, from 0.0, to 0.01;
        /// Largest yield of a stop, travel/A; more is soot, a bent stop or a loose mount.
        compliance_max: f32 = 0.0034, from it.compliance_min + 0.000_1, to 0.05;
        /// Largest friction on the way, A.
        friction: Ampere = Ampere(0.55), from 0.05, to 5.0;
        /// Least current that balances the return spring, mean over the travel, A.
        spring_current: Ampere = Ampere(0.15), from 0.0, to 5.0;
        /// Largest difference between the push asked for and the current measured, A.
        push_error: Ampere = Ampere(0.2), from 0.02, to 2.0;
        /// How far a key-off relearn may move a stop, travel.
        relearn_window: f32 = 0.005, from 0.000_5, to 0.05;
        /// Smallest over-travel reserve at either end (free stop minus attached stop), travel.
        reserve_min: f32 = 0.01, from 0.0, to 0.2;
        /// Largest difference between the two reserves, travel.
        reserve_lopsided: f32 = 0.03, from 0.001, to 0.2;
        /// Command range kept from both stops when cold, opening.
        clearance_cold: Opening = Opening::saturating(0.005, Opening::CLOSED), from 0.0, to 0.2;
        /// The same when hot, opening: parts grow.
        clearance_hot: Opening = Opening::saturating(0.01, Opening::CLOSED), from it.clearance_cold.get(), to 0.2;
        /// Whole-learn deadline, ticks.
        deadline_ticks: u32 = 12_000, from 500.0, to 60_000.0;
    }
}

section! {
    /// Windows of every setup. Defaults of bench actuator A: internal stops at −4° and 75°, ring stops at 0° and 70° with
    /// half of 0.4° joint play taken up at each; 152.857 counts per degree from 2600 at 0°.
    pub struct LearnWindows {
        /// Actuator alone. Each window is 1 to 8000 counts wide.
        free: SetupWindows = SetupWindows::around(14_064, 1989), from 0.0, to 16_383.0;
        /// With the ring attached.
        attached: SetupWindows = SetupWindows::around(13_331, 2569), from 0.0, to 16_383.0;
        /// On the engine.
        on_engine: SetupWindows = SetupWindows::around(13_331, 2569), from 0.0, to 16_383.0;
    }
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

impl LearnWindows {
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
}
