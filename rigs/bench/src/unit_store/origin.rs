//! The mark that a board keeps beside a calibration, so that it can say which learn it came from.

use firmware_core::held::OriginTag;
use sha2::{Digest, Sha256};

use crate::record::{RunName, Serials};

/// Unit, serial numbers and run in one number: the first 8 bytes of their SHA-256.
#[must_use]
pub fn tag(unit: &str, serials: &Serials, run: RunName) -> OriginTag {
    let serial =
        |given: &Option<crate::short_text::ShortText>| given.as_ref().map_or_else(String::new, |s| s.key());
    let mut digest = Sha256::new();
    // A zero byte stands in no name: parts cannot run into each other.
    for part in [unit.to_lowercase(), serial(&serials.actuator), serial(&serials.turbo), run.to_string()] {
        digest.update(part.as_bytes());
        digest.update([0]);
    }
    let first = digest.finalize().into_iter().take(size_of::<u64>());
    OriginTag(first.fold(0, |number, byte| (number << 8) | u64::from(byte)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::RunKind;

    fn run(ordinal: u32) -> RunName {
        RunName { ordinal, kind: RunKind::Learn }
    }

    /// Reference: `printf 'u1\0\0\0%s\0' 0001-learn | sha256sum` of GNU coreutils.
    #[test]
    fn a_tag_is_the_start_of_a_sha_256() {
        let serials = Serials::default();
        assert_eq!(tag("u1", &serials, run(1)), OriginTag(0x3b678444bdacb4eb));
    }

    #[test]
    fn another_unit_serial_number_or_run_is_another_tag() {
        let plain = Serials::default();
        let actuator = Serials { actuator: "7".parse().ok(), turbo: None };
        let turbo = Serials { actuator: None, turbo: "7".parse().ok() };
        let tags = [
            tag("u1", &plain, run(1)),
            tag("u2", &plain, run(1)),
            tag("u1", &plain, run(2)),
            tag("u1", &actuator, run(1)),
            tag("u1", &turbo, run(1)),
        ];
        for (place, one) in tags.iter().enumerate() {
            assert!(tags.iter().skip(place + 1).all(|other| one != other), "{tags:?}");
        }
    }
}
