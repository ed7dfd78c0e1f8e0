//! The books that a host keeps of what may stand behind a motion, from what was asked and answered, in the words of the
//! rules: they know nothing of how the board does it.

use super::*;

pub(super) const SETUPS: [Setup; 3] = [Setup::Free, Setup::Attached, Setup::OnEngine];

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum LearnEnd {
    Accepted,
    NotProven,
    Refused,
}

/// What may stand behind a motion, by the books.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fact {
    pub(super) warmth: Warmth,
    pub(super) standing: Standing,
    pub(super) settings: Settings,
}

/// The books of one host and one board.
pub(super) struct Books {
    pub(super) facts: [Option<Fact>; 3],
    pub(super) settings: Settings,
    /// The learn that runs.
    pub(super) learning: Option<(Setup, Warmth)>,
    /// What the motion or the engine that runs stands on.
    pub(super) moving: Option<(Setup, Option<Warmth>, Footing)>,
}

pub(super) fn at(setup: Setup) -> usize {
    SETUPS.iter().position(|known| *known == setup).unwrap()
}

pub(super) fn other(settings: &Settings) -> Settings {
    let mut other = *settings;
    other.slew.normal_per_s = if other.slew.normal_per_s == 5.0 { 4.0 } else { 5.0 };
    other
}

impl Books {
    /// The rule, word for word: closed loop needs an accepted calibration of that setup, warmth and settings; not
    /// proven and suspended ones carry an unproven motion, and suspended ones an engine that they were learned on.
    pub(super) fn allow_closed_loop(&self) -> bool {
        let Some((setup, warmth, footing)) = self.moving else { return false };
        let Some(fact) = self.facts[at(setup)] else { return false };
        let is_standing_enough = match footing {
            Footing::Accepted => {
                fact.standing == Standing::Accepted
                    || (warmth.is_none()
                        && setup == Setup::OnEngine
                        && matches!(fact.standing, Standing::Suspended { .. }))
            }
            Footing::Unproven => true,
            Footing::Diagnostic => false,
        };
        is_standing_enough
            && warmth.is_none_or(|warmth| warmth == fact.warmth)
            && fact.settings == self.settings
    }

    pub(super) fn begin_learn(&mut self, setup: Setup, warmth: Warmth, is_full: bool) {
        self.learning = Some((setup, warmth));
        match (setup, is_full) {
            (Setup::Free | Setup::Attached, true) => (self.facts[0], self.facts[1]) = (None, None),
            _ => {
                if let Some(fact) = &mut self.facts[at(setup)] {
                    fact.standing = match fact.standing {
                        Standing::Accepted => Standing::Suspended { refusals: 1 },
                        Standing::Suspended { refusals } => {
                            Standing::Suspended { refusals: refusals.saturating_add(1) }
                        }
                        open @ Standing::NotProven { .. } => open,
                    }
                }
            }
        }
    }

    pub(super) fn end_learn(&mut self, end: LearnEnd) {
        let (setup, warmth) = self.learning.take().unwrap();
        let settings = self.settings;
        let fact = |standing| Some(Fact { warmth, standing, settings });
        let place = &mut self.facts[at(setup)];
        match end {
            LearnEnd::Accepted => *place = fact(Standing::Accepted),
            LearnEnd::NotProven if setup == Setup::OnEngine && place.is_some() => {}
            LearnEnd::NotProven => *place = fact(Standing::NotProven { open: CheckSet::ALL }),
            LearnEnd::Refused => {}
        }
    }
}
