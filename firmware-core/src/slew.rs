//! Leads the opening toward where it is wanted at no more than the allowed rate.

use crate::settings::SlewSettings;
use crate::units::{Opening, TICK_SECONDS, larger, smaller};

/// How much of a hurry there is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Haste {
    /// Normal rate both ways.
    Normal,
    /// Protective rate toward open, normal rate toward closed.
    Protective,
}

/// The opening that stands after the last tick, and where it is led.
#[derive(Debug, Clone, Copy, Default)]
pub struct Slew {
    standing: Option<Opening>,
    goal: Option<Opening>,
}

impl Slew {
    /// One tick toward `wanted`; the first tick starts at `measured`.
    pub fn tick(
        &mut self,
        settings: &SlewSettings,
        wanted: Opening,
        haste: Haste,
        measured: Opening,
    ) -> Opening {
        let from = self.standing.unwrap_or(measured).get();
        let opening_rate = match haste {
            Haste::Normal => settings.normal_per_s,
            Haste::Protective => settings.protective_per_s,
        };
        let (low, high) = (from - settings.normal_per_s * TICK_SECONDS, from + opening_rate * TICK_SECONDS);
        let goal = self.goal(settings, wanted, haste);
        let next = smaller(larger(goal.get(), low), high);
        let next = Opening::saturating(next, goal);
        self.standing = Some(next);
        next
    }

    /// The last wanted opening that was followed: small changes of it are not, save the guard's openings.
    fn goal(&mut self, settings: &SlewSettings, wanted: Opening, haste: Haste) -> Opening {
        let is_guarded = haste == Haste::Protective && self.goal.is_some_and(|goal| wanted > goal);
        let goal = match self.goal {
            Some(goal) if !is_guarded && libm::fabsf(wanted.get() - goal.get()) <= settings.still_band => {
                goal
            }
            _ => wanted,
        };
        self.goal = Some(goal);
        goal
    }

    /// The opening that stands.
    #[must_use]
    pub fn standing(&self) -> Option<Opening> {
        self.standing
    }

    /// Forgets where it stood: the next tick starts from the measured opening.
    pub fn reset(&mut self) {
        *self = Self::default();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_guard_opens_at_the_protective_rate_and_comfort_closes_at_its_own() {
        let settings = SlewSettings::default();
        let mut slew = Slew::default();
        let start = Opening::try_new(0.5).unwrap();
        let opened = slew.tick(&settings, Opening::OPEN, Haste::Protective, start).get();
        assert!((opened - 0.52).abs() < 1.0e-6);
        let closed = slew.tick(&settings, Opening::CLOSED, Haste::Protective, start).get();
        assert!((closed - 0.515).abs() < 1.0e-6);
    }

    #[test]
    fn a_noisy_wish_moves_nothing() {
        let settings = SlewSettings::default();
        let mut slew = Slew::default();
        let start = Opening::try_new(0.5).unwrap();
        slew.tick(&settings, start, Haste::Normal, start);
        for noise in [0.001, -0.002, 0.0029] {
            let wanted = Opening::try_new(0.5 + noise).unwrap();
            assert_eq!(slew.tick(&settings, wanted, Haste::Normal, start), start);
        }
    }

    #[test]
    fn the_last_bit_of_the_guards_opening_is_followed() {
        let settings = SlewSettings::default();
        let mut slew = Slew::default();
        let almost = Opening::try_new(1.0 - settings.still_band / 2.0).unwrap();
        slew.tick(&settings, almost, Haste::Normal, almost);
        assert_eq!(slew.tick(&settings, Opening::OPEN, Haste::Protective, almost), Opening::OPEN);
    }

    proptest! {
        #[test]
        fn no_tick_moves_further_than_its_rate(wanted in prop::collection::vec(0.0f32..=1.0, 2..40)) {
            let settings = SlewSettings::default();
            let mut slew = Slew::default();
            let mut last = Opening::try_new(0.3).unwrap();
            for wanted in wanted {
                let next = slew.tick(&settings, Opening::try_new(wanted).unwrap(), Haste::Normal, last);
                let bound = settings.normal_per_s * TICK_SECONDS + f32::EPSILON;
                prop_assert!((next.get() - last.get()).abs() <= bound);
                last = next;
            }
        }
    }
}
