//! Where results are written that a person named with `--out`: only over what this tool made itself.
//!
//! A file says inside who made it; a folder holds a marker file, which lists what was made in it. Anything
//! else is refused with what was found; devices and pipes take what they are given.

mod file;
mod folder;

pub(crate) use file::MADE_BY;
pub(crate) use file::{may_write, write_file};
pub use folder::{Maker, OutFolder};
