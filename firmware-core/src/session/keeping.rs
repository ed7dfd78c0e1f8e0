//! Settings and calibrations: what is taken, held, chosen for use and kept over power-off.

use super::bank::Change;
use super::control_end::ControlEnd;
use super::exchange::{Answer, ToLink};
use super::given::Given;
use crate::calibration::Setup;
use crate::held::{Held, Standing};
use crate::learn::LearnOrder;
use crate::link::note::Note;
use crate::link::refusal::Refusal;
use crate::link::state::{ReleaseReason, Source};
use crate::settings::{SettingError, SettingsSection};
use crate::store::{Kept, StoreResult};

/// As in [`super::commands`], all of this may be inlined.
impl ControlEnd<'_> {
    /// Puts what was stored before the last power-off into use: settings that were kept count as given.
    #[inline]
    pub fn restore(&mut self, kept: &Kept) {
        let mut sections = kept.settings.iter().flat_map(|settings| settings.sections());
        if sections.try_for_each(|section| self.take_section(&section)).is_err() {
            // Settings that this build does not allow are none.
            self.own.given = Given::nothing();
        }
        for held in kept.held.iter().flatten() {
            if held.calibration.check_for(held.calibration.setup).is_ok() {
                self.own.bank.put(*held);
            }
        }
        self.own.in_use = self.own.bank.most_complete();
        self.bring_into_use();
    }

    /// What to write to non-volatile memory, for the time between ticks: writing may stall the processor, so it is
    /// only ever given while the duty is 0. Ask before each tick, and answer with [`ControlEnd::saved`]: until then
    /// neither a learn nor a motion begins.
    #[inline]
    pub fn take_save(&mut self) -> Option<Kept> {
        if !(self.own.is_at_rest && self.own.keep.take()) {
            return None;
        }
        let mut kept = Kept { settings: None, held: self.own.bank.all() };
        if self.own.given.hash().is_some() {
            kept.settings = Some(*self.own.controller.settings());
        }
        Some(kept)
    }

    /// How the save that [`ControlEnd::take_save`] gave has ended. A learn that waits for it goes on when the store holds
    /// what is in force, and when the board has no store: nothing survives a power-off there anyway.
    #[inline]
    pub fn saved(&mut self, result: StoreResult) {
        let Some(ended) = self.own.keep.end(result) else { return };
        self.side.outbox.tell(ToLink::Note(Note::Stored { number: ended.number, result }));
        // Whatever else is driven has not waited for a save.
        if ended.is_lost && self.own.activity.source() == Source::Learn {
            self.release(self.own.next, ReleaseReason::NotStored);
        }
    }

    #[inline]
    pub(super) fn apply_settings(&mut self, section: &SettingsSection) -> Result<(), Refusal> {
        self.check_idle()?;
        self.take_section(section)?;
        // Whoever armed did so for the settings before.
        self.own.lease.disarm();
        self.bring_into_use();
        Ok(())
    }

    #[inline]
    fn take_section(&mut self, section: &SettingsSection) -> Result<(), SettingError> {
        self.own.controller.apply(section)?;
        self.own.given.take(section, self.own.controller.settings());
        Ok(())
    }

    #[inline]
    pub(super) fn set_calibration(&mut self, held: &Held) -> Result<(), Refusal> {
        self.check_idle()?;
        let setup = held.calibration.setup;
        held.calibration.check_for(setup).map_err(Refusal::from)?;
        if let (Setup::OnEngine, Some(standing)) = (setup, self.own.bank.get(setup).map(|last| last.standing))
            && is_cleared_by(standing, held.standing)
        {
            return Err(Refusal::NotInForce { standing });
        }
        self.hold(*held);
        Ok(())
    }

    #[inline]
    pub(super) fn get_calibration(&mut self, setup: Setup) -> Result<(), Refusal> {
        let held = *self.own.bank.of(setup)?;
        self.side.outbox.answer(Answer::Calibration(held));
        Ok(())
    }

    #[inline]
    pub(super) fn store(&mut self) -> Result<(), Refusal> {
        self.check_idle()?;
        if self.own.given.hash().is_none() && self.own.bank.is_empty() {
            return Err(Refusal::NoSettings { missing: self.own.given.missing() });
        }
        self.own.keep.ask();
        Ok(())
    }

    /// Holds a calibration in place of the one of its setup, and uses it.
    pub(super) fn hold(&mut self, held: Held) {
        self.own.bank.put(held);
        self.own.keep.fall_behind();
        self.choose(held.calibration.setup);
    }

    /// Before a learn: takes force away, in the store too.
    #[inline]
    pub(super) fn doubt(&mut self, order: &LearnOrder) {
        match self.own.bank.doubt(order) {
            Change::Made => self.own.keep.fall_behind(),
            Change::None => {}
        }
        self.own.keep.catch_up();
        self.choose(order.setup);
    }

    /// Uses the calibration of this setup from now on.
    pub(super) fn choose(&mut self, setup: Setup) {
        self.own.in_use = Some(setup);
        self.bring_into_use();
    }

    /// A calibration of other settings waits for those that it was learned under.
    fn bring_into_use(&mut self) {
        let held = self.own.in_use.and_then(|setup| self.own.bank.get(setup));
        let settings = self.own.given.hash();
        self.own.controller.hold(held.filter(|held| settings == Some(held.origin.settings)));
    }
}

/// True when `given` would end a suspension, which only a learn may.
fn is_cleared_by(standing: Standing, given: Standing) -> bool {
    match (standing, given) {
        (Standing::Suspended { refusals }, Standing::Suspended { refusals: given }) => given < refusals,
        (Standing::Suspended { .. }, Standing::Accepted | Standing::NotProven { .. }) => true,
        (Standing::Accepted | Standing::NotProven { .. }, _) => false,
    }
}
