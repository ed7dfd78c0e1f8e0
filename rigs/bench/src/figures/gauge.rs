//! Gauge study by averages and ranges: can the bench tell one unit from another?
//!
//! In: a [`GaugeTable`] of readings, operators × parts × trials (an operator may be a re-clamping). Out: a
//! [`GaugeStudy`]: repeatability, reproducibility, both together, part variation, per cent of the total, and
//! the number of distinct categories. Method and constants K1, K2, K3 as published by the Automotive
//! Industry Action Group (Measurement Systems Analysis); older tables multiply by 5.15, these do not.

use super::{extent, mean, range};

/// Readings of a gauge study.
#[derive(Debug, Clone, PartialEq)]
pub struct GaugeTable {
    readings: Vec<Vec<Vec<f64>>>,
}

/// Why readings are no gauge study.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum GaugeTableError {
    /// A count lies outside the published table of constants.
    #[error("{seen} {what}; the study allows {least} to {most}")]
    Count {
        /// What was counted.
        what: &'static str,
        /// Seen.
        seen: usize,
        /// Fewest allowed.
        least: usize,
        /// Most allowed.
        most: usize,
    },
    /// Not every operator read every part equally often.
    #[error(
        "operator {operator} has too few or too many readings; every operator must read every part equally \
         often"
    )]
    Ragged {
        /// Operator, from 0.
        operator: usize,
    },
    /// A reading is not a number.
    #[error("a reading of operator {operator} is not a finite number")]
    NotFinite {
        /// Operator, from 0.
        operator: usize,
    },
}

/// Spread by cause, as standard deviations in the unit of the readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaugeStudy {
    /// Same operator, same part (EV).
    pub repeatability: f64,
    /// Between operators (AV); with the analysis of variance, interaction included.
    pub reproducibility: f64,
    /// Both together (GRR).
    pub gauge: f64,
    /// Between parts (PV).
    pub part: f64,
    /// Everything (TV).
    pub total: f64,
}

/// How a gauge study is judged by the common rule of 10 and 30 %.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GaugeGrade {
    /// Under 10 % of the total variation and at least five categories.
    Good,
    /// Up to 30 %: may do, depending on what it is used for.
    Marginal,
    /// Above 30 %, or fewer than five categories.
    Poor,
}

/// Share of the total above which a gauge is no longer good, per cent.
pub(crate) const GOOD_BELOW_PERCENT: f64 = 10.0;
/// Share of the total above which a gauge is poor, per cent.
pub(crate) const POOR_ABOVE_PERCENT: f64 = 30.0;
/// Fewest distinct categories of a usable gauge.
pub(crate) const FEWEST_CATEGORIES: u32 = 5;
/// √2 as the method prints it.
const CATEGORY_FACTOR: f64 = 1.41;

/// Published constants, 1/d2*: K1 by trials, K2 by operators, K3 by parts.
const K1: [(usize, f64); 2] = [(2, 0.8862), (3, 0.5908)];
#[allow(clippy::approx_constant, reason = "the published, rounded constant, not 1/√2")]
const K2: [(usize, f64); 2] = [(2, 0.7071), (3, 0.5231)];
#[allow(clippy::approx_constant, reason = "the published, rounded constant, not 1/√2")]
const K3: [(usize, f64); 9] = [
    (2, 0.7071),
    (3, 0.5231),
    (4, 0.4467),
    (5, 0.4030),
    (6, 0.3742),
    (7, 0.3534),
    (8, 0.3375),
    (9, 0.3249),
    (10, 0.3146),
];

fn constant(table: &[(usize, f64)], what: &'static str, seen: usize) -> Result<f64, GaugeTableError> {
    let ends = (table.first().map_or(0, |k| k.0), table.last().map_or(0, |k| k.0));
    let outside = GaugeTableError::Count { what, seen, least: ends.0, most: ends.1 };
    table.iter().find(|k| k.0 == seen).map(|k| k.1).ok_or(outside)
}

impl GaugeTable {
    /// Checks `readings[operator][part][trial]`.
    pub fn try_new(readings: Vec<Vec<Vec<f64>>>) -> Result<Self, GaugeTableError> {
        let parts = readings.first().map_or(0, Vec::len);
        let trials = readings.first().and_then(|o| o.first()).map_or(0, Vec::len);
        constant(&K2, "operators", readings.len())?;
        constant(&K3, "parts", parts)?;
        constant(&K1, "trials", trials)?;
        for (operator, by_part) in readings.iter().enumerate() {
            if by_part.len() != parts || by_part.iter().any(|part| part.len() != trials) {
                return Err(GaugeTableError::Ragged { operator });
            }
            if !by_part.iter().flatten().all(|r| r.is_finite()) {
                return Err(GaugeTableError::NotFinite { operator });
            }
        }
        Ok(Self { readings })
    }

    /// Operators, parts, trials.
    #[must_use]
    pub fn shape(&self) -> (usize, usize, usize) {
        let first = self.readings.first();
        (self.readings.len(), first.map_or(0, Vec::len), first.and_then(|o| o.first()).map_or(0, Vec::len))
    }

    /// The readings, `[operator][part][trial]`.
    #[must_use]
    pub fn readings(&self) -> &[Vec<Vec<f64>>] {
        &self.readings
    }

    /// Mean of each part over operators and trials.
    #[must_use]
    pub fn part_means(&self) -> Vec<f64> {
        let (_, parts, _) = self.shape();
        (0..parts)
            .map(|p| {
                let of_part = self.readings.iter().filter_map(|operator| operator.get(p)).flatten();
                mean(&of_part.copied().collect::<Vec<_>>())
            })
            .collect()
    }

    /// Mean of each operator over parts and trials.
    #[must_use]
    pub fn operator_means(&self) -> Vec<f64> {
        self.readings.iter().map(|o| mean(&o.iter().flatten().copied().collect::<Vec<_>>())).collect()
    }

    /// The study by averages and ranges.
    pub fn by_ranges(&self) -> Result<GaugeStudy, GaugeTableError> {
        let (operators, parts, trials) = self.shape();
        let (k1, k2, k3) = (
            constant(&K1, "trials", trials)?,
            constant(&K2, "operators", operators)?,
            constant(&K3, "parts", parts)?,
        );
        let ranges: Vec<_> = self.readings.iter().flatten().map(|cell| range(cell.iter().copied())).collect();
        let repeatability = mean(&ranges) * k1;
        let between = range(self.operator_means()) * k2;
        let carried_over = repeatability * repeatability / (parts * trials) as f64;
        let reproducibility = (between * between - carried_over).max(0.0).sqrt();
        let part = extent(self.part_means()).map_or(0.0, |(low, high)| high - low) * k3;
        Ok(GaugeStudy::new(repeatability, reproducibility, part))
    }
}

impl GaugeStudy {
    /// Adds the spreads up in squares.
    #[must_use]
    pub fn new(repeatability: f64, reproducibility: f64, part: f64) -> Self {
        let sum = |a: f64, b: f64| (a * a + b * b).sqrt();
        let gauge = sum(repeatability, reproducibility);
        Self { repeatability, reproducibility, gauge, part, total: sum(gauge, part) }
    }

    /// The gauge's share of the total variation, per cent.
    #[must_use]
    pub fn percent_of_total(&self) -> f64 {
        if self.total > 0.0 { 100.0 * self.gauge / self.total } else { 0.0 }
    }

    /// The gauge's six-sigma spread as a share of a tolerance, per cent.
    #[must_use]
    pub fn percent_of_tolerance(&self, tolerance: f64) -> f64 {
        100.0 * 6.0 * self.gauge / tolerance
    }

    /// How many groups of parts the gauge can tell apart; `None` when the gauge shows no spread at all.
    #[must_use]
    pub fn distinct_categories(&self) -> Option<u32> {
        (self.gauge > 0.0).then(|| (CATEGORY_FACTOR * self.part / self.gauge).floor() as u32)
    }

    /// The common rule of 10 and 30 %, and five categories.
    #[must_use]
    pub fn grade(&self) -> GaugeGrade {
        let enough = self.distinct_categories().is_none_or(|n| n >= FEWEST_CATEGORIES);
        if enough { GaugeGrade::of_share(self.percent_of_total()) } else { GaugeGrade::Poor }
    }
}

impl GaugeGrade {
    /// The common rule of 10 and 30 %, for the gauge's share of the total or of a tolerance.
    #[must_use]
    pub fn of_share(percent: f64) -> Self {
        match percent {
            share if share > POOR_ABOVE_PERCENT => Self::Poor,
            share if share < GOOD_BELOW_PERCENT => Self::Good,
            _ => Self::Marginal,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_study_outside_the_published_constants_is_refused() {
        let one_operator = vec![vec![vec![1.0, 2.0]; 5]];
        assert_eq!(
            GaugeTable::try_new(one_operator),
            Err(GaugeTableError::Count { what: "operators", seen: 1, least: 2, most: 3 })
        );
        let mut ragged = vec![vec![vec![1.0, 2.0]; 5]; 2];
        ragged[1][3].push(2.0);
        assert_eq!(GaugeTable::try_new(ragged), Err(GaugeTableError::Ragged { operator: 1 }));
    }

    #[test]
    fn grades_follow_the_ten_and_thirty_per_cent_rule() {
        assert_eq!(GaugeStudy::new(0.05, 0.0, 1.0).grade(), GaugeGrade::Good);
        assert_eq!(GaugeStudy::new(0.20, 0.0, 1.0).grade(), GaugeGrade::Marginal);
        assert_eq!(GaugeStudy::new(0.90, 0.0, 1.0).grade(), GaugeGrade::Poor);
    }
}
