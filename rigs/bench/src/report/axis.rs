//! Axes: which numbers stand at the ticks, and where a value falls on the page.

/// Ticks of one axis.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Scale {
    low: f64,
    high: f64,
    step: f64,
    from_px: f64,
    to_px: f64,
}

/// Range to draw, and whether it may be widened to whole ticks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AxisRange {
    /// Fitted to the data, a little wider.
    Fit,
    /// Fitted to the data and zero.
    FitWithZero,
    /// Exactly this.
    Fixed(f64, f64),
    /// Exactly this, without ticks.
    Unmarked(f64, f64),
}

impl Scale {
    /// A scale over `from_px ..= to_px` for the data's extent.
    pub(super) fn new(range: AxisRange, data: Option<(f64, f64)>, px: (f64, f64), most_ticks: f64) -> Self {
        let (low, high) = match (range, data) {
            (AxisRange::Fixed(low, high) | AxisRange::Unmarked(low, high), _) => (low, high),
            (AxisRange::Fit, Some((low, high))) => padded(low, high),
            (AxisRange::FitWithZero, Some((low, high))) => padded(low.min(0.0), high.max(0.0)),
            (_, None) => (0.0, 1.0),
        };
        let step = nice_step((high - low) / most_ticks);
        Self { low, high, step, from_px: px.0, to_px: px.1 }
    }

    /// Where a value falls.
    pub(super) fn px(&self, value: f64) -> f64 {
        self.from_px + (value - self.low) / (self.high - self.low) * (self.to_px - self.from_px)
    }

    /// The same stretch of page in another unit, so many times as large.
    pub(super) fn times(&self, factor: f64, most_ticks: f64) -> Self {
        let (low, high) = (factor * self.low, factor * self.high);
        Self { low, high, step: nice_step((high - low) / most_ticks), ..self.clone() }
    }

    /// The lowest value drawn.
    pub(super) fn low(&self) -> f64 {
        self.low
    }

    /// The highest value drawn.
    pub(super) fn high(&self) -> f64 {
        self.high
    }

    /// Ticks with their texts.
    pub(super) fn ticks(&self) -> Vec<(f64, String)> {
        let digits = digits_of(self.step);
        // A tick on the very edge must not fall to rounding.
        let slack = self.step * 1e-6;
        let (first, last) =
            (((self.low - slack) / self.step).ceil(), ((self.high + slack) / self.step).floor());
        let count = (last - first) as usize;
        (0..=count)
            .map(|i| (first + i as f64) * self.step)
            .map(|value| (value, text(if value.abs() < slack { 0.0 } else { value }, digits)))
            .collect()
    }
}

/// A number with a true minus sign and thin spaces between thousands.
pub(super) fn text(value: f64, digits: usize) -> String {
    let plain = format!("{:.digits$}", value.abs());
    let (whole, fraction) = plain.split_once('.').map_or((plain.as_str(), None), |(w, f)| (w, Some(f)));
    let mut grouped = String::new();
    for (i, digit) in whole.chars().enumerate() {
        let left = whole.len() - i;
        if i > 0 && left % 3 == 0 && whole.len() > 4 {
            grouped.push('\u{2009}');
        }
        grouped.push(digit);
    }
    let sign = if value < 0.0 { "−" } else { "" };
    fraction.map_or_else(|| format!("{sign}{grouped}"), |fraction| format!("{sign}{grouped}.{fraction}"))
}

fn padded(low: f64, high: f64) -> (f64, f64) {
    /// Share of the range left free at both ends, so that a line does not run into the frame.
    const PAD: f64 = 0.06;
    let spread = if high > low { high - low } else { high.abs().max(1.0) * 0.1 };
    let pad = |bound: f64, by: f64| if bound == 0.0 { 0.0 } else { bound + by };
    (pad(low, -PAD * spread), pad(high, PAD * spread))
}

/// The smallest of 1, 2, 5 times a power of ten that is not below `least`.
fn nice_step(least: f64) -> f64 {
    let mut decade = 1.0;
    while decade * 10.0 <= least {
        decade *= 10.0;
    }
    while decade > least && decade > f64::MIN_POSITIVE * 10.0 {
        decade /= 10.0;
    }
    [1.0, 2.0, 5.0, 10.0].map(|m| m * decade).into_iter().find(|step| *step >= least).unwrap_or(decade * 10.0)
}

fn digits_of(step: f64) -> usize {
    let mut digits = 0;
    let mut scaled = step;
    while digits < 6 && (scaled - scaled.round()).abs() > scaled * 1e-6 {
        scaled *= 10.0;
        digits += 1;
    }
    digits
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn ticks_stand_on_round_numbers() {
        let scale = Scale::new(AxisRange::Fixed(0.0, 1.0), None, (0.0, 100.0), 6.0);
        let texts: Vec<_> = scale.ticks().into_iter().map(|(_, text)| text).collect();
        assert_eq!(texts, ["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]);
        let counts = Scale::new(AxisRange::Fixed(2000.0, 14_000.0), None, (0.0, 100.0), 6.0);
        assert_eq!(counts.ticks()[1].1, "4000");
        assert_eq!(text(-13_300.0, 0), "−13\u{2009}300");
    }

    proptest! {
        #[test]
        fn any_range_gets_a_few_ticks_inside_it(low in -1e6..1e6f64, spread in 1e-4..1e6f64) {
            let scale = Scale::new(AxisRange::Fixed(low, low + spread), None, (0.0, 300.0), 6.0);
            let ticks = scale.ticks();
            prop_assert!((1..=8).contains(&ticks.len()), "{ticks:?}");
            prop_assert!(ticks.iter().all(|(v, _)| (-0.01..=300.01).contains(&scale.px(*v))));
        }
    }
}
