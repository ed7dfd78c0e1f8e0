//! Keeps settings and calibrations over a reset: the core's store on the board's flash.
//!
//! Prepared once at the start, which may erase; saved to between ticks and only at duty 0, which never does. The session
//! sees to the duty.

use core::ops::Range;

use embedded_storage::nor_flash::NorFlash;
use firmware_core::store::{Condition, Kept, Loaded, Store, StoreFault, StoreResult};

/// The store, where there is one.
pub struct Keep<F: NorFlash>(Option<Store<F>>);

impl<F: NorFlash> Keep<F> {
    /// Opens the store in a range of the flash and erases what later saves need erased.
    #[inline(never)]
    pub fn prepare(flash: Option<F>, range: Range<u32>) -> Self {
        Self(flash.and_then(|flash| Store::prepare(flash, range).ok()))
    }

    /// How the store stands.
    pub fn condition(&self) -> Option<Condition> {
        self.0.as_ref().map(Store::condition)
    }

    /// Reads what to start with into place; nothing where there is no record that can be used.
    #[inline(never)]
    pub fn load(&mut self, into: &mut Kept) -> Option<Loaded> {
        Some(self.0.as_mut()?.load(into))
    }

    /// Writes everything that is to be kept; says how that ended.
    #[inline(never)]
    pub fn save(&mut self, kept: &Kept) -> StoreResult {
        let Some(store) = self.0.as_mut() else { return StoreResult::Failed(StoreFault::None) };
        store.save(kept).map_or_else(StoreResult::Failed, |_| StoreResult::Written)
    }
}
