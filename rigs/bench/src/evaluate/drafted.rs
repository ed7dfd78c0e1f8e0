//! A limit drawn from what good units measured.
//!
//! In: one figure's values of each unit, the share of units that the limit is to hold and the confidence. Out: a tolerance
//! interval (ISO 16269-6) of the units' means, scatter between units apart from that of re-mounting (one-way analysis of
//! variance), and the uncertainty that goes with one measurement; or why so few units support none.

use clap::ValueEnum;
use schemars::JsonSchema;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, StudentsT};

use super::good_units::{FigureOfUnits, LimitSide};
use crate::figures::conformity::{COVERAGE_FACTOR, NormalSpread, largest_risk_of_accepting};
use crate::figures::one_way::OneWay;
use crate::figures::tolerance::IntervalDemand;
use crate::figures::{extent, mean};
use crate::limits::Bounds;
use crate::number::number;

/// How an interval is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema, ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum IntervalMethod {
    /// Mean ± exact factor × standard deviation: assumes a normal spread
    Normal,
    /// Smallest and largest unit: any spread, but needs many units
    DistributionFree,
}

/// One limit, or why there is none.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct DraftedLimit {
    /// The figure's key.
    pub key: String,
    /// Its name.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// Units that show it.
    pub units: usize,
    /// Runs that show it.
    pub runs: usize,
    /// Mean over units.
    pub mean: f64,
    /// Standard deviation between units, that of re-mounting taken out where a unit was measured more than once.
    pub between_units: f64,
    /// Standard deviation of one unit's runs; none where no unit was measured twice.
    pub re_mounting: Option<f64>,
    /// Factor on the standard deviation of the units' means; none where no normal spread is assumed.
    pub factor: Option<f64>,
    /// Expanded uncertainty of one measurement, coverage factor 2, from re-mounting.
    pub expanded_uncertainty: Option<f64>,
    /// The limit; none where so few units support none.
    pub bounds: Option<Bounds>,
    /// Of units that spread so, those accepted though outside it (JCGM 106), per cent, where the uncertainty is known.
    pub consumer_risk_percent: Option<f64>,
    /// Those not accepted though inside it, per cent.
    pub producer_risk_percent: Option<f64>,
    /// Why there is none.
    pub why_none: Option<String>,
}

/// What the units' means say.
struct Means {
    mean: f64,
    deviation: f64,
    extent: (f64, f64),
}

impl DraftedLimit {
    /// Of one figure.
    #[must_use]
    pub(crate) fn of(figure: &FigureOfUnits, demand: IntervalDemand, method: IntervalMethod) -> Self {
        let definition = figure.measure.definition();
        let means: Vec<f64> = figure.units.iter().map(|values| mean(values)).collect();
        let centre = mean(&means);
        let squares: f64 = means.iter().map(|own| (own - centre).powi(2)).sum();
        let deviation = (squares / (means.len().max(2) - 1) as f64).sqrt();
        let of_units = Means {
            mean: centre,
            deviation,
            extent: extent(means.iter().copied()).unwrap_or((centre, centre)),
        };
        let scatter = OneWay::of(&figure.units);
        let drafted = Self {
            key: definition.key,
            name: definition.name,
            unit: definition.unit.to_owned(),
            units: figure.units.len(),
            runs: figure.units.iter().map(Vec::len).sum(),
            mean: centre,
            between_units: scatter.map_or(deviation, |scatter| scatter.between),
            re_mounting: scatter.map(|scatter| scatter.within),
            factor: None,
            expanded_uncertainty: scatter
                .and_then(expanded)
                .map(|expanded| outward(expanded, definition.digits + 1, f64::ceil)),
            bounds: None,
            consumer_risk_percent: None,
            producer_risk_percent: None,
            why_none: None,
        };
        let drawn = drafted.drawn(figure, &of_units, demand, method).rounded(figure.side, definition.digits);
        // The controller accepts by its window alone, whatever the uncertainty.
        if figure.is_window() { drawn } else { drawn.judged() }
    }

    /// With its bounds, to all digits.
    fn drawn(
        self,
        figure: &FigureOfUnits,
        of_units: &Means,
        demand: IntervalDemand,
        method: IntervalMethod,
    ) -> Self {
        let sides = figure.side.sides();
        let between = |low: f64, high: f64| Bounds {
            min: Some(low),
            max: Some(high),
            expanded_uncertainty: None,
            sound_units: None,
        };
        match method {
            IntervalMethod::Normal => match demand.normal_factor(self.units, sides) {
                None => Self { why_none: Some("one unit shows no spread".to_owned()), ..self },
                Some(k) => {
                    let reach = k * of_units.deviation;
                    let bounds = Some(between(of_units.mean - reach, of_units.mean + reach));
                    Self { factor: Some(k), bounds, ..self }
                }
            },
            IntervalMethod::DistributionFree => {
                let needed = demand.distribution_free_units(sides);
                if self.units < needed {
                    let held = 100.0 * demand.distribution_free_content(self.units, sides);
                    let why = format!(
                        "{} units hold only {held:.1} % of all units; {needed} are needed",
                        self.units
                    );
                    return Self { why_none: Some(why), ..self };
                }
                let (low, high) = of_units.extent;
                Self { bounds: Some(between(low, high)), ..self }
            }
        }
    }

    /// Rounded outward to the digits that the figure is printed with, one side left open where it has no limit.
    fn rounded(self, side: LimitSide, digits: usize) -> Self {
        let bounds = self.bounds.map(|bounds| {
            let min = bounds.min.map(|min| outward(min, digits, f64::floor));
            let max = bounds.max.map(|max| outward(max, digits, f64::ceil));
            match side {
                LimitSide::Most => Bounds { min: None, max, ..bounds },
                LimitSide::Least => Bounds { min, max: None, ..bounds },
                LimitSide::Both => Bounds { min, max, ..bounds },
            }
        });
        Self { bounds, ..self }
    }

    /// With uncertainty and spread, and what they cost; without bounds where they are none that can be used.
    fn judged(self) -> Self {
        let uncertainty = self.expanded_uncertainty;
        let Some(bounds) = self.bounds else { return self };
        let sound_units = (self.between_units > 0.0)
            .then_some(NormalSpread { mean: self.mean, standard_deviation: self.between_units });
        let bounds = Bounds { expanded_uncertainty: uncertainty, sound_units, ..bounds };
        let none = |why: String| Self { bounds: None, why_none: Some(why), ..self.clone() };
        if !bounds.can_be(&self.unit) {
            return none(format!(
                "so few units give limits that are not possible: {}",
                bounds.text(&self.unit)
            ));
        }
        let acceptance = bounds.tolerance().less(bounds.guard());
        if acceptance.low > acceptance.high {
            return none(format!(
                "re-mounting adds ± {}, and the limits would be {}: no unit could be accepted",
                number(bounds.guard()),
                bounds.text(&self.unit)
            ));
        }
        let risks = sound_units
            .zip(uncertainty)
            .map(|(units, expanded)| units.risks(expanded / COVERAGE_FACTOR, bounds.tolerance(), acceptance));
        Self {
            bounds: Some(bounds),
            consumer_risk_percent: risks.map(|risks| 100.0 * risks.consumer),
            producer_risk_percent: risks.map(|risks| 100.0 * risks.producer),
            ..self
        }
    }
}

/// Expanded uncertainty of one measurement, from the scatter of re-mounting: as wide as coverage factor 2 where the scatter
/// is known well, wider by Student's t where few runs tell it (JCGM 100:2008, G.3).
fn expanded(scatter: OneWay) -> Option<f64> {
    let t = StudentsT::new(0.0, 1.0, scatter.df_within as f64).ok()?;
    Some(t.inverse_cdf(1.0 - largest_risk_of_accepting()) * scatter.within).filter(|expanded| *expanded > 0.0)
}

fn outward(value: f64, digits: usize, round: fn(f64) -> f64) -> f64 {
    let unit = 10_f64.powi(digits as i32);
    round(value * unit) / unit
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figures::{Measure, Sensor};

    const DEMAND: IntervalDemand = IntervalDemand { content: 0.95, confidence: 0.95 };
    const TEN: [f64; 10] = [-9.0, -7.0, -5.0, -3.0, -1.0, 1.0, 3.0, 5.0, 7.0, 9.0];

    fn span(units: Vec<Vec<f64>>) -> FigureOfUnits {
        FigureOfUnits { measure: Measure::Span, side: LimitSide::Both, units }
    }

    fn ten(runs: &[f64]) -> FigureOfUnits {
        span(TEN.map(|unit| runs.iter().map(|run| 10_700.0 + unit + run).collect()).to_vec())
    }

    /// By hand: s = √(330/9) = 6.0553, k = 3.3935 (ISO 16269-6), 10 700 ± 20.55.
    #[test]
    fn ten_units_give_mean_and_exact_factor_rounded_outward() {
        let drafted = DraftedLimit::of(&ten(&[0.0]), DEMAND, IntervalMethod::Normal);
        let bounds = drafted.bounds.unwrap();
        assert_eq!((bounds.min, bounds.max), (Some(10_679.0), Some(10_721.0)));
        assert_eq!((drafted.units, drafted.runs, drafted.re_mounting), (10, 10, None));
        assert_eq!((bounds.expanded_uncertainty, drafted.producer_risk_percent), (None, None));
        assert!((drafted.between_units - 6.0553).abs() < 1e-4, "{drafted:?}");
    }

    /// By hand: within √8 = 2.828; between √((2 × 36.667 − 8)/2) = 5.7155; coverage factor 2.28 for ten degrees of freedom
    /// at 95.45 % (JCGM 100:2008, Table G.2, from memory).
    #[test]
    fn re_mounting_is_told_from_the_spread_between_units() {
        let drafted = DraftedLimit::of(&ten(&[-2.0, 2.0]), DEMAND, IntervalMethod::Normal);
        assert!((drafted.re_mounting.unwrap() - 8.0_f64.sqrt()).abs() < 1e-9, "{drafted:?}");
        assert!((drafted.between_units - 5.7155).abs() < 1e-4, "{drafted:?}");
        let bounds = drafted.bounds.unwrap();
        assert_eq!((bounds.min, bounds.expanded_uncertainty), (Some(10_679.0), Some(6.5)));
        let (consumer, producer) =
            (drafted.consumer_risk_percent.unwrap(), drafted.producer_risk_percent.unwrap());
        assert!(consumer < 0.01 && (1.0..5.0).contains(&producer), "{consumer} {producer}");
    }

    #[test]
    fn without_a_spread_assumed_ten_units_give_no_limit_and_93_do() {
        let drafted = DraftedLimit::of(&ten(&[0.0]), DEMAND, IntervalMethod::DistributionFree);
        assert_eq!(drafted.bounds, None);
        assert_eq!(drafted.why_none.unwrap(), "10 units hold only 60.6 % of all units; 93 are needed");
        let many = |count: i32| span((0..count).map(|unit| vec![10_700.0 + f64::from(unit)]).collect());
        let drafted = |count| DraftedLimit::of(&many(count), DEMAND, IntervalMethod::DistributionFree).bounds;
        assert_eq!(drafted(92), None);
        assert_eq!(
            drafted(93).map(|bounds| (bounds.min, bounds.max)),
            Some((Some(10_700.0), Some(10_792.0)))
        );
    }

    #[test]
    fn a_figure_of_which_less_is_better_has_no_lower_limit() {
        let measure = Measure::Hysteresis(Sensor::Own);
        let units = vec![vec![0.30], vec![0.32], vec![0.31]];
        let figure = FigureOfUnits { measure, side: LimitSide::Most, units };
        let bounds = DraftedLimit::of(&figure, DEMAND, IntervalMethod::Normal).bounds.unwrap();
        // One-sided k for three units is 7.6559: 0.31 + 0.0766.
        assert_eq!((bounds.min, bounds.max), (None, Some(0.39)));
    }

    #[test]
    fn limits_that_nothing_could_meet_or_no_unit_could_have_are_not_drawn() {
        let why = |units| DraftedLimit::of(&span(units), DEMAND, IntervalMethod::Normal).why_none.unwrap();
        let scattered =
            why(vec![vec![10_650.0, 10_750.0], vec![10_649.0, 10_751.0], vec![10_650.0, 10_750.0]]);
        assert!(scattered.contains("no unit could be accepted"), "{scattered}");
        let two = why(vec![vec![10_000.0], vec![11_000.0]]);
        assert!(two.contains("limits that are not possible"), "{two}");
    }
}
