//! The guard in random worlds: does boost, turbo speed or exhaust pressure ever pass its limit?
//!
//! In: controller settings, how many worlds, a seed. Out: one [`FaultRow`] per named fault, and what crippling each
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
pub use demand::{DrawnDrive, DriveKind};
pub use ending::{LossCause, WorldEnding, WorldFigures};
pub use fault::{DrawnWorld, GuardFault};
pub use run::run_one;
pub use sound::{SoundHours, sound_hours};
pub use table::{FaultRow, FaultTable};

use std::ops::Range;

use firmware_core::settings::Settings;

use super::part::{Asks, Marks};
use super::part_error::PartError;
use super::tally::count;
use super::{Next, PartOrder, Progress, SoFar};
use plant::world::Diverged;

/// Worlds in a chunk, the unit of work: a tenth of a second.
const CHUNK: u64 = 8;

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
    /// The file that keeps the part.
    #[error(transparent)]
    Part(#[from] PartError),
}

/// Runs a part of all worlds, on all processors; the table does not depend on their number.
///
/// # Errors
/// The first world that was refused or ran away, or a file that cannot be used.
pub fn run(
    campaign: &GuardCampaign,
    job: &PartOrder<'_>,
    watch: impl FnMut(Progress) -> Next + Send,
) -> Result<SoFar<FaultTable>, GuardCampaignError> {
    let worlds = u64::from(campaign.worlds);
    let marks = Marks::new(worlds).with_sum_of("settings", &campaign.settings).with("seed", campaign.seed);
    let some = |worlds: Range<u64>| {
        let outcomes: Result<Vec<_>, _> = worlds.map(|world| run_one(campaign, world as u32)).collect();
        Ok(FaultTable::of(&outcomes?))
    };
    count((Asks::Guard, marks, worlds), CHUNK, job, some, watch)
}
