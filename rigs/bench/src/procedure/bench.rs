//! A bench that is ready to move: rig greeted, settings handed over, drive armed.

use firmware_core::learn::CheckSet;
use firmware_core::settings::Settings;

use super::stop::RunStop;
use super::target::Target;
use crate::caution::{self, Acknowledged};
use crate::interrupt::{self, Watch};
use crate::record::BoardId;
use crate::rig::{Measurand, Rig, RigError, Sampling};

/// A rig with its drive armed, and what is known of the person in front of it.
pub struct Bench {
    pub(super) rig: Box<dyn Rig>,
    checked: CheckSet,
    port: String,
    cautions: Acknowledged,
    readiness: Readiness,
    /// A signal brings the bench to rest instead of ending the program.
    _watch: Watch,
}

/// Whether the unit may be moved by what is planned.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Readiness {
    /// Armed, and nothing has gone wrong since a person said that hands are clear.
    Armed,
    /// A run was cut short, for this reason. Counts are kept, motion is not: a person is asked first.
    Stopped(String),
}

impl Bench {
    /// Hands the settings to a rig, arms it and turns its samples on: only once the cautions were acknowledged.
    /// `checked` is what looking at the unit confirms.
    ///
    /// # Errors
    /// As the rig says.
    pub fn with_rig(
        mut rig: Box<dyn Rig>,
        port: String,
        checked: CheckSet,
        cautions: Acknowledged,
        settings: &Settings,
    ) -> Result<Self, RigError> {
        let watch = interrupt::watch();
        rig.hand_over(settings)?;
        rig.arm(settings.hash())?;
        rig.begin_samples()?;
        Ok(Self { rig, checked, port, cautions, readiness: Readiness::Armed, _watch: watch })
    }

    /// The board that answered.
    #[must_use]
    pub fn board(&self) -> BoardId {
        let identity = self.rig.identity();
        BoardId { name: identity.board, serial: identity.serial }
    }

    /// What was done about the cautions.
    #[must_use]
    pub fn cautions(&self) -> Acknowledged {
        self.cautions
    }

    /// Refuses what this rig cannot show.
    pub(super) fn must_measure(&self, what: &'static str, needed: &[Measurand]) -> Result<(), RunStop> {
        let missing = needed.iter().find_map(|measurand| match self.rig.measures(*measurand) {
            Sampling::EachSample => None,
            Sampling::Never { why } => Some(RunStop::NotMeasured { what, measurand: *measurand, why }),
        });
        missing.map_or(Ok(()), Err)
    }

    /// Ends what is running and notes why: nothing moves on this bench before a person has said so again.
    ///
    /// # Errors
    /// Where the rig does not answer: its lease then ends the drive.
    pub(super) fn let_go(&mut self, stop: &RunStop) -> Result<(), RigError> {
        self.readiness = Readiness::Stopped(stop.to_string());
        self.rig.stop()
    }

    /// Makes sure that a planned motion may begin. After a stop of any kind the drive stays off while a person
    /// reads the cautions and types yes; a virtual unit goes on by itself.
    pub(super) fn be_ready(&mut self, target: &Target) -> Result<(), RunStop> {
        if let Readiness::Stopped(why) = &self.readiness {
            caution::confirm_again(target.motion(), why).map_err(RunStop::NotResumed)?;
            self.rig.arm(target.profile.settings.hash())?;
            self.readiness = Readiness::Armed;
        }
        Ok(())
    }

    /// The port as messages and records name it.
    #[must_use]
    pub fn port(&self) -> &str {
        &self.port
    }

    /// What looking at the unit would confirm; a virtual unit answers for itself, a real one must be looked at.
    #[must_use]
    pub fn confirmed_by_looking(&self) -> CheckSet {
        self.checked
    }
}
