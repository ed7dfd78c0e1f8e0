//! Whether a lever that was lowered stands: braked first, then let go and watched.
//!
//! A lever that its spring leads creeps while the motor brakes it, slower than noise shows, and runs once nothing brakes
//! it. So it is let go on trial; one that runs is braked again. One that its spring leads wherever it is let go is helped
//! home, where it stands.

use super::drive::BRAKE_DUTY;
use super::lever::ProbedLever;

/// Without a push for so long and still on its way, the lever is helped along, ticks.
const PATIENCE_TICKS: u16 = 700;
/// The place follows the reading at this share in a tick; a lever stands that goes less than this share of what counts
/// as standing for so many ticks.
const PLACE_STEP: f32 = 1.0 / 16.0;
const STANDS_SHARE: f32 = 0.2;
const STAND_TICKS: u16 = 100;
/// As long for one that is helped: by then the help has grown to 0.15 of the largest push.
const STAND_HELPED_TICKS: u16 = 300;
/// And so long without anything that brakes it.
const LET_GO_TICKS: u16 = 150;
/// Share of the speed limit from which a lever that was let go runs: in its play a lever coasts slower than that.
const RUNS_SHARE: f32 = 0.3;
/// A lever that runs so many times when it is let go is helped home: play and a stop that springs back move it no more
/// than twice. It is let go as often again, and then for good.
const LET_GO_TIMES: u8 = 3;
const MOST_LET_GO_TIMES: u8 = 2 * LET_GO_TIMES;
/// Longest lowering, ticks: a lever lifted at 0.35 of its way a second comes home in a tenth of that.
const MOST_TICKS: u16 = 40_000;

/// Whether the lever is helped home.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Help {
    /// Its spring may yet take it there.
    NotYet,
    /// From this tick on.
    Begins,
    /// With more and more push.
    Grows,
    /// It is home: let go of at once, the stop would throw it back, so the help falls.
    Over,
}

/// A lever that is to come to rest.
#[derive(Debug, Clone, Copy)]
pub(super) struct Standstill {
    elapsed: u16,
    /// Ticks without a push.
    slack: u16,
    /// Followed, counts.
    place: f32,
    anchor: f32,
    /// Sign of the counts of its last motion; 0 until it moved.
    heading: f32,
    stands_for: u16,
    /// Times that it ran when it was let go.
    ran: u8,
    help: Help,
}

impl Standstill {
    pub(super) fn new(place: f32) -> Self {
        Self {
            elapsed: 0,
            slack: 0,
            place,
            anchor: place,
            heading: 0.0,
            stands_for: 0,
            ran: 0,
            help: Help::NotYet,
        }
    }

    pub(super) fn help(&self) -> Help {
        self.help
    }

    pub(super) fn heading(&self) -> f32 {
        self.heading
    }

    pub(super) fn is_slack(&self) -> bool {
        self.slack > 0
    }

    pub(super) fn is_helped(&self) -> bool {
        match self.help {
            Help::Begins | Help::Grows => true,
            Help::NotYet | Help::Over => false,
        }
    }

    pub(super) fn is_let_go(&self) -> bool {
        self.stands_for >= STAND_TICKS && !self.is_helped()
    }

    /// Duty that brakes, either way by turns: one way, however small, it would push a lever that is let go of later.
    pub(super) fn brake(&self) -> f32 {
        if self.elapsed.is_multiple_of(2) { BRAKE_DUTY } else { -BRAKE_DUTY }
    }

    /// How far the lever goes from its anchor and still stands, counts.
    fn stands_within(&self, lever: &ProbedLever, still: f32) -> f32 {
        if !self.is_let_go() {
            STANDS_SHARE * still
        } else if lever.size() > RUNS_SHARE * lever.limit() {
            still
        } else {
            f32::INFINITY
        }
    }

    /// Takes in a tick in which the lever is held by `push`, a duty. True once it need not be held any more.
    pub(super) fn is_over(&mut self, lever: &ProbedLever, push: f32, still: f32) -> bool {
        self.elapsed = self.elapsed.saturating_add(1);
        self.place += (lever.place().as_f32() - self.place) * PLACE_STEP;
        let gone = self.place - self.anchor;
        let has_gone = libm::fabsf(gone) > self.stands_within(lever, still);
        if has_gone {
            self.heading = libm::copysignf(1.0, gone);
            self.ran = self.ran.saturating_add(u8::from(self.is_let_go()));
        }
        let is_slack = push <= BRAKE_DUTY && (self.is_helped() || push >= -BRAKE_DUTY);
        self.slack = self.slack.saturating_add(u16::from(is_slack));
        self.go_on(has_gone);
        if is_slack && !has_gone {
            self.stands_for = self.stands_for.saturating_add(1);
        } else {
            (self.anchor, self.stands_for) = (self.place, 0);
        }
        let has_stood = self.is_let_go() && self.stands_for >= STAND_TICKS.saturating_add(LET_GO_TICKS);
        has_stood || self.ran >= MOST_LET_GO_TIMES || self.elapsed >= MOST_TICKS
    }

    fn go_on(&mut self, has_gone: bool) {
        match self.help {
            Help::NotYet if has_gone && (self.slack > PATIENCE_TICKS || self.ran >= LET_GO_TIMES) => {
                self.help = Help::Begins;
            }
            Help::Begins => self.help = Help::Grows,
            Help::Grows if self.stands_for >= STAND_HELPED_TICKS => {
                (self.help, self.anchor, self.stands_for) = (Help::Over, self.place, 0);
            }
            Help::NotYet | Help::Grows | Help::Over => {}
        }
    }
}
