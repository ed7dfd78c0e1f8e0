//! Watches one run tick by tick: how far the limits were used, how soon the guard reacted, and what let a
//! limit pass where one did.

use firmware_core::controller::TickOutput;
use firmware_core::faults::FaultSet;
use firmware_core::guard::{FuelRequest, GuardCause, GuardStage};
use firmware_core::sample::Sample;
use firmware_core::settings::{GuardLimits, Settings};

use super::ending::{LossCause, WorldEnding, WorldFigures};
use super::fault::DrawnWorld;
use plant::world::{Truth, World};

/// TrueLimits that the truth is held against, whatever the controller's settings are.
#[derive(Debug, Clone, Copy)]
pub(super) struct TrueLimits {
    boost_kpa: f64,
    boost_ratio: f64,
    turbo_rpm: f64,
    exhaust_kpa: f64,
}

impl TrueLimits {
    pub(super) fn of(limits: &GuardLimits) -> Self {
        Self {
            boost_kpa: f64::from(limits.boost.0),
            boost_ratio: f64::from(limits.boost_ratio),
            turbo_rpm: f64::from(limits.turbo_speed.0),
            exhaust_kpa: f64::from(limits.exhaust.0),
        }
    }

    fn boost_at(&self, ambient_kpa: f64) -> f64 {
        self.boost_kpa.min(self.boost_ratio * ambient_kpa)
    }

    /// Share of each limit that is used: boost, turbo speed, exhaust pressure.
    fn used(&self, truth: &Truth) -> [f64; 3] {
        [
            truth.boost_kpa / self.boost_at(truth.ambient_kpa),
            truth.turbo_rpm / self.turbo_rpm,
            truth.exhaust_kpa / self.exhaust_kpa,
        ]
    }

    /// True past any limit.
    pub(super) fn are_passed(&self, truth: &Truth) -> bool {
        self.used(truth).iter().any(|used| *used > 1.0)
    }
}

/// A boost reading this far under the truth is low: twice what lag and tolerance make of a quick rise, kPa.
const READ_LOW_KPA: f64 = 8.0;
/// A turbo speed reading below this share of the truth is low.
const SPEED_READ_LOW: f64 = 0.95;
/// An exhaust pressure reading below this share of the truth is none: a broken wire reads 0.
const EXHAUST_READ_LOW: f64 = 0.9;
/// A pressure behind the compressor this far over the intake's is a fault of the hose, kPa.
const HOSE_KPA: f64 = 8.0;
/// Vanes this far open count as open.
const OPEN_ENOUGH: f64 = 0.8;
/// Fuel over what was asked for by this much has not followed, mg.
const FUEL_SLACK_MG: f64 = 1.0;

/// What a run cost, limits passed or not.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Toll {
    /// Ticks past a limit.
    pub(super) past_ticks: u32,
    /// How often the vanes were told to open.
    pub(super) trips: u32,
    /// Ticks in which fuel was limited or cut.
    pub(super) limited_ticks: u32,
}

/// What was seen of a run so far.
pub(super) struct RunWatch {
    limits: TrueLimits,
    used: [f64; 3],
    passed: Option<LossCause>,
    noticed: bool,
    acted: bool,
    told: FaultSet,
    first_act: Option<GuardCause>,
    trip: Option<GuardCause>,
    last_kpa: f32,
    jump_ticks: u32,
    over_ticks: u32,
    reaction_ticks: u32,
    told_open_ticks: u32,
    toll: Toll,
}

impl RunWatch {
    pub(super) fn new(limits: TrueLimits) -> Self {
        Self {
            limits,
            used: [0.0; 3],
            passed: None,
            noticed: false,
            acted: false,
            told: FaultSet::NONE,
            first_act: None,
            trip: None,
            last_kpa: f32::NAN,
            jump_ticks: 0,
            over_ticks: 0,
            reaction_ticks: 0,
            told_open_ticks: 0,
            toll: Toll::default(),
        }
    }

    pub(super) fn look(
        &mut self,
        settings: &Settings,
        sample: &Sample,
        output: &TickOutput,
        world: &World,
        wanted_mg: f64,
    ) {
        let truth = world.truth();
        let is_open = matches!(output.stage, GuardStage::Open | GuardStage::CannotOpen | GuardStage::Latched);
        self.toll.trips += u32::from(is_open && self.told_open_ticks == 0);
        self.toll.limited_ticks += u32::from(output.fuel != FuelRequest::Free);
        self.told_open_ticks = if is_open { self.told_open_ticks + 1 } else { 0 };
        self.acted |= output.stage != GuardStage::Normal;
        self.told = self.told.union(output.faults);
        self.first_act = self.first_act.or(output.event.map(|event| event.cause));
        self.noticed |= is_open || !output.faults.is_empty();
        if is_open {
            self.trip = self.trip.or(output.event.map(|event| event.cause));
        }
        self.watch_reaction(settings, sample, &truth, is_open);
        let used = self.limits.used(&truth);
        for (most, used) in self.used.iter_mut().zip(used) {
            *most = most.max(used);
        }
        let is_past = used.iter().any(|used| *used > 1.0);
        self.toll.past_ticks += u32::from(is_past);
        if self.passed.is_none() && is_past {
            self.passed = Some(self.cause(used, sample, output, world, wanted_mg));
        }
    }

    /// Readings over their trip level while the guard has not opened; a jump is first taken for a wild one.
    fn watch_reaction(&mut self, settings: &Settings, sample: &Sample, truth: &Truth, is_open: bool) {
        let limit_kpa = self.limits.boost_at(truth.ambient_kpa) as f32;
        let trip_kpa = limit_kpa - settings.guard.limits.boost_lag_margin.0;
        if (sample.boost.0 - self.last_kpa).abs() > settings.plausibility.boost_step.0 {
            self.jump_ticks = u32::from(settings.plausibility.debounce_ticks);
        }
        self.last_kpa = sample.boost.0;
        self.jump_ticks = self.jump_ticks.saturating_sub(1);
        let is_over = sample.boost.0 >= trip_kpa && self.jump_ticks == 0;
        self.over_ticks = if is_over && !is_open { self.over_ticks + 1 } else { 0 };
        self.reaction_ticks = self.reaction_ticks.max(self.over_ticks);
    }

    /// What this run itself shows at the moment that a limit is passed.
    fn cause(
        &self,
        [boost_used, speed_used, exhaust_used]: [f64; 3],
        sample: &Sample,
        output: &TickOutput,
        world: &World,
        wanted_mg: f64,
    ) -> LossCause {
        let truth = world.truth();
        let follows = match output.fuel {
            FuelRequest::Free => true,
            FuelRequest::LimitTo(load) => {
                let most_mg = f64::from(load.get()) * world.config().engine.full_load_mg;
                truth.fuel_mg <= most_mg.min(wanted_mg) + FUEL_SLACK_MG
            }
            FuelRequest::Cut => truth.fuel_mg <= FUEL_SLACK_MG,
        };
        if self.told_open_ticks > 0 {
            return match (truth.opening > OPEN_ENOUGH, follows) {
                (false, false) => LossCause::NeitherVanesNorFuel,
                (false, true) => LossCause::VanesShut,
                (true, false) => LossCause::FuelAgainstOpenVanes,
                (true, true) => LossCause::Untraced,
            };
        }
        let read_kpa = f64::from(sample.boost.0);
        let ahead_kpa = world.engine().compressor_outlet_pa() * 1e-3 - truth.boost_kpa;
        // A sensor that is fitted and lost reads no number.
        let speed_rpm = sample.turbo_speed.map(|read| f64::from(read.0)).filter(|read| read.is_finite());
        let exhaust_kpa = sample.exhaust.map(|read| f64::from(read.0)).filter(|read| read.is_finite());
        let is_exhaust_seen = exhaust_kpa.is_some_and(|read| read >= EXHAUST_READ_LOW * truth.exhaust_kpa);
        let needs_boost = boost_used > 1.0 || (speed_used > 1.0 && speed_rpm.is_none());
        if needs_boost && !read_kpa.is_finite() {
            LossCause::BoostUnread
        } else if needs_boost && read_kpa < truth.boost_kpa - READ_LOW_KPA {
            LossCause::BoostReadLow
        } else if speed_used > 1.0 && speed_rpm.is_none() && ahead_kpa > HOSE_KPA {
            LossCause::AheadOfHose
        } else if speed_used > 1.0 && speed_rpm.is_none() {
            LossCause::SpeedUnmeasured
        } else if speed_used > 1.0 && speed_rpm.is_some_and(|read| read < SPEED_READ_LOW * truth.turbo_rpm) {
            LossCause::SpeedReadLow
        } else if exhaust_used > 1.0 && !is_exhaust_seen {
            LossCause::ExhaustUnmeasured
        } else {
            LossCause::Untraced
        }
    }

    pub(super) fn has_passed(&self) -> bool {
        self.passed.is_some()
    }

    pub(super) fn toll(&self) -> Toll {
        self.toll
    }

    /// Highest share of any limit that was used.
    pub(super) fn most_used(&self) -> f64 {
        self.used.iter().fold(0.0, |most, used| used.max(most))
    }

    pub(super) fn slowest_reaction_ticks(&self) -> u32 {
        self.reaction_ticks
    }

    /// True when the guard left normal.
    pub(super) fn has_acted(&self) -> bool {
        self.acted
    }

    /// True when a fault was told.
    pub(super) fn has_told_fault(&self) -> bool {
        !self.told.is_empty()
    }

    pub(super) fn ending(&self) -> WorldEnding {
        match self.passed {
            Some(cause) if self.noticed => WorldEnding::TooLate(cause),
            Some(cause) => WorldEnding::Undetected(cause),
            None if self.acted => WorldEnding::InTime,
            None => WorldEnding::Quiet,
        }
    }

    pub(super) fn figures(&self, index: u32, plan: &DrawnWorld, is_demanding: bool) -> WorldFigures {
        WorldFigures {
            index,
            fault: plan.fault,
            second: plan.second,
            drive: plan.drive.kind,
            ending: self.ending(),
            is_demanding,
            used: self.used,
            reaction_ticks: self.reaction_ticks,
            told: self.told,
            first_act: self.first_act,
            trip: self.trip,
        }
    }
}
