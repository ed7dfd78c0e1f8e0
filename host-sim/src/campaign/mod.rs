//! Many random worlds, one statistic.

pub mod guard;
