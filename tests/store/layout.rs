//! What a record takes, and records of another layout.

use firmware_core::settings::Settings;
use firmware_core::store::{
    FoundRecord, Kept, LAYOUT_VERSION, RangeError, SAVE_BYTES_MAX, SECTOR_BYTES_MIN, Store, StoreFault,
};
use serde_json::Value;

use super::records::{held, kept};
use super::{Large, Small, found, start};

/// Every whole number as large as postcard can make it: 3 bytes for 16 bits.
fn widened(value: &mut Value) {
    match value {
        Value::Number(number) if number.is_u64() => *value = i16::MAX.into(),
        Value::Array(list) => list.iter_mut().for_each(widened),
        Value::Object(fields) => fields.values_mut().for_each(widened),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

#[test]
fn the_largest_record_fits_a_slot() {
    let mut value = serde_json::to_value(Settings::DEFAULT).unwrap();
    widened(&mut value);
    let settings: Settings = serde_json::from_value(value).unwrap();
    let [free, attached, on_engine] = [
        firmware_core::calibration::Setup::Free,
        firmware_core::calibration::Setup::Attached,
        firmware_core::calibration::Setup::OnEngine,
    ]
    .map(|setup| Some(held(setup, 0)));
    let largest = Kept { settings: Some(settings), held: [free, attached, on_engine] };
    let mut store = start(Large::erased());
    let blank = store.flash().bytes.clone();
    store.save(&largest).unwrap();
    let programmed = store.flash().bytes.iter().zip(&blank).filter(|(now, before)| now != before).count();
    println!("largest record: about {programmed} bytes of {SAVE_BYTES_MAX}");
}

#[test]
fn all_that_is_kept_comes_back_over_a_restart() {
    for number in 0..16 {
        let mut store = start(Small::erased());
        store.save(&kept(number)).unwrap();
        assert_eq!(found(&mut start(store.into_flash())), kept(number));
    }
}

/// Behind a head as large as the tail.
const FIRST_SLOT: usize = (SECTOR_BYTES_MIN - 2 * SAVE_BYTES_MAX) as usize / 2;

/// CRC-32/ISO-HDLC of crate crc, to write a foot that this build did not write.
fn with_layout(flash: &mut Small, layout: u8) {
    let start = FIRST_SLOT;
    let end = start + SAVE_BYTES_MAX as usize;
    let mut slot = flash.bytes[start..end].to_vec();
    let foot = slot.len() - 12;
    let length = usize::from(u16::from_le_bytes([slot[foot + 4], slot[foot + 5]]));
    assert_eq!(slot[foot + 6], LAYOUT_VERSION);
    slot[foot + 6] = layout;
    let last_block = slot.len() - 32..slot.len() - 4;
    let covered = [&slot[..length], &slot[last_block]].concat();
    let check = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&covered);
    slot[foot + 8..].copy_from_slice(&check.to_le_bytes());
    flash.damage(start, &slot);
}

#[test]
fn a_record_of_another_layout_is_named_and_stays_until_the_next_save() {
    let mut store = start(Small::erased());
    store.save(&kept(1)).unwrap();
    let mut flash = store.into_flash();
    with_layout(&mut flash, LAYOUT_VERSION);
    assert_eq!(found(&mut start(flash.clone())), kept(1), "the foot is written as the store writes it");
    with_layout(&mut flash, LAYOUT_VERSION + 1);
    for _ in 0..3 {
        let mut store = start(flash);
        assert_eq!(
            store.load(&mut kept(9)).found,
            FoundRecord::OtherLayout { found: LAYOUT_VERSION + 1, known: LAYOUT_VERSION }
        );
        flash = store.into_flash();
    }
    let mut store = start(flash);
    store.save(&kept(2)).unwrap();
    assert_eq!(found(&mut start(store.into_flash())), kept(2));
}

#[test]
fn a_record_with_a_setting_out_of_range_is_not_used() {
    let mut record = kept(1);
    if let Some(settings) = &mut record.settings {
        settings.actuator.winding_resistance_ohm = 900.0;
    }
    let mut store = start(Small::erased());
    store.save(&record).unwrap();
    assert_eq!(store.load(&mut kept(9)).found, FoundRecord::NotAllowed);
}

#[test]
fn a_byte_that_takes_no_data_is_told_and_the_next_save_goes_elsewhere() {
    let mut store = start(Small::erased());
    store.save(&kept(1)).unwrap();
    let mut flash = store.into_flash();
    // In the second slot, and programmed by any record.
    flash.dead_byte = Some(FIRST_SLOT + SAVE_BYTES_MAX as usize + 200);
    let mut store = start(flash);
    assert_eq!(store.save(&kept(2)), Err(StoreFault::ReadBack));
    assert_eq!(found(&mut store), kept(1));
    assert!(store.save(&kept(2)).is_ok());
    assert_eq!(found(&mut start(store.into_flash())), kept(2));
}

#[test]
fn a_range_that_holds_no_two_sectors_is_refused_by_its_cause() {
    let refusal = |range| Store::prepare(Small::erased(), range).err();
    assert_eq!(refusal(0..8192), None);
    assert_eq!(refusal(0..8200), Some(RangeError::OutOfFlash));
    assert_eq!(refusal(std::ops::Range { start: 8192, end: 0 }), Some(RangeError::OutOfFlash));
    assert_eq!(refusal(8..8184), Some(RangeError::NotWholePages));
    assert_eq!(refusal(0..6144), Some(RangeError::NotWholePages));
    assert_eq!(refusal(0..4096), Some(RangeError::TooSmall { half: 2048 }));
}
