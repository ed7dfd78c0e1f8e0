//! What must stand before anything moves. In: who wants to drive, and on what footing. Out: the drive, or the one
//! reason why not.

use super::activity::{Activity, MotionPlace};
use super::control_end::ControlEnd;
use crate::calibration::{Calibration, Setup, Warmth};
use crate::controller::{DIAGNOSTIC_CURRENT_SHARE, LIMP_REFUSALS};
use crate::faults::FaultSet;
use crate::held::{Held, OriginTag, Standing};
use crate::learn::{LearnKind, LearnOrder, Learner};
use crate::link::refusal::Refusal;
use crate::link::state::Source;
use crate::motion::{Footing, Goal};
use crate::sample::EngineDemand;
use crate::settings::SettingsHash;
use crate::units::{Ampere, Tick};

/// As in [`super::commands`], all of this may be inlined.
impl ControlEnd<'_> {
    #[inline]
    pub(super) fn arm(&mut self, host: SettingsHash) -> Result<(), Refusal> {
        if !self.own.self_test.is_sound() {
            return Err(Refusal::SelfTestFailed { found: self.own.self_test });
        }
        if self.own.controller.has_memory_changed() {
            return Err(Refusal::MemoryChanged);
        }
        let faults = self.own.state.faults.common(FaultSet::FORBIDDING);
        if !faults.is_empty() {
            return Err(Refusal::FaultPresent { faults });
        }
        let board = self.settings_in_use()?;
        if board != host {
            return Err(Refusal::OtherSettings { board, host });
        }
        self.own.lease.arm();
        Ok(())
    }

    /// A motion without a calibration in force is a diagnostic one, whatever its goals.
    #[inline]
    pub(super) fn start_motion(
        &mut self,
        start_at: Tick,
        setup: Setup,
        warmth: Warmth,
        footing: Footing,
    ) -> Result<(), Refusal> {
        self.check_ready(start_at)?;
        if self.own.motion.segments().is_empty() {
            return Err(Refusal::MotionEmpty);
        }
        match footing {
            Footing::Accepted | Footing::Unproven => {
                let standing = self.of_this_board(setup, Some(warmth))?.standing;
                check_footing(footing, standing)?;
                self.choose(setup);
            }
            Footing::Diagnostic => self.check_diagnostic()?,
        }
        self.own.controller.stand_on(footing);
        self.own.activity = Activity::Motion { start_at, place: MotionPlace::Waiting };
        Ok(())
    }

    #[inline]
    pub(super) fn follow_engine(&mut self, demand: EngineDemand) -> Result<(), Refusal> {
        // What was checked at the start stands: nothing that it depends on changes while an engine is followed.
        if self.own.activity.source() != Source::Engine {
            self.check_ready(self.own.next)?;
            self.own.controller.settings().validate_together()?;
            let setup = self.check_engine()?;
            self.choose(setup);
        }
        self.own.activity = Activity::Engine(demand);
        Ok(())
    }

    #[inline]
    pub(super) fn start_learn(
        &mut self,
        start_at: Tick,
        order: &LearnOrder,
        tag: OriginTag,
    ) -> Result<(), Refusal> {
        self.check_ready(start_at)?;
        let settings = self.settings_in_use()?;
        match &order.kind {
            LearnKind::Full => {}
            LearnKind::Relearn { previous } => self.check_relearn(order, previous)?,
        }
        self.own.learned = None;
        self.doubt(order);
        let learner = Learner::new(self.own.controller.settings(), *order);
        self.own.activity = Activity::Learn { start_at, learner, tag, settings, told: 0 };
        Ok(())
    }

    /// The calibration that is held for this setup, when it was learned in this warmth, where that is known, and under
    /// the settings in use.
    fn of_this_board(&self, setup: Setup, warmth: Option<Warmth>) -> Result<&Held, Refusal> {
        let held = self.own.bank.of(setup)?;
        let learned = held.calibration.warmth;
        if let Some(wanted) = warmth.filter(|wanted| *wanted != learned) {
            return Err(Refusal::OtherWarmth { learned, wanted });
        }
        let (learned, board) = (held.origin.settings, self.settings_in_use()?);
        if learned != board {
            return Err(Refusal::CalibrationOfOtherSettings { learned, board });
        }
        if held.calibration.is_of(&self.own.controller.settings().actuator) {
            Ok(held)
        } else {
            Err(Refusal::NotCalibrated)
        }
    }

    /// The setup whose calibration an engine is followed by: learned on it, or on its ring on the bench where none was;
    /// a free lever's openings say nothing of the ring that sets the engine's boost. One that is suspended is followed
    /// with reserve, one learned on the engine only: on the bench nobody needs to drive on.
    #[inline]
    fn check_engine(&self) -> Result<Setup, Refusal> {
        let is_only_attached =
            self.own.bank.get(Setup::OnEngine).is_none() && self.own.bank.get(Setup::Attached).is_some();
        let setup = if is_only_attached { Setup::Attached } else { Setup::OnEngine };
        match (self.of_this_board(setup, None)?.standing, setup) {
            (Standing::Accepted, _) | (Standing::Suspended { .. }, Setup::OnEngine) => Ok(setup),
            (standing, _) => Err(Refusal::NotInForce { standing }),
        }
    }

    /// Open loop, and no more current than the limits would leave.
    #[inline]
    fn check_diagnostic(&self) -> Result<(), Refusal> {
        let max = Ampere(self.own.controller.settings().actuator.max_current.0 * DIAGNOSTIC_CURRENT_SHARE);
        self.own.motion.segments().iter().try_for_each(|segment| match segment.goal {
            Goal::Opening(_) => Err(Refusal::OpenLoopOnly),
            Goal::Current(current) if libm::fabsf(current.0) > max.0 => {
                Err(Refusal::DiagnosticCurrent { max })
            }
            Goal::Current(_) | Goal::Duty(_) | Goal::Release => Ok(()),
        })
    }

    /// A relearn moves the stops of what the board holds; doubt that only a full learn clears it does not clear.
    #[inline]
    fn check_relearn(&self, order: &LearnOrder, previous: &Calibration) -> Result<(), Refusal> {
        let held = self.of_this_board(order.setup, Some(order.warmth))?;
        match held.standing {
            standing @ Standing::Suspended { refusals } if refusals >= LIMP_REFUSALS => {
                Err(Refusal::NotInForce { standing })
            }
            _ if held.calibration != *previous => Err(Refusal::OtherCalibration),
            Standing::Accepted | Standing::NotProven { .. } | Standing::Suspended { .. } => Ok(()),
        }
    }

    #[inline]
    fn settings_in_use(&self) -> Result<SettingsHash, Refusal> {
        self.own.given.hash().ok_or(Refusal::NoSettings { missing: self.own.given.missing() })
    }

    #[inline]
    pub(super) fn check_idle(&self) -> Result<(), Refusal> {
        match self.own.activity.source() {
            Source::Released => Ok(()),
            source @ (Source::Engine | Source::Motion | Source::Learn | Source::Probe) => {
                Err(Refusal::Busy { source })
            }
        }
    }

    #[inline]
    pub(super) fn check_ready(&self, start_at: Tick) -> Result<(), Refusal> {
        if !self.is_armed() {
            return Err(Refusal::NotArmed);
        }
        self.check_idle()?;
        if self.own.keep.is_pending() {
            return Err(Refusal::Saving);
        }
        if start_at.has_reached(self.own.next) {
            Ok(())
        } else {
            Err(Refusal::StartInPast { next: self.own.next })
        }
    }
}

#[inline]
fn check_footing(footing: Footing, standing: Standing) -> Result<(), Refusal> {
    match (footing, standing) {
        (Footing::Accepted, Standing::Accepted) | (Footing::Unproven | Footing::Diagnostic, _) => Ok(()),
        (Footing::Accepted, Standing::NotProven { .. } | Standing::Suspended { .. }) => {
            Err(Refusal::NotInForce { standing })
        }
    }
}
