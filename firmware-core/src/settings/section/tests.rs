//! Sections, there and back.

extern crate std;
use std::string::ToString;

use super::*;
use crate::units::Kilopascal;

#[test]
fn every_section_fits_a_frame_and_all_of_them_rebuild_the_settings() {
    let mut sent = Settings::default();
    sent.guard.limits.boost = Kilopascal(250.0);
    sent.limits.heat_time_s = 33.0;
    sent.target.feed_forward.0[5][5] = 0.125;
    let mut received = Settings::default();
    for section in sent.sections() {
        let mut frame = [0; MAX_SECTION_BYTES];
        let bytes = postcard::to_slice(&section, &mut frame).unwrap();
        received.apply(&postcard::from_bytes(bytes).unwrap()).unwrap();
    }
    assert_eq!(received, sent);
}

#[test]
fn a_change_of_any_number_shows_in_one_of_the_pieces() {
    let sound = Settings::default();
    for section in sound.sections() {
        let (mut section, mut rows) = (section, 0);
        section.with_rows(&mut |fields, _| rows = fields.len());
        for row in 0..rows {
            let (mut changed, mut is_number) = (section, true);
            changed.with_rows(&mut |fields, _| match &mut fields[row] {
                WireField::Real(value) => **value += 1.0,
                WireField::Short(value) => **value += 1,
                WireField::List(values) | WireField::Rising(values, _) => values[0] += 1.0,
                _ => is_number = false,
            });
            let mut settings = sound;
            settings.put(&changed);
            let shows = (0..Settings::PIECES).any(|piece| !sound.is_same_in(piece, &settings));
            assert_eq!(shows, is_number, "section {}, row {row}", section.index());
        }
    }
}

#[test]
fn a_section_knows_its_number() {
    let settings = Settings::default();
    assert!(settings.sections().map(|section| section.index()).eq(0..SECTIONS));
}

#[test]
fn a_refused_section_leaves_the_settings_as_they_were() {
    let mut settings = Settings::default();
    let mut limits = settings.limits;
    limits.heat_time_s = f32::NAN;
    let refusal = settings.apply(&SettingsSection::Limits(limits)).unwrap_err();
    assert_eq!(refusal.field.to_string(), "limits.heat_time_s");
    assert_eq!(settings, Settings::default());
}
