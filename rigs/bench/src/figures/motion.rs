//! Dead band and stroke time: what a slow reversal and a full stroke show.
//!
//! In: commands and the settled openings that followed, or a timed stroke. Out: single values; `None` where
//! the record does not hold the event (no reversal, nothing moved).

/// A slow ramp up, down and up again round one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Reversal {
    /// Opening at which it turns down.
    pub place: f64,
    /// Command and position in time order, opening.
    pub course: Vec<(f64, f64)>,
    /// Change of the command at each turn before the position followed, opening.
    pub dead_bands: Vec<f64>,
}

/// Change of the command after its first reversal until the position moves by more than `moved`.
///
/// `staircase` holds `(command, settled position)` in time order, both in the same unit.
#[must_use]
pub fn dead_band(staircase: &[(f64, f64)], moved: f64) -> Option<f64> {
    let turn = reversal(staircase)?;
    let &(command_at_turn, position_at_turn) = staircase.get(turn)?;
    let rising = command_at_turn > staircase.get(turn.checked_sub(1)?)?.0;
    let followed = |position: f64| {
        let back = if rising { position_at_turn - position } else { position - position_at_turn };
        back > moved
    };
    // The last command that still moved nothing bounds the band.
    let first_moved = staircase.iter().skip(turn + 1).position(|&(_, y)| followed(y))? + turn + 1;
    let &(command_still, _) = staircase.get(first_moved - 1)?;
    Some((command_at_turn - command_still).abs())
}

/// Seconds from the step of the command to the first reading within `band` of `far_end`.
#[must_use]
pub(crate) fn stroke_time(readings: &[(f64, f64)], far_end: f64, band: f64) -> Option<f64> {
    readings.iter().find(|(_, opening)| (opening - far_end).abs() <= band).map(|&(t, _)| t)
}

fn reversal(staircase: &[(f64, f64)]) -> Option<usize> {
    let mut heading = 0.0;
    for (i, window) in staircase.windows(2).enumerate() {
        let [from, to] = window else { continue };
        let step = to.0 - from.0;
        if step * heading < 0.0 {
            return Some(i);
        }
        if step != 0.0 {
            heading = step;
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_a_reversal_there_is_no_dead_band() {
        assert_eq!(dead_band(&[(0.0, 0.0), (1.0, 1.0), (2.0, 2.0)], 0.01), None);
    }

    #[test]
    fn a_stroke_ends_where_it_first_comes_near_the_far_end() {
        let readings: Vec<_> = (0..100).map(|i| (f64::from(i) * 0.01, f64::from(i) / 99.0)).collect();
        assert!((stroke_time(&readings, 1.0, 0.02).unwrap() - 0.98).abs() < 0.011);
        assert_eq!(stroke_time(&readings[..50], 1.0, 0.02), None);
    }
}
