//! The words for what a person or gauge confirms beyond the signals.

use firmware_core::learn::{Check, CheckSet};

/// The word that stands for every check.
const ALL: &str = "all";

/// The word for one check, as `--checked` takes it.
#[must_use]
pub(crate) fn check_word(check: Check) -> &'static str {
    match check {
        Check::LeverAttached => "lever-attached",
        Check::VanesFollow => "vanes-follow",
        Check::MinimumFlow => "minimum-flow",
        Check::Indexing => "indexing",
        Check::SensorScale => "sensor-scale",
    }
}

/// The words for several, as `--checked` takes them.
#[must_use]
pub(crate) fn check_words(checks: CheckSet) -> String {
    checks.iter().map(check_word).collect::<Vec<_>>().join(",")
}

/// Each check on a line of its own: its word and what to do.
#[must_use]
pub(crate) fn check_lines(checks: CheckSet) -> String {
    checks.iter().map(|check| format!("\n  {:<15} {}", check_word(check), check.text())).collect()
}

/// Reads one word of `--checked`.
///
/// # Errors
/// Lists the words.
pub(crate) fn parse_check(word: &str) -> Result<CheckSet, String> {
    if word == ALL {
        return Ok(CheckSet::ALL);
    }
    let known = Check::ALL.iter().find(|check| check_word(**check) == word);
    known
        .map(|check| CheckSet::NONE.with(*check))
        .ok_or_else(|| format!("allowed: {ALL}, {}", Check::ALL.map(check_word).join(", ")))
}

/// The checks that a record names by their texts; a text of another release stands for all of `otherwise`.
#[must_use]
pub(crate) fn checks_of_texts(texts: &[String], otherwise: CheckSet) -> CheckSet {
    texts.iter().fold(CheckSet::NONE, |open, text| {
        match Check::ALL.into_iter().find(|check| check.text() == text) {
            Some(check) => open.with(check),
            None => open.union(otherwise),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_word_reads_back_and_each_text_is_found_in_a_record() {
        for check in Check::ALL {
            let one = CheckSet::NONE.with(check);
            assert_eq!(parse_check(check_word(check)), Ok(one));
            assert_eq!(checks_of_texts(&[check.text().to_owned()], CheckSet::NONE), one);
        }
        assert_eq!(parse_check("all"), Ok(CheckSet::ALL));
        assert!(parse_check("eyes").is_err_and(|said| said.contains("minimum-flow")));
    }

    #[test]
    fn a_text_that_is_not_known_leaves_everything_open() {
        let open = checks_of_texts(&["look at it".to_owned()], CheckSet::ALL);
        assert_eq!(open, CheckSet::ALL);
    }
}
