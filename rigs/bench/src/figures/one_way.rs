//! One-way analysis of variance, random effects: how much of a scatter is between units, and how much comes back with
//! every new mounting of one.
//!
//! In: the values of each unit, of unequal number. Out: mean squares, F, and both standard deviations.

use super::mean;

/// Scatter by cause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneWay {
    /// Mean square between units.
    pub ms_between: f64,
    /// Mean square within units.
    pub ms_within: f64,
    /// Degrees of freedom between units.
    pub df_between: usize,
    /// Degrees of freedom within units.
    pub df_within: usize,
    /// Standard deviation between units; 0 where it drowns in that within them.
    pub between: f64,
    /// Standard deviation within a unit.
    pub within: f64,
}

impl OneWay {
    /// Of the values of each unit. None unless there are two units, and one unit with two values.
    #[must_use]
    pub fn of(units: &[Vec<f64>]) -> Option<Self> {
        let units: Vec<&Vec<f64>> = units.iter().filter(|values| !values.is_empty()).collect();
        let count = units.iter().map(|values| values.len()).sum::<usize>();
        let df_between = units.len().checked_sub(1).filter(|df| *df > 0)?;
        let df_within = count.checked_sub(units.len()).filter(|df| *df > 0)?;
        let grand = units.iter().flat_map(|values| values.iter()).sum::<f64>() / count as f64;
        let square = |value: f64, from: f64| (value - from) * (value - from);
        let (mut between, mut within, mut squared_counts) = (0.0, 0.0, 0.0);
        for values in &units {
            let (own, n) = (mean(values), values.len() as f64);
            between += n * square(own, grand);
            within += values.iter().map(|value| square(*value, own)).sum::<f64>();
            squared_counts += n * n;
        }
        let (ms_between, ms_within) = (between / df_between as f64, within / df_within as f64);
        // Values in each unit, on an average that keeps the estimate unbiased where they are unequal in number.
        let each = (count as f64 - squared_counts / count as f64) / df_between as f64;
        let between = ((ms_between - ms_within) / each).max(0.0).sqrt();
        Some(Self { ms_between, ms_within, df_between, df_within, between, within: ms_within.sqrt() })
    }

    /// Mean square between units over that within.
    #[must_use]
    pub fn f(self) -> f64 {
        self.ms_between / self.ms_within
    }
}
