//! What the outside checks share: where reference data lies and how near is near enough.

use std::path::PathBuf;

/// Folder with the committed reference data and the scripts that made it.
#[must_use]
pub fn reference_dir() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference")
}

/// Asserts that `got` lies within `relative` of `want` (relative to `want`, or absolute where `want` is 0).
///
/// # Panics
/// When it does not; the message names both values and the difference.
#[track_caller]
pub fn assert_near(what: &str, got: f64, want: f64, relative: f64) {
    let scale = if want == 0.0 { 1.0 } else { want.abs() };
    let error = (got - want).abs() / scale;
    assert!(
        error <= relative,
        "{what}: got {got}, source says {want}, off by {error:.3e} (allowed {relative:.1e})"
    );
}

/// Cases of a property that takes long: as many as `PROPTEST_CASES` says, else so few.
#[must_use]
pub fn cases(quick: u32) -> u32 {
    std::env::var("PROPTEST_CASES").ok().and_then(|cases| cases.parse().ok()).unwrap_or(quick)
}
