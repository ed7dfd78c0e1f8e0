//! Where closing further loses boost instead of raising it.
//!
//! In: whether the trim stands at its least opening, and boost. Out: by how much that opening is raised. With the
//! recirculation valve open the reversal lies further open than the map of least openings knows, and boost that is short
//! there holds the trim on the wrong side. So while boost stands still at the trim's least opening, that opening is raised for
//! as long as boost gains, and lowered again for as long as that gains.

use crate::units::larger;

/// Memory of the search.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct GainReversal {
    raise: f32,
    search: Search,
    /// Ticks since boost was looked at.
    ticks: u16,
    /// Looks in a row that gained nothing.
    vain: u8,
    /// Boost at the last look, kPa.
    boost: f32,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Search {
    /// Boost may still be on its way.
    #[default]
    Waits,
    Opens,
    /// Closes again, and what was lost by opening too far is still on its way.
    Turns,
    Closes,
    /// Neither way gains.
    Rests,
}

/// Ticks between two looks at boost: a third of the air path's time constant.
const LOOK_TICKS: u16 = 250;
/// Looks in vain after which a way is given up: boost follows the vanes by a time constant.
const VAIN_LOOKS: u8 = 4;
/// The same on the way back, which is half as fast.
const TURN_LOOKS: u8 = 2 * VAIN_LOOKS;
/// The same once it gains: near the most boost a look may gain less than noise.
const CLOSE_LOOKS: u8 = 2;
/// Ticks for which the vanes rest at what was found: long against the search, short against a drive.
const REST_TICKS: u16 = 10_000;
/// Opening in a tick on the way open: 0.08 a second.
const OPENS: f32 = 8.0e-5;
/// Opening in a tick on the way back, slower so that less is overrun.
const CLOSES: f32 = 4.0e-5;
/// Opening that the way back overruns before boost shows it: a second of it.
const OVERRUN: f32 = 0.04;
/// Opening in a tick by which the raise falls while the trim has room: gone in some seconds.
const FALL: f32 = 2.0e-5;
/// Boost that changes less than this between two looks stands still, kPa.
const STILL_KPA: f32 = 0.3;
/// A gain smaller than this is noise, kPa: three times what the filter leaves of it.
const GAIN_KPA: f32 = 0.1;
/// Loss that ends the way open at once, kPa.
const LOSS_KPA: f32 = 0.4;

impl GainReversal {
    /// By how much the least opening is raised.
    #[inline(always)]
    pub(super) fn raise(&self) -> f32 {
        self.raise
    }

    /// Nobody trims: what was found is of no use.
    pub(super) fn forget(&mut self) {
        *self = Self::default();
    }

    /// The trim has room.
    #[inline(always)]
    pub(super) fn leave(&mut self) {
        if self.raise > 0.0 || self.ticks > 0 {
            *self = Self { raise: larger(self.raise - FALL, 0.0), ..Self::default() };
        }
    }

    /// The trim stands at its least opening.
    pub(super) fn tick(&mut self, boost: f32) {
        self.ticks = self.ticks.saturating_add(1);
        self.raise += match self.search {
            Search::Waits | Search::Rests => 0.0,
            Search::Opens => OPENS,
            Search::Turns | Search::Closes => -CLOSES,
        };
        let due = if self.search == Search::Rests { REST_TICKS } else { LOOK_TICKS };
        if self.raise < 0.0 {
            (self.raise, self.search, self.ticks) = (0.0, Search::Rests, 0);
        } else if self.ticks >= due {
            self.look(boost);
        }
    }

    #[inline(never)]
    fn look(&mut self, boost: f32) {
        let gained = boost - self.boost;
        let gains = gained > GAIN_KPA;
        (self.ticks, self.boost) = (0, boost);
        self.vain = if gains { 0 } else { self.vain.saturating_add(1) };
        let is_in_vain = self.vain >= VAIN_LOOKS;
        let next = match self.search {
            Search::Waits if libm::fabsf(gained) <= STILL_KPA => Search::Opens,
            Search::Opens if is_in_vain || gained < -LOSS_KPA => Search::Turns,
            Search::Turns if gains => Search::Closes,
            // Back where the way open began.
            Search::Turns if self.vain >= TURN_LOOKS => Search::Rests,
            Search::Closes if self.vain >= CLOSE_LOOKS => {
                self.raise += OVERRUN;
                Search::Rests
            }
            Search::Rests => Search::Waits,
            Search::Waits | Search::Opens | Search::Turns | Search::Closes => self.search,
        };
        if next != self.search {
            (self.search, self.vain) = (next, 0);
        }
    }
}
