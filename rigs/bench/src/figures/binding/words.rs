//! A picture in words and as a small curve of text.

use std::fmt;

use super::{BindingPlace, Picture, Stretch};

/// Columns of the curve, from the largest closing push to the largest opening one; odd, so that zero has its own.
const COLUMNS: usize = 49;

impl fmt::Display for BindingPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoCurrent { asked_a, flowed_a } => write!(
                f,
                "No current reaches the motor: {asked_a:.2} A commanded, {flowed_a:.2} A measured. Check \
                 plug, brushes and winding first; this says nothing about the lever."
            ),
            Self::DoesNotMove { counts, moved, share } => write!(
                f,
                "It does not move: at {counts:.0} counts the push only bends gear and lever, by {moved:.0} counts \
                 ({:.1} % of a sound unit's travel).",
                100.0 * share
            ),
            Self::WrongWay { closing, opening } => write!(
                f,
                "It goes the wrong way: pushed closed it reaches {closing:.0} counts, pushed open \
                 {opening:.0}. Sensor or motor is reversed, or the profile is another unit's."
            ),
            Self::StopsShort { stop, counts, window } => write!(
                f,
                "Pushed {stop}, it ends at {counts:.0} counts, {:.0} short of where the {stop} stop of a sound unit lies \
                 ({}).",
                short_by(*counts, *window),
                words_of(*window)
            ),
            Self::PassesStop { stop, counts, window } => write!(
                f,
                "Pushed {stop}, it ends at {counts:.0} counts, {:.0} past where the {stop} stop of a sound unit lies ({}).",
                short_by(*counts, *window),
                words_of(*window)
            ),
            Self::Hangs { direction, counts, freed_a } => {
                write!(
                    f,
                    "Moving {direction}, it hangs near {counts:.0} counts until the current is {freed_a:+.2} A."
                )
            }
        }
    }
}

/// Distance from a reading to the near edge of a window.
fn short_by(counts: f64, window: (f64, f64)) -> f64 {
    (counts - window.0).abs().min((counts - window.1).abs())
}

fn words_of(window: (f64, f64)) -> String {
    format!("{:.0} to {:.0}", window.0.min(window.1), window.0.max(window.1))
}

impl Picture {
    /// What stands out, a sentence each.
    #[must_use]
    pub fn findings(&self) -> Vec<String> {
        if self.places.is_empty() {
            let peak = self.peak_a;
            return vec![format!("At up to {peak:.2} A it moves freely between the two stops.")];
        }
        self.places.iter().map(BindingPlace::to_string).collect()
    }

    /// Current against position as lines of text: a row for each stretch, from open to closed. None where the push
    /// goes the wrong way or no current flows: it would mean nothing.
    #[must_use]
    pub fn curve(&self) -> Vec<String> {
        if self
            .places
            .iter()
            .any(|place| matches!(place, BindingPlace::WrongWay { .. } | BindingPlace::NoCurrent { .. }))
        {
            return Vec::new();
        }
        let (peak, half) = (self.peak_a, COLUMNS / 2);
        let mut lines = vec![
            format!(
                "{:>8}  {:<half$}0{:>half$}",
                "counts",
                format!("-{peak:.2} A closing"),
                format!("opening +{peak:.2} A")
            ),
            format!("{:>8}  {:-<half$}+{:-<half$}", "open", "", ""),
        ];
        lines.extend(self.stretches.iter().map(|stretch| self.row(stretch)));
        lines.push(format!("{:>8}  {:-<half$}+{:-<half$}", "closed", "", ""));
        lines.push("          c, o: current at which it left that place, closing and opening".into());
        lines
    }

    fn row(&self, stretch: &Stretch) -> String {
        let mut cells = [b' '; COLUMNS];
        let mut put = |current: f64, letter| {
            if let Some(cell) = cells.get_mut(self.column(current)) {
                *cell = if *cell == b' ' { letter } else { b'x' };
            }
        };
        if let Some(current) = stretch.closing_a {
            put(current, b'c');
        }
        if let Some(current) = stretch.opening_a {
            put(current, b'o');
        }
        let cells: String = cells.iter().map(|cell| char::from(*cell)).collect();
        format!("{:>8.0}  {}", stretch.counts, cells.trim_end())
    }

    fn column(&self, current: f64) -> usize {
        let share = (current / self.peak_a).clamp(-1.0, 1.0);
        ((share + 1.0) / 2.0 * (COLUMNS - 1) as f64).round() as usize
    }
}
