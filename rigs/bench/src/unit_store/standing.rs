//! What the learns of a unit leave in force.

use firmware_core::calibration::Setup;
use firmware_core::held::{Held, Standing};

use crate::record::{Provenance, RunName, RunRefusal};

/// A calibration in force and the learn that it came from.
#[derive(Debug, Clone, PartialEq)]
pub struct InForce {
    /// What the board is given.
    pub held: Held,
    /// The learn.
    pub run: RunName,
    /// What that learn came from.
    pub provenance: Provenance,
    /// The newest learn since then that confirmed nothing.
    pub doubted_by: Option<RunName>,
}

/// Why a unit that was learned has nothing in force.
#[derive(Debug, Clone, PartialEq)]
pub enum NoneWhy {
    /// The learn refused it.
    Refused(RunRefusal),
    /// The learn did not come to its end.
    CutShort {
        /// Why, as its record says.
        reason: String,
    },
    /// The record of the learn cannot be relied on.
    Unsound {
        /// What is wrong with it.
        error: String,
    },
    /// An older release made it: it does not say under which settings.
    WithoutProvenance,
}

/// How a unit stands in one setup and warmth.
#[derive(Debug, Clone, PartialEq)]
pub enum UnitStanding {
    /// No learn on record.
    NeverLearned,
    /// A calibration is in force, or suspended.
    InForce(Box<InForce>),
    /// The newest learn left none.
    NoneInForce {
        /// That learn.
        run: RunName,
        /// Why.
        why: NoneWhy,
    },
}

/// What one learn did.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Learn {
    pub(super) run: RunName,
    pub(super) setup: Setup,
    pub(super) reach: Reach,
    pub(super) end: RunEnd,
}

/// Full learn or relearn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Reach {
    /// From nothing: what was there before no longer counts.
    Full,
    /// From the calibration in force.
    Relearn,
}

/// How it ended.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum RunEnd {
    /// With a calibration.
    Found(Box<(Held, Provenance)>),
    /// Without one.
    Without(NoneWhy),
}

impl UnitStanding {
    /// After all of these learns, oldest first.
    pub(super) fn after(learns: impl IntoIterator<Item = Learn>) -> Self {
        learns.into_iter().fold(Self::NeverLearned, Self::then)
    }

    /// As the board does it: a learn takes force away before it gives any.
    fn then(self, learn: Learn) -> Self {
        let Learn { run, setup, reach, end } = learn;
        match (reach, self) {
            // A relearn starts from what is in force: with nothing there, it says nothing.
            (Reach::Relearn, nothing @ (Self::NeverLearned | Self::NoneInForce { .. })) => nothing,
            (Reach::Relearn, Self::InForce(before)) => match end {
                RunEnd::Found(found) if replaces(setup, &found.0) => {
                    let (now, provenance) = *found;
                    let moved = before.held.relearned(now.calibration, now.origin);
                    Self::in_force(Held { standing: now.standing, ..moved }, run, provenance)
                }
                RunEnd::Found(_) | RunEnd::Without(_) => before.doubted(run),
            },
            (Reach::Full, before) => match (end, before, setup) {
                (RunEnd::Found(found), Self::InForce(before), _) if !replaces(setup, &found.0) => {
                    before.doubted(run)
                }
                (RunEnd::Found(found), _, _) => {
                    let (held, provenance) = *found;
                    Self::in_force(held, run, provenance)
                }
                // An engine cannot go without: the old calibration stays, suspended.
                (RunEnd::Without(_), Self::InForce(before), Setup::OnEngine) => before.doubted(run),
                (RunEnd::Without(why), _, _) => Self::NoneInForce { run, why },
            },
        }
    }

    fn in_force(held: Held, run: RunName, provenance: Provenance) -> Self {
        Self::InForce(Box::new(InForce { held, run, provenance, doubted_by: None }))
    }
}

/// On an engine, what is not proven does not replace what was accepted once.
fn replaces(setup: Setup, found: &Held) -> bool {
    match (setup, found.standing) {
        (Setup::OnEngine, Standing::NotProven { .. } | Standing::Suspended { .. }) => false,
        (Setup::OnEngine, Standing::Accepted) | (Setup::Free | Setup::Attached, _) => true,
    }
}

impl InForce {
    /// After a learn that confirmed nothing. What was never proven does not become more by that.
    fn doubted(mut self: Box<Self>, by: RunName) -> UnitStanding {
        self.held.standing = match self.held.standing {
            Standing::Accepted => Standing::Suspended { refusals: 1 },
            Standing::Suspended { refusals } => Standing::Suspended { refusals: refusals.saturating_add(1) },
            open @ Standing::NotProven { .. } => open,
        };
        self.doubted_by = Some(by);
        UnitStanding::InForce(self)
    }
}

#[cfg(test)]
mod tests {
    use firmware_core::calibration::{Calibration, Contact, LearnedStop, Warmth};
    use firmware_core::held::{Origin, OriginTag};
    use firmware_core::learn::CheckSet;
    use firmware_core::settings::SettingsHash;
    use firmware_core::units::{Opening, Tick, Volt};
    use proptest::prelude::*;

    use super::*;
    use crate::record::{BoardId, Job, RunKind, Serials};

    fn stop(at: f32) -> LearnedStop {
        LearnedStop {
            zero_push_counts: at,
            pressed_counts: at,
            released_counts: at,
            compliance_counts_per_a: 20.0,
            repeat_range_counts: 1.0,
            contact: Contact::RingContact,
        }
    }

    fn found(ordinal: u32, setup: Setup, standing: Standing) -> RunEnd {
        let calibration = Calibration {
            closed: stop(13_000.0 + ordinal as f32),
            open: stop(2600.0),
            setup,
            warmth: Warmth::Cold,
            supply: Volt(12.0),
            temperature: None,
            clearance: Opening::CLOSED,
        };
        let origin =
            Origin { tag: OriginTag(ordinal.into()), settings: SettingsHash(1), tick: Tick(ordinal) };
        let board = BoardId { name: "b".into(), serial: String::new() };
        let provenance = Provenance {
            settings: SettingsHash(1),
            operator: None,
            customer: None,
            board,
            serials: Serials::default(),
            job: Job::default(),
        };
        RunEnd::Found(Box::new((Held::of_full_learn(calibration, standing, origin), provenance)))
    }

    fn cut() -> RunEnd {
        RunEnd::Without(NoneWhy::CutShort { reason: "Ctrl-C".into() })
    }

    fn after(setup: Setup, learns: Vec<(Reach, RunEnd)>) -> UnitStanding {
        UnitStanding::after((1..).zip(learns).map(|(ordinal, (reach, end))| {
            let run = RunName { ordinal, kind: RunKind::Learn };
            Learn { run, setup, reach, end }
        }))
    }

    fn standing(after: &UnitStanding) -> Option<Standing> {
        match after {
            UnitStanding::InForce(in_force) => Some(in_force.held.standing),
            UnitStanding::NeverLearned | UnitStanding::NoneInForce { .. } => None,
        }
    }

    const NOT_PROVEN: Standing = Standing::NotProven { open: CheckSet::ALL };

    #[test]
    fn a_full_learn_on_the_bench_that_finds_nothing_leaves_none_in_force() {
        for setup in [Setup::Free, Setup::Attached] {
            let accepted = (Reach::Full, found(1, setup, Standing::Accepted));
            let end = after(setup, vec![accepted.clone(), (Reach::Full, cut())]);
            assert!(
                matches!(end, UnitStanding::NoneInForce { run: RunName { ordinal: 2, .. }, .. }),
                "{end:?}"
            );
            let again = after(setup, vec![accepted.clone(), (Reach::Full, cut()), accepted]);
            assert_eq!(standing(&again), Some(Standing::Accepted));
        }
    }

    #[test]
    fn on_an_engine_the_old_one_stays_suspended_with_a_count() {
        let setup = Setup::OnEngine;
        let accepted = (Reach::Full, found(1, setup, Standing::Accepted));
        let not_proven = (Reach::Full, found(3, setup, NOT_PROVEN));
        let end = after(
            setup,
            vec![accepted.clone(), (Reach::Full, cut()), not_proven.clone(), (Reach::Relearn, cut())],
        );
        assert_eq!(standing(&end), Some(Standing::Suspended { refusals: 3 }));
        assert_eq!(
            standing(&after(setup, vec![not_proven.clone(), accepted.clone()])),
            Some(Standing::Accepted)
        );
        assert_eq!(standing(&after(setup, vec![(Reach::Full, cut())])), None, "nothing was there to stay");
    }

    #[test]
    fn a_relearn_moves_the_calibration_keeps_the_anchor_and_counts() {
        let setup = Setup::Attached;
        let full = (Reach::Full, found(1, setup, Standing::Accepted));
        let UnitStanding::InForce(end) = after(
            setup,
            vec![
                full.clone(),
                (Reach::Relearn, cut()),
                (Reach::Relearn, found(3, setup, Standing::Accepted)),
            ],
        ) else {
            panic!("nothing in force")
        };
        assert_eq!((end.held.standing, end.held.relearns, end.run.ordinal), (Standing::Accepted, 1, 3));
        assert_eq!(end.held.anchor.closed.zero_push_counts, 13_001.0);
        assert_eq!((end.held.calibration.closed.zero_push_counts, end.held.origin.tick), (13_003.0, Tick(3)));
        let refused = after(setup, vec![full, (Reach::Relearn, cut())]);
        assert_eq!(standing(&refused), Some(Standing::Suspended { refusals: 1 }));
    }

    proptest! {
        /// Whatever came before: accepted is only what the newest learn accepted.
        #[test]
        fn nothing_is_accepted_after_a_learn_that_accepted_nothing(
            history in prop::collection::vec((any::<bool>(), 0..3_u8), 1..8),
            setup in prop_oneof![Just(Setup::Free), Just(Setup::Attached), Just(Setup::OnEngine)],
        ) {
            let learn = |&(is_full, end): &(bool, u8)| {
                let end = match end {
                    0 => found(1, setup, Standing::Accepted),
                    1 => found(1, setup, NOT_PROVEN),
                    _ => cut(),
                };
                (if is_full { Reach::Full } else { Reach::Relearn }, end)
            };
            let end = after(setup, history.iter().map(learn).collect());
            let is_newest_accepted = history.last().is_some_and(|(_, end)| *end == 0);
            prop_assert!(is_newest_accepted || standing(&end) != Some(Standing::Accepted));
        }
    }
}
