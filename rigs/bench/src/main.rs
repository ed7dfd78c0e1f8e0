//! The `vanebench` command line.
fn main() {}
