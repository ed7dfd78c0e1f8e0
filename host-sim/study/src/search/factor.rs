//! A covariance matrix as the lower triangle whose square it is (Cholesky).

/// The triangle, row by row.
#[derive(Debug, Clone)]
pub(super) struct Factor {
    rows: Vec<Vec<f64>>,
}

/// Least pivot, share of the largest variance: rounding must not make a variance negative.
const LEAST_PIVOT: f64 = 1e-14;

impl Factor {
    /// Of a symmetric matrix, of which the lower triangle is read.
    pub(super) fn of(matrix: &[Vec<f64>]) -> Self {
        let largest = matrix.iter().enumerate().fold(0.0, |most, (axis, row)| f64::max(most, row[axis]));
        let mut rows: Vec<Vec<f64>> = Vec::with_capacity(matrix.len());
        for (axis, entries) in matrix.iter().enumerate() {
            let mut row = vec![0.0; axis + 1];
            for column in 0..=axis {
                let earlier = rows.get(column).map_or(&row[..column], |other| &other[..column]);
                let known: f64 = row.iter().zip(earlier).map(|(a, b)| a * b).sum();
                let rest = entries[column] - known;
                row[column] = match rows.get(column) {
                    Some(other) => rest / other[column],
                    None => libm::sqrt(rest.max(LEAST_PIVOT * largest)),
                };
            }
            rows.push(row);
        }
        Self { rows }
    }

    /// Factor times vector: normal numbers become draws.
    pub(super) fn times(&self, vector: &[f64]) -> Vec<f64> {
        self.rows.iter().map(|row| row.iter().zip(vector).map(|(a, b)| a * b).sum()).collect()
    }

    /// The vector that becomes this one: draws become normal numbers.
    pub(super) fn undone(&self, vector: &[f64]) -> Vec<f64> {
        let mut found: Vec<f64> = Vec::with_capacity(vector.len());
        for (row, value) in self.rows.iter().zip(vector) {
            let known: f64 = row.iter().zip(&found).map(|(a, b)| a * b).sum();
            found.push((value - known) / row[found.len()]);
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_factor_squares_to_its_matrix_and_is_undone() {
        // The usual example: 4 12 −16; 12 37 −43; −16 −43 98 has the factor 2; 6 1; −8 5 3.
        let matrix = [vec![4.0, 12.0, -16.0], vec![12.0, 37.0, -43.0], vec![-16.0, -43.0, 98.0]];
        let factor = Factor::of(&matrix);
        assert_eq!(factor.rows, [vec![2.0], vec![6.0, 1.0], vec![-8.0, 5.0, 3.0]]);
        assert_eq!(factor.times(&[1.0, 2.0, 3.0]), [2.0, 8.0, 11.0]);
        assert_eq!(factor.undone(&[2.0, 8.0, 11.0]), [1.0, 2.0, 3.0]);
    }
}
