//! The store against a flash with a device's own rules: power cuts, damage, time, wear.
//!
//! Outside checks: rules and times of NOR flash as microcontrollers' data sheets give them (`store/flash.rs` names
//! each), the trait's own contract (crate embedded-storage: a page is undefined after a cut erase, a word after a cut
//! write), the exact bounds of what no failure in N can show (Clopper and Pearson, Biometrika 26, 1934).

mod corruption;
mod flash;
mod layout;
mod power_cut;
mod records;
mod refusal;
mod time;

use embedded_storage::nor_flash::NorFlash;
use firmware_core::store::{FoundRecord, Kept, Store};
use flash::Flash;

/// Two sectors of 16 KB, words of 4 bytes: as the STM32F405's.
type Large = Flash<4, 16_384, 32_768>;
/// The least that is a store: two slots to a sector, each sector of two pages, words of 8 bytes.
type Small = Flash<8, 2048, 8192>;
/// The widest words that fit.
type Wide = Flash<32, 4096, 8192>;

/// Switches on with this flash.
fn start<F: NorFlash>(flash: F) -> Store<F> {
    let size = flash.capacity() as u32;
    Store::prepare(flash, 0..size).expect("the range holds a store")
}

/// What a store gives; one that holds nothing and none at all are the same to the board.
fn found<F: NorFlash>(store: &mut Store<F>) -> Kept {
    let mut kept = Kept::NOTHING;
    match store.load(&mut kept).found {
        FoundRecord::Kept | FoundRecord::Nothing => kept,
        other @ (FoundRecord::OtherLayout { .. } | FoundRecord::NotAllowed) => {
            panic!("never saved: {other:?}")
        }
    }
}
