//! Which runs of a campaign one process makes: part K of N, in one piece.

use std::fmt;
use std::ops::Range;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// Most parts of a campaign.
const MOST_PARTS: u64 = 1_000_000;

/// Part K of N.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "KeptShare")]
pub struct Share {
    number: u64,
    of: u64,
}

/// A share as a file has it.
#[derive(Deserialize)]
struct KeptShare {
    number: u64,
    of: u64,
}

impl TryFrom<KeptShare> for Share {
    type Error = String;

    fn try_from(KeptShare { number, of }: KeptShare) -> Result<Self, String> {
        if (1..=of).contains(&number) && of <= MOST_PARTS {
            return Ok(Self { number, of });
        }
        Err(format!("allowed: K/N with K from 1 to N and N at most {MOST_PARTS}, such as 3/64"))
    }
}

impl Share {
    /// The whole campaign.
    pub const WHOLE: Self = Self { number: 1, of: 1 };

    /// The runs of this part, of a campaign of so many. All parts of one N together hold every run once; where
    /// there are fewer runs than parts, some parts hold none.
    #[must_use]
    pub fn runs(self, all: u64) -> Range<u64> {
        let edge = |parts: u64| (u128::from(all) * u128::from(parts) / u128::from(self.of)) as u64;
        edge(self.number - 1)..edge(self.number)
    }

    /// How many parts there are.
    #[must_use]
    pub fn of(self) -> u64 {
        self.of
    }

    /// Another part of the same N.
    #[must_use]
    pub(super) fn sibling(self, number: u64) -> Self {
        Self { number, of: self.of }
    }
}

impl fmt::Display for Share {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.number, self.of)
    }
}

impl FromStr for Share {
    type Err = String;

    fn from_str(word: &str) -> Result<Self, String> {
        let numbers = word.split_once('/').and_then(|(k, n)| Some((k.parse().ok()?, n.parse().ok()?)));
        // What is no pair of numbers is refused as part 0 of 0 is.
        let (number, of) = numbers.unwrap_or((0, 0));
        Self::try_from(KeptShare { number, of })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_parts_of_any_number_hold_every_run_once() {
        for (all, of) in [(1, 1), (5, 7), (270, 64), (100_000_000, 999_999)] {
            let mut next = 0;
            for number in 1..=of {
                let runs = Share { number, of }.runs(all);
                assert_eq!(runs.start, next);
                next = runs.end;
            }
            assert_eq!(next, all);
        }
    }

    #[test]
    fn only_parts_that_can_be_are_taken() {
        assert_eq!("3/64".parse(), Ok(Share { number: 3, of: 64 }));
        for word in ["", "3", "0/4", "5/4", "1/0", "-1/4", "1/4/2", "1/1000001", " 1/2"] {
            assert!(word.parse::<Share>().is_err(), "{word}");
        }
        let kept = |text| serde_json::from_str::<Share>(text);
        assert_eq!(kept(r#"{"number":3,"of":64}"#).unwrap(), Share { number: 3, of: 64 });
        for text in [r#"{"number":1,"of":0}"#, r#"{"number":0,"of":4}"#, r#"{"number":5,"of":4}"#] {
            assert!(kept(text).is_err(), "{text}");
        }
    }
}
