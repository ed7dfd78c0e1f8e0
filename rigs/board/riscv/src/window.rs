//! Where the memory lies that host and machine share. Read by both.

/// Offset in RAM of what was recorded: asks, each followed by its link bytes and samples, up to one that asks for nothing.
pub const ASKS_AT: u64 = 64 << 20;
/// Offset of what the machine answers: for each ask its ticks, how it stands, then its link bytes.
pub const ANSWERS_AT: u64 = 96 << 20;
/// Bytes of either.
pub const PART_BYTES: u64 = 32 << 20;
