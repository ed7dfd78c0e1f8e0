//! The boost that the engine asks for at a speed and load: the invented engine's calibration.
//!
//! Between the grid points on straight lines, outside held. The values lie below the most that bench
//! engine A can make there, so that the vanes have room both ways.

/// Speeds of the rows, rpm.
const SPEEDS_RPM: [f64; 6] = [800.0, 1200.0, 1600.0, 2000.0, 2800.0, 3600.0];
/// Loads of the columns, fraction of full fuelling.
const LOADS: [f64; 5] = [0.0, 0.25, 0.5, 0.75, 1.0];
/// Wanted boost, kPa absolute at sea level.
const BOOST_KPA: [[f64; 5]; 6] = [
    [101.0, 103.0, 106.0, 110.0, 114.0],
    [101.0, 108.0, 120.0, 138.0, 150.0],
    [102.0, 116.0, 142.0, 175.0, 200.0],
    [103.0, 125.0, 158.0, 195.0, 225.0],
    [105.0, 135.0, 175.0, 210.0, 235.0],
    [108.0, 140.0, 178.0, 210.0, 235.0],
];

/// Wanted boost, kPa absolute, at sea level.
#[must_use]
pub fn wanted_boost_kpa(speed_rpm: f64, load: f64) -> f64 {
    let (row, down) = place(&SPEEDS_RPM, speed_rpm);
    let (column, across) = place(&LOADS, load);
    let along = |row: usize| {
        let values = &BOOST_KPA[row];
        values[column] + (values[column + 1] - values[column]) * across
    };
    along(row) + (along(row + 1) - along(row)) * down
}

/// Cell of an axis and the share of it that lies behind; outside, the nearest end.
fn place<const N: usize>(axis: &[f64; N], value: f64) -> (usize, f64) {
    let held = value.clamp(axis[0], axis[N - 1]);
    let cell = axis.iter().rposition(|point| *point <= held).unwrap_or(0).min(N - 2);
    (cell, (held - axis[cell]) / (axis[cell + 1] - axis[cell]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grid_points_middles_and_outside_come_out_as_expected() {
        assert_eq!(wanted_boost_kpa(2000.0, 0.5), 158.0);
        assert_eq!(wanted_boost_kpa(2400.0, 0.5), 166.5);
        assert_eq!(wanted_boost_kpa(9000.0, 2.0), 235.0);
    }
}
