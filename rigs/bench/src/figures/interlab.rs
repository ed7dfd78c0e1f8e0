//! Repeatability and reproducibility of a method after ISO 5725-2.
//!
//! In: equally many readings of the same thing from each of several groups (benches, operators, mountings).
//! Out: the standard deviations within groups, between groups and both, and the limits r and R which two
//! single readings should exceed only once in twenty. Groups of different size are refused.

use super::mean;

/// Factor from standard deviation to the limit of a difference at 95 %: 1.96 √2, rounded as ISO 5725-6 does.
pub const LIMIT_FACTOR: f64 = 2.8;

/// Precision of a method.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Precision {
    /// Standard deviation within a group (s_r).
    pub repeatability: f64,
    /// Standard deviation between groups (s_L).
    pub between: f64,
    /// Both together (s_R).
    pub reproducibility: f64,
}

/// Why readings give no precision.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PrecisionError {
    /// Fewer than two groups, or fewer than two readings in a group.
    #[error("{groups} groups of {readings} readings; at least 2 groups of 2 are needed")]
    TooFew {
        /// Groups seen.
        groups: usize,
        /// Readings in the first.
        readings: usize,
    },
    /// Group sizes differ, or a reading is not a number.
    #[error("group {group} has another number of readings than the first, or one that is not a number")]
    Ragged {
        /// Group, from 0.
        group: usize,
    },
}

impl Precision {
    /// Repeatability limit r.
    #[must_use]
    pub fn repeatability_limit(&self) -> f64 {
        LIMIT_FACTOR * self.repeatability
    }

    /// Reproducibility limit R.
    #[must_use]
    pub fn reproducibility_limit(&self) -> f64 {
        LIMIT_FACTOR * self.reproducibility
    }

    /// Precision from `groups[group][reading]`.
    pub fn try_from_groups(groups: &[Vec<f64>]) -> Result<Self, PrecisionError> {
        let readings = groups.first().map_or(0, Vec::len);
        if groups.len() < 2 || readings < 2 {
            return Err(PrecisionError::TooFew { groups: groups.len(), readings });
        }
        let sound = |g: &Vec<f64>| g.len() == readings && g.iter().all(|v| v.is_finite());
        if let Some(group) = groups.iter().position(|g| !sound(g)) {
            return Err(PrecisionError::Ragged { group });
        }
        let (p, n) = (groups.len() as f64, readings as f64);
        let means: Vec<_> = groups.iter().map(|g| mean(g)).collect();
        let grand = mean(&means);
        let within: f64 =
            groups.iter().zip(&means).flat_map(|(g, m)| g.iter().map(move |v| (v - m) * (v - m))).sum();
        let between: f64 = means.iter().map(|m| (m - grand) * (m - grand)).sum();
        let var_within = within / (p * (n - 1.0));
        let var_between = ((n * between / (p - 1.0) - var_within) / n).max(0.0);
        Ok(Self {
            repeatability: var_within.sqrt(),
            between: var_between.sqrt(),
            reproducibility: (var_within + var_between).sqrt(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_that_differ_in_size_are_refused() {
        assert_eq!(
            Precision::try_from_groups(&[vec![1.0, 2.0], vec![1.0]]),
            Err(PrecisionError::Ragged { group: 1 })
        );
        assert!(Precision::try_from_groups(&[vec![1.0, 2.0]]).is_err());
    }
}
