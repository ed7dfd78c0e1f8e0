//! Carries measurement uncertainty through a formula by first-order propagation
//! (JCGM 100:2008, "GUM").
//!
//! In: estimates with standard uncertainties (and, where known, correlations) and the formula.
//! Out: the value, its combined standard uncertainty and what each input contributed.
//! Refuses nothing; second-order terms (GUM 5.1.2, note) are left out, as "first-order" says.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// One input of a formula.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// What it is, for the budget.
    pub name: String,
    /// Best estimate, in the formula's unit.
    pub estimate: f64,
    /// Standard uncertainty, same unit, not negative.
    pub standard_uncertainty: f64,
    /// Degrees of freedom of that uncertainty; infinity where it is taken as known (GUM G.4.3).
    pub degrees_of_freedom: f64,
}

impl Input {
    /// An input whose uncertainty is taken as exactly known.
    #[must_use]
    pub fn new(name: impl Into<String>, estimate: f64, standard_uncertainty: f64) -> Self {
        Self { name: name.into(), estimate, standard_uncertainty, degrees_of_freedom: f64::INFINITY }
    }

    /// The same input with a limited number of degrees of freedom.
    #[must_use]
    pub fn with_degrees_of_freedom(self, degrees_of_freedom: f64) -> Self {
        Self { degrees_of_freedom, ..self }
    }
}

/// Correlation coefficient between two inputs, by their place in the list.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Correlation {
    /// Places of the two inputs.
    pub between: (usize, usize),
    /// Coefficient, −1 … 1.
    pub coefficient: f64,
}

/// What one input adds to the result.
#[derive(Debug, Clone, PartialEq)]
pub struct Contribution {
    /// The input's name.
    pub name: String,
    /// Sensitivity coefficient ∂f/∂x.
    pub sensitivity: f64,
    /// Sensitivity times standard uncertainty, signed, in the result's unit.
    pub component: f64,
}

/// A result with its uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct Propagated {
    /// The formula at the estimates.
    pub value: f64,
    /// Combined standard uncertainty (coverage factor 1).
    pub standard_uncertainty: f64,
    /// One entry per input, in input order.
    pub contributions: Vec<Contribution>,
    /// Effective degrees of freedom (Welch–Satterthwaite); none where inputs are correlated, since the
    /// formula does not hold there.
    pub degrees_of_freedom: Option<f64>,
}

impl Propagated {
    /// Expanded uncertainty at a two-sided level of confidence (for instance 0.95), the degrees of
    /// freedom truncated to the next lower whole number (GUM G.4.1).
    #[must_use]
    pub fn expanded(&self, level: f64) -> Option<f64> {
        let freedom = self.degrees_of_freedom?;
        let tail = 0.5 + level / 2.0;
        // Above a million degrees of freedom Student's t is the normal distribution to 1e-6.
        let factor = if freedom > 1.0e6 {
            Normal::standard().inverse_cdf(tail)
        } else {
            StudentsT::new(0.0, 1.0, freedom.floor()).ok()?.inverse_cdf(tail)
        };
        Some(self.standard_uncertainty * factor)
    }
}

/// Standard uncertainty of a quantity known only to lie within ± `half_width` (rectangular, GUM 4.3.7).
#[must_use]
pub fn rectangular(half_width: f64) -> f64 {
    half_width.abs() / libm::sqrt(3.0)
}

/// Propagates uncorrelated inputs through `formula`.
pub fn propagate(inputs: &[Input], formula: impl Fn(&[f64]) -> f64) -> Propagated {
    let (value, contributions) = sensitivities(inputs, formula);
    let standard_uncertainty = libm::sqrt(contributions.iter().map(|c| c.component * c.component).sum());
    let degrees_of_freedom = Some(welch_satterthwaite(standard_uncertainty, inputs, &contributions));
    Propagated { value, standard_uncertainty, contributions, degrees_of_freedom }
}

/// Propagates correlated inputs (GUM 5.2.2). Pairs not named are uncorrelated.
pub fn propagate_correlated(
    inputs: &[Input],
    correlations: &[Correlation],
    formula: impl Fn(&[f64]) -> f64,
) -> Propagated {
    let (value, contributions) = sensitivities(inputs, formula);
    let squares: f64 = contributions.iter().map(|c| c.component * c.component).sum();
    let component = |at: usize| contributions.get(at).map_or(0.0, |c| c.component);
    let products: f64 = correlations
        .iter()
        .map(|c| 2.0 * component(c.between.0) * component(c.between.1) * c.coefficient)
        .sum();
    let standard_uncertainty = libm::sqrt((squares + products).max(0.0));
    Propagated { value, standard_uncertainty, contributions, degrees_of_freedom: None }
}

/// Central differences over ± one standard uncertainty (GUM 5.1.3, note 2).
fn sensitivities(inputs: &[Input], formula: impl Fn(&[f64]) -> f64) -> (f64, Vec<Contribution>) {
    let mut point: Vec<f64> = inputs.iter().map(|input| input.estimate).collect();
    let value = formula(&point);
    let mut contributions = Vec::with_capacity(inputs.len());
    for (at, input) in inputs.iter().enumerate() {
        let step = input.standard_uncertainty;
        let mut component = 0.0;
        if step > 0.0 {
            point[at] = input.estimate + step;
            let above = formula(&point);
            point[at] = input.estimate - step;
            component = (above - formula(&point)) / 2.0;
            point[at] = input.estimate;
        }
        let sensitivity = if step > 0.0 { component / step } else { 0.0 };
        contributions.push(Contribution { name: input.name.clone(), sensitivity, component });
    }
    (value, contributions)
}

fn welch_satterthwaite(combined: f64, inputs: &[Input], contributions: &[Contribution]) -> f64 {
    let fourth = |x: f64| x * x * x * x;
    let sum: f64 = inputs
        .iter()
        .zip(contributions)
        .map(|(input, c)| fourth(c.component) / input.degrees_of_freedom)
        .sum();
    if sum > 0.0 { fourth(combined) / sum } else { f64::INFINITY }
}

#[cfg(test)]
mod tests {
    use super::{Input, propagate, rectangular};

    #[test]
    fn a_sum_adds_in_quadrature() {
        let inputs = [Input::new("a", 1.0, 3.0), Input::new("b", 2.0, 4.0)];
        let sum = propagate(&inputs, |x| x[0] + x[1]);
        assert!((sum.standard_uncertainty - 5.0).abs() < 1e-12);
        assert!((sum.value - 3.0).abs() < 1e-12);
    }

    #[test]
    fn an_exact_input_contributes_nothing() {
        let inputs = [Input::new("a", 1.0, 0.0), Input::new("b", 2.0, 0.5)];
        let product = propagate(&inputs, |x| x[0] * x[1]);
        assert!(product.contributions[0].component == 0.0);
        assert!((product.standard_uncertainty - 0.5).abs() < 1e-12);
    }

    #[test]
    fn with_infinite_freedom_the_95_percent_factor_is_the_normal_one() {
        let one = propagate(&[Input::new("a", 0.0, 1.0)], |x| x[0]);
        assert!((one.expanded(0.95).unwrap() - 1.959_964).abs() < 1e-5);
    }

    #[test]
    fn a_rectangular_half_width_is_divided_by_root_three() {
        assert!((rectangular(3.0) - 3.0_f64.sqrt()).abs() < 1e-12);
    }
}
