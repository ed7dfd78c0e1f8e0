//! What boards share. In: devices behind traits. Out: a tick that ends with the duty at the bridge and the watchdog fed,
//! the link's turn between ticks, a store that outlives a reset, and word of how the last run ended.
//!
//! ```text
//!  timer's interrupt                       main loop
//!  samples ─▶ Ticker ─ duty ─▶ bridge      link port ─ bytes ─▶ Talker ─ bytes ─▶ link port
//!               └─ fed ─▶ watchdog                                └─ what is kept ─▶ Keep ─▶ flash
//! ```
//!
//! No address and no register: those are the board's.
#![no_std]
#![forbid(unsafe_code)]

mod identity;
mod keep;
mod last_words;
mod lever;
mod longest;
mod nor_ram;
mod ring;
mod sheet;
mod talker;
mod ticker;

pub use identity::short;
pub use keep::Keep;
pub use last_words::{LastEnd, LastWords, WORDS};
pub use lever::Lever;
pub use longest::Longest;
pub use nor_ram::{Flash, FlashError, SECTOR_BYTES};
pub use ring::{RING_BYTES, Ring};
pub use sheet::{FillingHand, SavingHand, SheetWays};
pub use talker::{LinkPort, Talker};
pub use ticker::{Clock, Ticker, Timed, Watchdog};
