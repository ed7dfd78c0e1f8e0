//! The guard in random worlds: does boost, turbo speed or exhaust pressure ever pass its limit?
//!
//! In: controller settings, how many worlds, a seed. Out: one [`Row`] per named fault, with the highest
//! boost and speed seen, the slowest reaction and every loss by name. A world is held (limits kept), or
//! lost for a reason that lies outside the controller (no actuator and no fuel cut, no sensor that could
//! know), or unhandled. Unhandled must stay at zero. Refuses worlds that do not validate.

mod demand;
mod fault;
mod run;
mod table;

pub use fault::{DrawnWorld, GuardFault};
pub use run::{PassedWhy, WorldFigures, WorldVerdict, run_one};
pub use table::{Row, Table};

use firmware_core::settings::Settings;
use rayon::prelude::*;

use plant::world::Diverged;

/// Worlds of a campaign.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GuardCampaign {
    /// Controller under test.
    pub settings: Settings,
    /// How many worlds; the named faults take turns.
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
