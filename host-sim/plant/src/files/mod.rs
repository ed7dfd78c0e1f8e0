//! The one way to read a file that someone else may have made, and the one way to write a file.
//!
//! Reading is bounded: a device, a pipe, a folder or a file past the limit is refused at once. Writing is
//! whole or not at all, follows links, and writes into devices and pipes without replacing them.

mod read;
mod write;

pub use read::{ReadError, TOML_LIMIT, bytes_of, text_of};
pub use write::{WriteError, write_together, write_whole};
