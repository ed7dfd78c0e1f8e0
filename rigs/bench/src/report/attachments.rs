//! What a person attached to a unit, in its report: named with its hash, and shown where it is a small picture.
//!
//! In: the unit's folder. Out: a [`Section`]. A file is shown only when its first bytes say PNG or JPEG, it is what was
//! attached, and it is small; nothing else of a file ever enters the page.

use std::path::Path;

use data_encoding::BASE64;

use super::section::{AttachedPicture, Section, Table};
use crate::record::{Attached, RecordError, attached, attached_bytes};

/// Most bytes of a picture that is shown, and of all together: a report stays small enough to be sent.
const MOST_BYTES: usize = 1 << 20;
const MOST_BYTES_IN_ALL: usize = 4 << 20;
/// Most points of a picture that is shown: a few bytes can unfold to any size.
const MOST_POINTS: u64 = 50_000_000;

/// What was attached to the unit; nothing where nothing was.
///
/// # Errors
/// When the unit's log or folder cannot be read.
pub(crate) fn section_of(unit_dir: &Path) -> Result<Option<Section>, RecordError> {
    let attached = attached(unit_dir)?;
    if attached.is_empty() {
        return Ok(None);
    }
    let mut table = Table::new(&["file", "what it shows", "by", "on", "SHA-256", "here"]);
    let (mut pictures, mut bytes_shown) = (Vec::new(), 0);
    for file in &attached {
        let here = match attached_bytes(unit_dir, file)? {
            Err(trouble) => trouble.to_string(),
            Ok(bytes) => match picture(file, &bytes, MOST_BYTES_IN_ALL - bytes_shown) {
                Ok(picture) => {
                    bytes_shown += bytes.len();
                    pictures.push(picture);
                    "shown".to_owned()
                }
                Err(why) => why.to_owned(),
            },
        };
        let Attached { name, sha256, by, note, on } = file;
        table = table.row([name, &note.to_string(), &by.to_string(), on, &sha256.to_string(), &here]);
    }
    let section = Section::new("Attached to the unit")
        .text(
            "Copies are in the unit's folder, under attached/; the hash shows whether a copy has changed \
             since.",
        )
        .table(table);
    Ok(Some(pictures.into_iter().fold(section, Section::picture)))
}

/// The file as a picture, or why it is only named.
fn picture(file: &Attached, bytes: &[u8], room: usize) -> Result<AttachedPicture, &'static str> {
    let (mime, points) = kind(bytes).ok_or("named only: not a PNG or JPEG")?;
    if bytes.len() > MOST_BYTES || points > MOST_POINTS {
        return Err("named only: too large to show");
    }
    if bytes.len() > room {
        return Err("named only: enough pictures are shown");
    }
    Ok(AttachedPicture { mime, base64: BASE64.encode(bytes), note: file.note.to_string() })
}

/// What the first bytes say it is, and how many points it has.
fn kind(bytes: &[u8]) -> Option<(&'static str, u64)> {
    if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        let side = |at: usize| Some(u64::from(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?)));
        return Some(("image/png", side(16)?.checked_mul(side(20)?)?));
    }
    bytes.starts_with(b"\xff\xd8\xff").then(|| Some(("image/jpeg", jpeg_points(bytes)?)))?
}

/// Height times width, from the first frame header (ITU-T T.81, B.2.2).
fn jpeg_points(bytes: &[u8]) -> Option<u64> {
    const NO_FRAME: [u8; 3] = [0xc4, 0xc8, 0xcc];
    let word = |at: usize| Some(u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?));
    let mut at = 2;
    loop {
        let &[0xff, marker] = bytes.get(at..at + 2)? else { return None };
        if (0xc0..=0xcf).contains(&marker) && !NO_FRAME.contains(&marker) {
            return Some(u64::from(word(at + 5)?) * u64::from(word(at + 7)?));
        }
        at += 2 + usize::from(word(at + 2)?);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Header of a PNG (ISO/IEC 15948, 5.2 and 11.2.2) of these sides.
    fn png(width: u32, height: u32) -> Vec<u8> {
        [&b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR"[..], &width.to_be_bytes(), &height.to_be_bytes()].concat()
    }

    /// Start, an application segment, a frame header (ITU-T T.81, B.2).
    fn jpeg(width: u16, height: u16) -> Vec<u8> {
        let frame = [&b"\xff\xc0\0\x0b\x08"[..], &height.to_be_bytes(), &width.to_be_bytes()].concat();
        [&b"\xff\xd8\xff\xe0\0\x04ab"[..], &frame].concat()
    }

    #[test]
    fn only_small_png_and_jpeg_by_their_first_bytes_are_shown() {
        let file = Attached {
            name: "0001-x.png".into(),
            sha256: crate::record::Sha256Hex::none(),
            by: "A".parse().unwrap(),
            note: "soot".parse().unwrap(),
            on: String::new(),
        };
        let shown = |bytes: &[u8]| picture(&file, bytes, MOST_BYTES_IN_ALL).map(|picture| picture.mime);
        assert_eq!(shown(&png(640, 480)), Ok("image/png"));
        assert_eq!(shown(&jpeg(640, 480)), Ok("image/jpeg"));
        for no_picture in
            [&b"<svg onload=alert(1)>"[..], b"<html>", b"GIF89a", b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"]
        {
            assert_eq!(shown(no_picture), Err("named only: not a PNG or JPEG"));
        }
        let long = [png(640, 480), vec![0; MOST_BYTES]].concat();
        for large in [png(65_000, 65_000), png(u32::MAX, u32::MAX), jpeg(65_000, 65_000), long] {
            assert_eq!(shown(&large), Err("named only: too large to show"));
        }
        assert_eq!(picture(&file, &png(640, 480), 10).err(), Some("named only: enough pictures are shown"));
    }

    #[test]
    fn a_segment_of_no_length_does_not_hold_the_reader_up() {
        assert_eq!(jpeg_points(b"\xff\xd8\xff\xe0\0\0\xff\xe0\0\0"), None);
    }
}
