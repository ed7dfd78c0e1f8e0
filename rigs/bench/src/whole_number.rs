//! A whole number on the command line.
//!
//! In: a word. Out: the number. Refuses what is no whole number of the range, and says what is.

use std::ops::RangeInclusive;

/// Most runs of a campaign.
pub(crate) const MOST_RUNS: u64 = 100_000_000;

/// Reads whole numbers of a range.
pub(crate) fn whole<T: TryFrom<u64>>(
    range: RangeInclusive<u64>,
) -> impl Fn(&str) -> Result<T, String> + Clone + Send + Sync + 'static {
    move |word| {
        let number = word.parse().ok().filter(|number| range.contains(number));
        let refused = || format!("allowed: whole numbers from {} to {}", range.start(), range.end());
        number.and_then(|number| T::try_from(number).ok()).ok_or_else(refused)
    }
}
