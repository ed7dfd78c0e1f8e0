//! What is kept of a calibration, with its layout version in the first byte.

use sequential_storage::map::{SerializationError, Value};

use crate::held::Held;

/// Version of the stored layout; raised whenever [`Held`] or anything in it changes.
pub const LAYOUT_VERSION: u8 = 2;

/// A record as it lies in flash.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Stored {
    /// Of this build's layout, with the number of its save: the higher one is the newer.
    Known {
        /// Number of the save.
        number: u32,
        /// The record.
        record: Held,
    },
    /// Of another layout: kept, not read.
    Other {
        /// Its version.
        version: u8,
    },
}

impl<'a> Value<'a> for Stored {
    #[inline]
    fn serialize_into(&self, buffer: &mut [u8]) -> Result<usize, SerializationError> {
        let Self::Known { number, record } = self else { return Err(SerializationError::InvalidData) };
        let (version, rest) = buffer.split_first_mut().ok_or(SerializationError::BufferTooSmall)?;
        *version = LAYOUT_VERSION;
        let used = postcard::to_slice(&(number, record), rest).map_err(SerializationError::from)?.len();
        Ok(used.saturating_add(1))
    }

    #[inline]
    fn deserialize_from(buffer: &'a [u8]) -> Result<(Self, usize), SerializationError> {
        let (version, rest) = buffer.split_first().ok_or(SerializationError::InvalidFormat)?;
        if *version != LAYOUT_VERSION {
            return Ok((Self::Other { version: *version }, buffer.len()));
        }
        let (number, record) = postcard::from_bytes(rest).map_err(SerializationError::from)?;
        Ok((Self::Known { number, record }, buffer.len()))
    }
}
