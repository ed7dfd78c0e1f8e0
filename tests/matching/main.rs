//! Measured parts: sheets, figures and matching against textbook formulas.

mod compressor;
mod engine;
mod errors;
mod figures;
mod gauge;
mod geometry;
mod limits;
mod map;
mod published;
mod sheets;
mod six;
mod teardown;
mod wheel;
mod whole;
