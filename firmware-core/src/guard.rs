//! Keeps boost, turbo speed and exhaust pressure under their limits, by opening the vanes and asking
//! for less fuel, and says why.
//!
//! normal → ease (opens progressively) → open (forced open, fuel cut) → latched (until cleared). Beside
//! these: cannot open (no travel although opening was commanded) and boost short (vanes at minimum and
//! boost still short). What goes in is vetted; a level without a sensor is not judged, or estimated.

mod levels;
mod stage;
mod travel;
mod tripped;

use crate::faults::{Fault, FaultSet};
use crate::plausibility::Air;
use crate::settings::{GuardSettings, GuardStages};
use crate::target::Wanted;
use crate::units::{Opening, TICK_SECONDS, larger, smaller};
use levels::{Levels, Nearness};
use travel::OpeningTravel;
use tripped::Tripped;

pub use stage::{FuelRequest, GuardCause, GuardEvent, GuardStage};

/// What the guard makes of the wanted opening.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Guarded {
    /// Opening; never less than wanted.
    pub opening: Opening,
    /// The vanes are commanded open, report that they are, and a level is still passed: press them open
    /// without the position sensor, which may be wrong.
    pub is_pressed: bool,
    /// Request to the fuel system.
    pub fuel: FuelRequest,
    /// Faults found.
    pub faults: FaultSet,
    /// Change of stage in this tick.
    pub event: Option<GuardEvent>,
}

/// Where the vanes are.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Vane {
    /// Measured opening; `None` while position is lost.
    pub measured: Option<Opening>,
    /// Largest opening that is ever commanded: the clearance keeps off the stop.
    pub reach: Opening,
}

/// Memory of the stage.
#[derive(Debug, Clone, Copy, Default)]
pub struct Guard {
    stage: GuardStage,
    levels: Levels,
    /// Opening that easing has reached.
    eased: f32,
    /// Ticks in the present stage.
    in_stage: u16,
    /// Ticks since a level was last passed.
    calm: u16,
    trips: u16,
    /// What forced the vanes open: only seeing it again lets go.
    tripped: Tripped,
    short: u16,
    travel: OpeningTravel,
}

impl Guard {
    /// The stage that stands.
    #[must_use]
    pub fn stage(&self) -> GuardStage {
        self.stage
    }

    /// Leaves a latched stage: an explicit act of a person.
    pub fn clear_latch(&mut self) -> Option<GuardEvent> {
        self.trips = 0;
        self.short = 0;
        self.travel = OpeningTravel::default();
        match self.stage {
            GuardStage::Latched | GuardStage::BoostShort | GuardStage::CannotOpen => {
                Some(self.enter(GuardStage::Normal, GuardCause::Cleared))
            }
            GuardStage::Normal | GuardStage::Ease | GuardStage::Open => None,
        }
    }

    /// Nobody drives the air path: rates start afresh, the stage stands.
    pub fn interrupt(&mut self) {
        self.levels = Levels::default();
        self.short = 0;
    }

    /// What the stage that stands asks of the fuel, whoever moves the vanes.
    #[must_use]
    pub fn standing_fuel(&self, stages: &GuardStages) -> FuelRequest {
        match self.stage {
            GuardStage::Normal => FuelRequest::Free,
            GuardStage::Ease => FuelRequest::LimitTo(stages.smoke_limit),
            GuardStage::Open => FuelRequest::Cut,
            GuardStage::BoostShort | GuardStage::CannotOpen | GuardStage::Latched => {
                FuelRequest::LimitTo(stages.derate)
            }
        }
    }

    /// Judges the air path and decides on the opening.
    pub fn tick(&mut self, settings: &GuardSettings, air: &Air, wanted: &Wanted, vane: Vane) -> Guarded {
        let stages = &settings.stages;
        let severity = self.levels.tick(settings, air, wanted.boost_target);
        self.in_stage = self.in_stage.saturating_add(1);
        if self.stage == GuardStage::Open
            && let Some(Nearness::Trip(cause)) = severity
        {
            self.tripped.insert(cause);
        }
        // A level that nobody can see is not kept.
        let is_kept = severity.is_none() && (self.stage != GuardStage::Open || self.tripped.is_seen(air));
        self.calm = if is_kept { self.calm.saturating_add(1) } else { 0 };
        self.count_short(settings, air, wanted);

        let must_open = matches!(self.stage, GuardStage::Open | GuardStage::CannotOpen | GuardStage::Latched);
        let commanded = if must_open { 1.0 } else { larger(wanted.opening.get(), self.eased) };
        let is_blocked = self.travel.is_missing(settings, commanded, vane);
        let event = self.transition(settings, severity, is_blocked);

        let opening = self.opening(settings, wanted, vane.measured);
        let is_pressed = matches!(self.stage, GuardStage::Open | GuardStage::Latched)
            && matches!(severity, Some(Nearness::Trip(_)))
            && self.in_stage >= stages.open_travel_ticks;
        let (fuel, faults) = (self.fuel(stages, air, severity), self.faults(severity));
        Guarded { opening, is_pressed, fuel, faults, event }
    }

    fn transition(
        &mut self,
        settings: &GuardSettings,
        severity: Option<Nearness>,
        is_blocked: bool,
    ) -> Option<GuardEvent> {
        let stages = &settings.stages;
        let is_calm = self.calm >= stages.release_ticks;
        let next = match (self.stage, severity) {
            (GuardStage::Latched, _) if is_blocked => Some((GuardStage::CannotOpen, GuardCause::NoTravel)),
            (GuardStage::Latched, _) => None,
            (GuardStage::CannotOpen, _) => {
                (!is_blocked).then_some((GuardStage::Latched, GuardCause::Travelled))
            }
            (_, _) if is_blocked => Some((GuardStage::CannotOpen, GuardCause::NoTravel)),
            (GuardStage::Open, _) if self.in_stage >= stages.latch_ticks => {
                Some((GuardStage::Latched, GuardCause::TooLong))
            }
            (GuardStage::Open, _) => is_calm.then_some((GuardStage::Ease, GuardCause::Calm)),
            (GuardStage::BoostShort, Some(Nearness::Trip(cause))) => Some((GuardStage::Latched, cause)),
            (_, Some(Nearness::Trip(cause))) => {
                self.tripped = Tripped::by(cause);
                self.trips = self.trips.saturating_add(1);
                if self.trips >= stages.latch_trips {
                    Some((GuardStage::Latched, GuardCause::TooOften))
                } else {
                    Some((GuardStage::Open, cause))
                }
            }
            (GuardStage::BoostShort, _) => None,
            (_, _) if self.short >= stages.short_ticks => Some((GuardStage::BoostShort, GuardCause::Short)),
            (GuardStage::Normal, Some(Nearness::Ease(cause))) => Some((GuardStage::Ease, cause)),
            (GuardStage::Ease, None) => is_calm.then_some((GuardStage::Normal, GuardCause::Calm)),
            (GuardStage::Normal, None) | (GuardStage::Ease, Some(Nearness::Ease(_))) => None,
        };
        next.map(|(stage, cause)| self.enter(stage, cause))
    }

    fn enter(&mut self, stage: GuardStage, cause: GuardCause) -> GuardEvent {
        let event = GuardEvent { from: self.stage, to: stage, cause };
        self.stage = stage;
        self.in_stage = 0;
        self.calm = 0;
        event
    }

    fn opening(&mut self, settings: &GuardSettings, wanted: &Wanted, measured: Option<Opening>) -> Opening {
        let step = settings.stages.ease_rate_per_s * TICK_SECONDS;
        match self.stage {
            GuardStage::Normal => self.eased = 0.0,
            GuardStage::Ease => {
                let from = if self.eased > 0.0 { self.eased } else { measured.map_or(0.0, Opening::get) };
                // Opens while a level is near, and closes again at the same rate once it is not.
                self.eased = if self.calm == 0 { from + step } else { from - step };
            }
            GuardStage::BoostShort => self.eased = settings.stages.short_opening.get(),
            GuardStage::Open | GuardStage::CannotOpen | GuardStage::Latched => self.eased = 1.0,
        }
        self.eased = smaller(larger(self.eased, 0.0), 1.0);
        Opening::saturating(larger(wanted.opening.get(), self.eased), Opening::OPEN)
    }

    fn fuel(&self, stages: &GuardStages, air: &Air, severity: Option<Nearness>) -> FuelRequest {
        match (self.stage, severity) {
            // Without a boost reading nobody can tell how near the limit is.
            (GuardStage::Normal, _) if air.boost.is_none() => FuelRequest::LimitTo(stages.smoke_limit),
            (GuardStage::Normal, _) => FuelRequest::Free,
            (_, Some(Nearness::Trip(_))) => FuelRequest::Cut,
            (_, _) => self.standing_fuel(stages),
        }
    }

    fn faults(&self, severity: Option<Nearness>) -> FaultSet {
        let mut faults = FaultSet::NONE;
        if let Some(Nearness::Trip(cause)) = severity {
            match cause {
                GuardCause::TurboSpeed | GuardCause::TurboSpeedEstimated => faults.insert(Fault::OverSpeed),
                GuardCause::Exhaust => faults.insert(Fault::ExhaustOverPressure),
                GuardCause::Boost
                | GuardCause::BoostOverTarget
                | GuardCause::BoostSaturated
                | GuardCause::Short
                | GuardCause::NoTravel
                | GuardCause::Travelled
                | GuardCause::TooLong
                | GuardCause::TooOften
                | GuardCause::Calm
                | GuardCause::Cleared => faults.insert(Fault::OverBoost),
            }
        }
        faults.assign(Fault::CannotOpen, self.stage == GuardStage::CannotOpen);
        faults.assign(Fault::BoostShort, self.stage == GuardStage::BoostShort);
        faults
    }

    fn count_short(&mut self, settings: &GuardSettings, air: &Air, wanted: &Wanted) {
        let is_short = match (wanted.boost_target, air.boost) {
            (Some(target), Some(boost)) => {
                wanted.is_at_minimum && target.0 - boost.0 > settings.stages.short_by.0
            }
            _ => false,
        };
        self.short = if is_short { self.short.saturating_add(1) } else { 0 };
    }
}

#[cfg(test)]
mod tests;
