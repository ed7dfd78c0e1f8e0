//! Gauge study by analysis of variance, which also sees operators disagreeing about particular parts.
//!
//! In: a [`GaugeTable`]. Out: mean squares, the interaction's F and p, and the [`GaugeStudy`] from the
//! variance components. Two-way crossed, random effects; an interaction that is not significant at the
//! published 0.25 is pooled with repeatability, and the answer says so.

use super::gauge::{GaugeStudy, GaugeTable};
use super::mean;
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// Significance above which the interaction is pooled with repeatability.
pub(crate) const POOL_ABOVE_P: f64 = 0.25;

/// What became of the operator-by-part interaction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Interaction {
    /// Not significant: counted as repeatability.
    Pooled,
    /// Significant: counted as reproducibility.
    Kept,
}

/// The analysis of variance of a gauge study.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaugeAnova {
    /// Mean square between parts.
    pub ms_part: f64,
    /// Mean square between operators.
    pub ms_operator: f64,
    /// Mean square of the interaction.
    pub ms_interaction: f64,
    /// Mean square within cells.
    pub ms_within: f64,
    /// Interaction's F, its mean square over that within cells.
    pub f_interaction: f64,
    /// Probability of such an F by chance.
    pub p_interaction: f64,
    /// Whether the interaction was pooled.
    pub interaction: Interaction,
    /// The spreads.
    pub study: GaugeStudy,
}

struct Squares {
    part: f64,
    operator: f64,
    interaction: f64,
    within: f64,
}

impl GaugeTable {
    /// The study by analysis of variance.
    #[must_use]
    pub fn by_anova(&self) -> GaugeAnova {
        let (operators, parts, trials) = self.shape();
        let (o, p, r) = (operators as f64, parts as f64, trials as f64);
        let ss = self.squares();
        let (df_interaction, df_within) = ((o - 1.0) * (p - 1.0), o * p * (r - 1.0));
        let ms_part = ss.part / (p - 1.0);
        let ms_operator = ss.operator / (o - 1.0);
        let ms_interaction = ss.interaction / df_interaction;
        let ms_within = ss.within / df_within;
        let f_interaction = if ms_within > 0.0 { ms_interaction / ms_within } else { f64::INFINITY };
        let p_interaction = FisherSnedecor::new(df_interaction, df_within)
            .map_or(0.0, |f| if f_interaction.is_finite() { f.sf(f_interaction) } else { 0.0 });
        let pooled = p_interaction > POOL_ABOVE_P;
        let interaction = if pooled { Interaction::Pooled } else { Interaction::Kept };
        // Pooled, the interaction's squares join those within cells and take their place as the yardstick.
        let (error, yardstick) = match interaction {
            Interaction::Pooled => {
                let ms = (ss.interaction + ss.within) / (df_interaction + df_within);
                (ms, ms)
            }
            Interaction::Kept => (ms_within, ms_interaction),
        };
        let var_interaction = ((yardstick - error) / r).max(0.0);
        let var_operator = ((ms_operator - yardstick) / (p * r)).max(0.0);
        let var_part = ((ms_part - yardstick) / (o * r)).max(0.0);
        let study = GaugeStudy::new(error.sqrt(), (var_operator + var_interaction).sqrt(), var_part.sqrt());
        GaugeAnova {
            ms_part,
            ms_operator,
            ms_interaction,
            ms_within,
            f_interaction,
            p_interaction,
            interaction,
            study,
        }
    }

    fn squares(&self) -> Squares {
        let (operators, parts, trials) = self.shape();
        let (part_means, operator_means) = (self.part_means(), self.operator_means());
        let grand = mean(&part_means);
        let around = |values: &[f64]| values.iter().map(|m| (m - grand) * (m - grand)).sum::<f64>();
        let (mut interaction, mut within) = (0.0, 0.0);
        for (by_part, operator_mean) in self.readings().iter().zip(&operator_means) {
            for (cell, part_mean) in by_part.iter().zip(&part_means) {
                let cell_mean = mean(cell);
                let apart = cell_mean - operator_mean - part_mean + grand;
                interaction += trials as f64 * apart * apart;
                within += cell.iter().map(|v| (v - cell_mean) * (v - cell_mean)).sum::<f64>();
            }
        }
        Squares {
            part: (operators * trials) as f64 * around(&part_means),
            operator: (parts * trials) as f64 * around(&operator_means),
            interaction,
            within,
        }
    }
}
