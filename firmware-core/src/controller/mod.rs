//! One tick, from sample and request to duty.
//!
//! `Sample ─ plausibility ─▶ Vetted ─ target ─▶ Opening ─ guard ─▶ Opening ─ slew ─▶ Opening ─ position loop ─▶ Duty`.
//! The bench's commands enter behind the guard and pass the same limits. No clock, pin, allocation or
//! log in here: time is the tick number that the sample carries.

mod actuation;
mod doubt;
mod footing;
mod memory;
mod output;

use crate::calibration::Calibration;
use crate::command::Command;
use crate::faults::{Fault, FaultSet, Limit, LimitSet};
use crate::guard::{FuelRequest, Guard, GuardEvent, GuardStage, Vane};
use crate::held::{Held, Standing};
use crate::limits::Push;
use crate::motion::Footing;
use crate::plausibility::{Air, LoopState, Plausibility, Vetted};
use crate::sample::{Request, Sample};
use crate::settings::{SettingError, Settings, SettingsSection, SlewSettings};
use crate::slew::{Haste, Slew};
use crate::target::{BuiltInLaw, Law, TargetMemory};
use crate::units::{Duty, Load, Opening};
use actuation::Actuation;
use memory::SecondCopy;
use output::Decision;

pub use doubt::{Doubt, LIMP_REFUSALS};
pub use footing::DIAGNOSTIC_CURRENT_SHARE;
pub use memory::ROUND_TICKS;
pub use output::TickOutput;

/// Fuel that an engine may have while nothing can be driven, as a share of full. Common practice, no source.
const UNDRIVEN_FUEL: Load = Load::saturating(0.5, Load::MIN);

/// The controller: settings, calibration and the memory of every stage. `L` is the law of boost control.
#[derive(Debug, Clone)]
pub struct Controller<L = BuiltInLaw> {
    settings: Settings,
    calibration: Option<Calibration>,
    copy: SecondCopy,
    doubt: Doubt,
    footing: Footing,
    plausibility: Plausibility,
    target: TargetMemory<L>,
    guard: Guard,
    slew: Slew,
    actuation: Actuation,
    /// Whether the position loop was on its way in the last tick of an engine's demand.
    way: LoopState,
    cleared: Option<GuardEvent>,
}

impl Controller {
    /// A controller without a calibration, under the law that the settings name. `settings` have been validated.
    #[must_use]
    #[inline]
    pub fn new(settings: Settings) -> Self {
        Self::with_law(settings, BuiltInLaw::default())
    }
}

impl<L: Law> Controller<L> {
    /// A controller without a calibration, under a law of one's own. `settings` have been validated.
    #[must_use]
    #[inline]
    pub fn with_law(settings: Settings, law: L) -> Self {
        Self {
            copy: SecondCopy::of(settings),
            settings,
            calibration: None,
            doubt: Doubt::None,
            footing: Footing::Accepted,
            plausibility: Plausibility::default(),
            target: TargetMemory::under(law),
            guard: Guard::default(),
            slew: Slew::default(),
            actuation: Actuation::default(),
            way: LoopState::OnTarget,
            cleared: None,
        }
    }

    /// The settings in use.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Takes one section of the settings in. What was learned of the unit stays: heat, and the guard's latch, which
    /// only a person clears. Boost control starts afresh from the opening that stands: the law may be another. The
    /// settings stay as they were when the section is refused.
    ///
    /// # Errors
    /// The field that is out of range, with what was given and what is allowed.
    #[inline]
    pub fn apply(&mut self, section: &SettingsSection) -> Result<(), SettingError> {
        self.settings.apply(section)?;
        self.copy.apply(section)?;
        self.target.interrupt();
        self.set_calibration(self.calibration);
        Ok(())
    }

    /// Takes a calibration into use with what its standing takes away, or none.
    pub fn hold(&mut self, held: Option<&Held>) {
        self.doubt = match held.map(|held| held.standing) {
            Some(Standing::Suspended { refusals }) => Doubt::of_refusals(refusals),
            Some(Standing::Accepted | Standing::NotProven { .. }) | None => Doubt::None,
        };
        let doubt = self.doubt;
        self.set_calibration(held.map(|held| doubt.reserved(held.calibration)));
    }

    /// Takes a calibration that nobody doubts, or none; one without a span, or of an actuator other than the settings describe, is as
    /// good as none.
    pub fn set_calibration(&mut self, calibration: Option<Calibration>) {
        self.calibration = calibration
            .filter(|known| known.check_for(known.setup).is_ok() && known.is_of(&self.settings.actuator));
        self.copy.calibration = self.calibration;
        self.actuation.rest();
        self.slew.reset();
    }

    /// The calibration in use.
    #[must_use]
    pub fn calibration(&self) -> Option<&Calibration> {
        self.calibration.as_ref()
    }

    /// True once a setting or the calibration in use has changed by itself: nothing is driven from then on.
    #[must_use]
    pub fn has_memory_changed(&self) -> bool {
        self.copy.is_found()
    }

    /// What the bench's commands may use from now on.
    pub fn stand_on(&mut self, footing: Footing) {
        self.footing = footing;
    }

    /// Heat in the winding by the current that was read, as a share of what it can take for ever.
    #[must_use]
    pub fn heat_share(&self) -> f32 {
        self.actuation.heat_share(&self.settings)
    }

    /// Clears the guard's latch: an explicit act of a person.
    pub fn clear_latch(&mut self) {
        self.cleared = self.guard.clear_latch();
    }

    /// One tick.
    #[inline(never)] // taken into the session's tick, it costs a hundred instructions more
    pub fn tick(&mut self, sample: &Sample, request: &Request) -> TickOutput {
        if self.copy.has_changed(&self.settings, self.calibration.as_ref()) {
            return self.off(sample);
        }
        let vetted = self.plausibility.tick(&self.settings, sample, request, self.way);
        self.way = LoopState::OnTarget;
        let measured = self.measure(&vetted);
        let seen = measured.map(|opening| Opening::saturating(opening, Opening::OPEN));
        let decision = match (request, vetted.air) {
            _ if vetted.faults.contains(Fault::BridgeFault) => self.undriven(),
            (Request::Engine(_), Some(air)) => self.engine(&air, seen),
            (Request::Bench(command), _) => self.bench(*command, &vetted, seen),
            (Request::Release | Request::Engine(_), _) => self.release(),
        };
        self.drive(&vetted, measured, seen, &decision)
    }

    /// A tick of a controller that cannot trust what it knows: nothing of it is used.
    fn off(&self, sample: &Sample) -> TickOutput {
        TickOutput {
            tick: sample.tick,
            duty: Duty::ZERO,
            target: None,
            opening: None,
            stage: self.guard.stage(),
            event: None,
            faults: FaultSet::only(Fault::MemoryChanged),
            fuel: FuelRequest::LimitTo(UNDRIVEN_FUEL),
            limits: LimitSet::NONE,
        }
    }

    /// Opening without the hold to 0 … 1, while position and calibration are known.
    fn measure(&self, vetted: &Vetted) -> Option<f32> {
        let calibration = self.calibration()?;
        vetted.position.map(|position| calibration.unclamped_opening(position))
    }

    fn engine(&mut self, air: &Air, measured: Option<Opening>) -> Decision {
        let standing = self.slew.standing().or(measured).unwrap_or(Opening::OPEN);
        let reach = self.calibration().map_or(Opening::OPEN, |known| known.inside_clearance(Opening::OPEN));
        let mode = self.doubt.mode(air.demand.mode);
        let wanted = self.target.tick(&self.settings.target, air, mode, self.doubt.raise(), standing);
        let guarded = self.guard.tick(&self.settings.guard, air, &wanted, Vane { measured, reach });
        let mut limits = wanted.limits;
        if guarded.opening > wanted.opening {
            self.target.interrupt();
            limits.insert(Limit::Guard);
        }
        let (haste, push) = match self.guard.stage() {
            GuardStage::Normal => (Haste::Normal, Push::Normal),
            GuardStage::Ease | GuardStage::BoostShort => (Haste::Protective, Push::Normal),
            GuardStage::Open | GuardStage::CannotOpen | GuardStage::Latched => {
                (Haste::Protective, Push::BreakAway)
            }
        };
        let opening = self.slew.tick(&self.settings.slew, guarded.opening, haste, standing);
        if opening != guarded.opening {
            limits.insert(Limit::Slew);
        }
        if measured.is_some_and(|measured| self.is_under_way(measured, opening)) {
            self.way = LoopState::UnderWay;
        }
        let command = match measured {
            Some(_) if !guarded.is_pressed => Command::Opening(opening),
            _ => self.blind_open(),
        };
        Decision {
            command,
            push,
            fuel: guarded.fuel,
            event: guarded.event.or_else(|| self.cleared.take()),
            faults: guarded.faults,
            limits,
        }
    }

    /// Far enough from the wanted opening that a sound reading must change.
    fn is_under_way(&self, measured: Opening, wanted: Opening) -> bool {
        let reachable = self.calibration().map_or(wanted, |known| known.inside_clearance(wanted));
        libm::fabsf(reachable.get() - measured.get()) > self.settings.guard.stages.open_travel
    }

    /// With position lost an engine's vanes are driven open, gently.
    fn blind_open(&self) -> Command {
        let volts = self.settings.position.blind_open_v;
        Command::Duty(Duty::saturating(volts / self.settings.actuator.nominal_supply.0, Duty::ZERO))
    }

    fn bench(&mut self, command: Command, vetted: &Vetted, seen: Option<Opening>) -> Decision {
        if vetted.faults.contains(Fault::ConverterFrozen) {
            return self.release();
        }
        if vetted.faults.contains(Fault::SupplyRange) {
            let mut decision = self.release();
            decision.limits.insert(Limit::Supply);
            return decision;
        }
        match (command, seen, self.footing.slew(&self.settings.slew)) {
            (Command::Opening(wanted), Some(seen), Some(slower)) => self.led(wanted, seen, &slower),
            _ => self.past_the_guard(command),
        }
    }

    /// The bench's opening, approached no faster than `slower` allows.
    fn led(&mut self, wanted: Opening, seen: Opening, slower: &SlewSettings) -> Decision {
        let mut slew = self.slew;
        let opening = slew.tick(slower, wanted, Haste::Normal, seen);
        let mut decision = self.past_the_guard(Command::Opening(opening));
        self.slew = slew;
        if opening != wanted {
            decision.limits.insert(Limit::Slew);
        }
        decision
    }

    fn release(&mut self) -> Decision {
        self.past_the_guard(Command::Release)
    }

    /// The bridge does not drive.
    fn undriven(&mut self) -> Decision {
        Decision { fuel: FuelRequest::LimitTo(UNDRIVEN_FUEL), ..self.release() }
    }

    fn past_the_guard(&mut self, command: Command) -> Decision {
        self.target.interrupt();
        self.guard.interrupt();
        self.slew.reset();
        Decision::of(command, self.guard.standing_fuel(&self.settings.guard.stages))
    }

    /// Turns the decision into duty and gathers what every stage found. `seen` is `measured`, held to 0 … 1.
    fn drive(
        &mut self,
        vetted: &Vetted,
        measured: Option<f32>,
        seen: Option<Opening>,
        decision: &Decision,
    ) -> TickOutput {
        let calibration = self.calibration.as_ref();
        let place = measured.zip(calibration);
        let share = self.footing.current_share();
        let actuated =
            self.actuation.tick(&self.settings, vetted, place, decision.command, decision.push, share);
        let mut faults = vetted.faults.union(decision.faults).union(actuated.faults);
        faults.assign(Fault::CalibrationSuspended, self.doubt != Doubt::None);
        if matches!(decision.command, Command::Opening(_)) && calibration.is_none() {
            faults.insert(Fault::NotCalibrated);
        }
        TickOutput {
            tick: vetted.tick,
            duty: actuated.duty,
            target: actuated.target,
            opening: seen,
            stage: self.guard.stage(),
            event: decision.event,
            faults,
            fuel: self.doubt.fuel(decision.fuel, self.settings.guard.stages.derate),
            limits: decision.limits.union(actuated.limits),
        }
    }
}

#[cfg(test)]
mod tests;
