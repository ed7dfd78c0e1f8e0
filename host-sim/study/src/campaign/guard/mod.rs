//! The guard in random worlds: does boost, turbo speed or exhaust pressure ever pass its limit?
//!
//! In: controller settings, how many worlds, a seed. Out: one [`Row`] per named fault, and what crippling each
//! of the guard's parameters does to the same worlds. A world ends quiet, in time, too late or undetected; a
//! loss carries the cause that its own run shows. Faults and demands are drawn evenly, not by how often they
//! come in service: shares are shares of draws, no diagnostic coverage. Refuses worlds that do not validate.

mod ablation;
mod demand;
mod ending;
mod fault;
mod run;
mod sound;
mod table;
mod watch;

pub use ablation::{AblationRow, ablation};
pub use demand::{Drive, DriveKind};
pub use ending::{LossCause, WorldEnding, WorldFigures};
pub use fault::{DrawnWorld, GuardFault};
pub use run::run_one;
pub use sound::{SoundHours, sound_hours};
pub use table::{Row, Table};

use firmware_core::settings::Settings;
use rayon::prelude::*;

use plant::world::Diverged;

/// Worlds of a campaign.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GuardCampaign {
    /// Controller under test.
    pub settings: Settings,
    /// How many worlds; the named faults take turns, and for each of them the kinds of drive.
    pub worlds: u32,
    /// Seed of the whole campaign: the same seed gives the same table.
    pub seed: u64,
}

/// Why a campaign stopped.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GuardCampaignError {
    /// A drawn world was refused.
    #[error(
        "world {index}: {reason}; allowed: worlds that validate; narrow the draw in campaign/guard/fault.rs"
    )]
    World {
        /// Number of the world, from 0.
        index: u32,
        /// What was refused.
        reason: String,
    },
    /// A world ran away.
    #[error("world {index}: {reason}")]
    Diverged {
        /// Number of the world, from 0.
        index: u32,
        /// Where and when.
        reason: Diverged,
    },
}

/// Runs all worlds, on all processors; the table does not depend on their number.
///
/// # Errors
/// The first world that was refused or ran away.
pub fn run(campaign: &GuardCampaign) -> Result<Table, GuardCampaignError> {
    let outcomes: Vec<WorldFigures> = (0..campaign.worlds)
        .into_par_iter()
        .map(|index| run_one(campaign, index))
        .collect::<Result<_, _>>()?;
    Ok(Table::of(&outcomes))
}
