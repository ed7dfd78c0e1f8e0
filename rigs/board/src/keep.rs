//! Keeps the calibration over a reset: the core's store on the board's flash.
//!
//! Called outside the tick and only at duty 0; the session sees to the duty. Flash on this board never waits,
//! so the store's futures are done at the first poll.

use embassy_futures::block_on;
use firmware_core::calibration::Setup;
use firmware_core::held::Held;
use firmware_core::link::state::StartReason;
use firmware_core::store::{Store, StoreError, StoreFault, StoreResult};

use crate::flash::Flash;
use crate::raw::STORE_BYTES;

/// Setups in the order in which a stored calibration is looked for: the most complete mounting first. The session
/// refuses to use it for another setup.
const SETUPS: [Setup; 3] = [Setup::OnEngine, Setup::Attached, Setup::Free];

/// The store, where there is one.
pub struct Keep(Option<Store<Flash>>);

impl Keep {
    /// Opens the store. After power-on its RAM holds chance, not flash, and is erased.
    pub fn open(started: StartReason) -> Self {
        let flash = Flash::take().map(|mut flash| {
            if started == StartReason::PowerOn {
                flash.erase_all();
            }
            flash
        });
        Self(flash.and_then(|flash| Store::try_new(flash, 0..STORE_BYTES as u32).ok()))
    }

    /// The record to start with.
    #[inline(never)]
    pub fn load(&mut self) -> Option<Held> {
        let store = self.0.as_mut()?;
        // One that cannot be read is as good as none: the host is told that the board is not calibrated.
        SETUPS.iter().find_map(|setup| block_on(store.load(*setup)).ok().flatten())
    }

    /// Writes a calibration; says how that ended.
    #[inline(never)]
    pub fn save(&mut self, held: &Held) -> StoreResult {
        let Some(store) = self.0.as_mut() else { return StoreResult::Failed(StoreFault::None) };
        match block_on(store.save(held)) {
            Ok(()) => StoreResult::Written,
            Err(
                StoreError::Range
                | StoreError::OtherVersion { .. }
                | StoreError::Flash
                | StoreError::Record,
            ) => StoreResult::Failed(StoreFault::Flash),
        }
    }
}
