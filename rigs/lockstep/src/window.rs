//! A message in the window: its length, then postcard items one after the other.

use serde::{Deserialize, Serialize};

/// Bytes of the length (little-endian) in front of a message.
pub const LENGTH_BYTES: usize = 4;
/// Most bytes of one item.
pub const ITEM_BYTES: usize = 96;

/// What is wrong with a message in the window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WindowError {
    /// An item does not fit.
    Full,
    /// An item does not decode, or is not all there.
    Garbled,
}

impl core::fmt::Display for WindowError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Full => "the message does not fit into the window",
            Self::Garbled => "the message does not decode: build image and tool from the same sources",
        })
    }
}

impl core::error::Error for WindowError {}

/// Encodes an item into `room`; gives the bytes used.
///
/// # Errors
/// [`WindowError::Full`].
pub fn encode<T: Serialize>(item: &T, room: &mut [u8]) -> Result<usize, WindowError> {
    postcard::to_slice(item, room).map(|used| used.len()).map_err(|_| WindowError::Full)
}

/// Decodes the item at the front of `bytes`; gives the bytes used.
///
/// # Errors
/// [`WindowError::Garbled`].
pub fn decode<'a, T: Deserialize<'a>>(bytes: &'a [u8]) -> Result<(T, usize), WindowError> {
    let (item, rest) = postcard::take_from_bytes(bytes).map_err(|_| WindowError::Garbled)?;
    Ok((item, bytes.len().saturating_sub(rest.len())))
}
