//! What a calibration in doubt takes away from an engine: the turbo must stay safe with a stop that may lie elsewhere.
//!
//! In: how often it was doubted. Out: more reserve at both ends, a larger least opening, and from
//! [`LIMP_REFUSALS`] on limp mode with less fuel.

use crate::calibration::Calibration;
use crate::guard::FuelRequest;
use crate::sample::Mode;
use crate::units::{Load, Opening};

/// Refused or cut learns after which an engine only limps: one may be the battery, two a bad minute, three are the
/// unit (common practice, no source).
pub const LIMP_REFUSALS: u8 = 3;
/// Openings kept away from either end under a suspended calibration: the widest relearn window that settings can
/// hold, so that a stop which moved as far as that is still not run into.
const END_RESERVE: f32 = 0.05;
/// Added to every least opening: twice the end reserve, because closing too far is what over-boosts.
const LEAST_OPENING_RAISE: f32 = 2.0 * END_RESERVE;

/// How far the calibration in use is doubted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Doubt {
    /// Not at all.
    #[default]
    None,
    /// A later learn was refused or cut: more reserve.
    Reserve,
    /// So many were that the vanes stay at a safe opening.
    Limp,
}

impl Doubt {
    /// Of a calibration that so many later learns did not confirm.
    #[must_use]
    pub fn of_refusals(refusals: u8) -> Self {
        match refusals {
            0 => Self::None,
            1..LIMP_REFUSALS => Self::Reserve,
            LIMP_REFUSALS.. => Self::Limp,
        }
    }

    /// The calibration with the reserve at both ends that this doubt asks for.
    pub(super) fn reserved(self, calibration: Calibration) -> Calibration {
        match self {
            Self::None => calibration,
            Self::Reserve | Self::Limp if calibration.clearance.get() < END_RESERVE => {
                Calibration { clearance: Opening::saturating(END_RESERVE, Opening::OPEN), ..calibration }
            }
            Self::Reserve | Self::Limp => calibration,
        }
    }

    /// What the vanes are used for, whatever the engine asks.
    pub(super) fn mode(self, asked: Mode) -> Mode {
        match self {
            Self::None | Self::Reserve => asked,
            Self::Limp => Mode::Limp,
        }
    }

    /// By how much every least opening is raised.
    pub(super) fn raise(self) -> f32 {
        match self {
            Self::None => 0.0,
            Self::Reserve | Self::Limp => LEAST_OPENING_RAISE,
        }
    }

    /// The fuel that may be had: never more than was asked for.
    pub(super) fn fuel(self, asked: FuelRequest, derate: Load) -> FuelRequest {
        match (self, asked) {
            (Self::None | Self::Reserve, _) | (Self::Limp, FuelRequest::Cut) => asked,
            (Self::Limp, FuelRequest::LimitTo(limit)) if limit < derate => asked,
            (Self::Limp, FuelRequest::Free | FuelRequest::LimitTo(_)) => FuelRequest::LimitTo(derate),
        }
    }
}
