//! Tables over engine speed and load: bilinear inside, flat outside, monotone where the table is.
//!
//! The axes are checked to rise when the settings are validated; the look-up itself is total: any
//! input, NaN included, gives a value between the table's smallest and largest entry.

/// Points along each axis of a map.
pub const MAP_POINTS: usize = 6;

/// Values over engine speed (rows) and load (columns).
pub type Map<T> = [[T; MAP_POINTS]; MAP_POINTS];

/// Where a value lies on an axis: the lower point and how far it is toward the next one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    lower: usize,
    fraction: f32,
}

impl Place {
    /// Finds `value` on a rising axis; outside it, and for NaN, the nearest (lower) end.
    #[must_use]
    pub fn on<const N: usize>(axis: &[f32; N], value: f32) -> Self {
        let below = axis.iter().take(N.saturating_sub(1)).take_while(|point| value >= **point).count();
        let Some(lower) = below.checked_sub(1) else { return Self { lower: 0, fraction: 0.0 } };
        let low = axis.get(lower).copied().unwrap_or(value);
        let high = axis.get(below).copied().unwrap_or(low);
        let fraction = (value - low) / (high - low);
        Self { lower, fraction: if fraction < 1.0 { fraction } else { 1.0 } }
    }

    /// The value at this place along one row.
    #[must_use]
    pub fn along<const N: usize>(self, row: &[f32; N]) -> f32 {
        let low = row.get(self.lower).copied().unwrap_or(0.0);
        let high = row.get(self.lower.saturating_add(1)).copied().unwrap_or(low);
        blend(low, high, self.fraction)
    }

    /// The value of a map at a speed place (`self`) and a load place.
    #[must_use]
    pub fn over<const N: usize>(self, load: Place, map: &[[f32; N]; N]) -> f32 {
        let low = map.get(self.lower).map_or(0.0, |row| load.along(row));
        let high = map.get(self.lower.saturating_add(1)).map_or(low, |row| load.along(row));
        blend(low, high, self.fraction)
    }
}

/// Straight line that reaches both ends exactly.
fn blend(low: f32, high: f32, fraction: f32) -> f32 {
    low * (1.0 - fraction) + high * fraction
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const AXIS: [f32; 4] = [0.0, 1.0, 3.0, 10.0];

    #[test]
    fn the_points_of_a_table_are_met_exactly_and_its_ends_hold() {
        let row = [5.0, 6.0, 8.0, -1.0];
        for (at, value) in AXIS.iter().zip(row) {
            assert_eq!(Place::on(&AXIS, *at).along(&row), value);
        }
        assert_eq!(Place::on(&AXIS, -7.0).along(&row), 5.0);
        assert_eq!(Place::on(&AXIS, f32::INFINITY).along(&row), -1.0);
        assert_eq!(Place::on(&AXIS, f32::NAN).along(&row), 5.0);
        assert_eq!(Place::on(&AXIS, 2.0).along(&row), 7.0);
    }

    #[test]
    fn a_bilinear_value_is_the_weighted_mean_of_its_four_corners() {
        // Hand calculation: corners 1, 2, 3, 5 at a quarter of the way in speed, half way in load:
        // (1 + 2)/2 = 1.5 and (3 + 5)/2 = 4; 1.5 + (4 − 1.5)/4 = 2.125.
        let axis = [0.0, 1.0];
        let map = [[1.0, 2.0], [3.0, 5.0]];
        assert_eq!(Place::on(&axis, 0.25).over(Place::on(&axis, 0.5), &map), 2.125);
    }

    proptest! {
        #[test]
        fn a_falling_table_gives_a_falling_value(
            mut row in prop::array::uniform4(0.0f32..1.0), a in -1.0f32..12.0, b in -1.0f32..12.0,
        ) {
            row.sort_by(|x, y| y.total_cmp(x));
            let (low, high) = if a < b { (a, b) } else { (b, a) };
            let (at_low, at_high) = (Place::on(&AXIS, low).along(&row), Place::on(&AXIS, high).along(&row));
            // One rounding step of a value below 1 is the most that the blend may disagree by.
            prop_assert!(at_high <= at_low + f32::EPSILON, "{at_high} above {at_low}");
        }

        #[test]
        fn any_bits_give_a_value_inside_the_table(bits in any::<u32>()) {
            let row = [0.25, 0.5, 0.125, 0.75];
            let value = Place::on(&AXIS, f32::from_bits(bits)).along(&row);
            prop_assert!((0.125..=0.75).contains(&value));
        }
    }
}
