//! The talk between bench tool and board: frame types, framing and sample batches, for both ends.
//!
//! ```text
//! message ─ postcard ─▶ [version, talk, sequence, message] ─ CRC-16 ─▶ COBS ─▶ 00 … 00 ─▶ line
//! ```
//!
//! [`codec`] turns messages into bytes and bytes into messages or a counted [`codec::FrameError`];
//! [`message`], [`state`] and [`refusal`] are the vocabulary; [`point`] and [`batch`] pack samples;
//! [`talk`] tells whose frame is whose; [`sequence`] sees loss.
//! `firmware-core/WIRE.md` says the same for a reader in another language, and its
//! byte examples are tests. The order of enum variants and fields is the wire format: append, never
//! reorder, and raise [`PROTOCOL_VERSION`] when an old reader would misread.

pub mod batch;
pub mod codec;
pub mod message;
pub mod note;
pub mod point;
pub mod refusal;
pub mod self_test;
pub mod sequence;
pub mod state;
pub mod talk;

pub use batch::Batch;
pub use codec::{Content, Decoder, FrameError, MessageError, encode};
pub use message::{ToBoard, ToHost};
pub use point::Point;
pub use refusal::{Outcome, Refusal};
pub use self_test::{SelfCheck, SelfTest};
pub use sequence::{LinkCounters, SequenceCheck};
pub use state::{Drive, Identity, Pacing, Source, StreamState, Welcome};
pub use talk::{Belonging, End, Head, Talk};

/// First byte of every frame. A board refuses frames of any other version and says which one it speaks.
pub const PROTOCOL_VERSION: u8 = 7;

/// Ticks without a host frame after which the drive is released (dead-man): longer than the pauses of a
/// USB adapter, short enough to let go of a finger. Common practice, no source.
pub const DRIVE_LEASE_TICKS: u32 = 500;
