//! The link: bytes, frames, talks, and the pseudo-terminal.

mod messages;
mod pty;
mod support;
mod talk;
mod types;
mod vectors;
mod wire;
