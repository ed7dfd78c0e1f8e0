//! Linear least squares with a handful of unknowns, by the normal equations.

/// Sums of the normal equations for `N` unknowns.
#[derive(Debug, Clone, Copy)]
pub(super) struct LeastSquares<const N: usize> {
    matrix: [[f64; N]; N],
    right: [f64; N],
    square: f64,
    rows: f64,
    sum: f64,
}

impl<const N: usize> Default for LeastSquares<N> {
    fn default() -> Self {
        Self { matrix: [[0.0; N]; N], right: [0.0; N], square: 0.0, rows: 0.0, sum: 0.0 }
    }
}

/// Smallest pivot over the largest entry of its column: below it the unknowns cannot be told apart.
const SINGULAR: f64 = 1e-10;

impl<const N: usize> LeastSquares<N> {
    /// One equation: `factors · unknowns = value`.
    pub(super) fn add(&mut self, factors: &[f64; N], value: f64) {
        for (row, factor) in factors.iter().enumerate() {
            for (column, other) in factors.iter().enumerate() {
                self.matrix[row][column] += factor * other;
            }
            self.right[row] += factor * value;
        }
        self.square += value * value;
        self.sum += value;
        self.rows += 1.0;
    }

    /// The unknowns and the share of the values' variance that they explain; nothing when the equations
    /// do not determine them.
    pub(super) fn solve(&self) -> Option<([f64; N], f64)> {
        let scale: [f64; N] = core::array::from_fn(|i| self.matrix[i][i].sqrt());
        if scale.iter().any(|s| !s.is_finite() || *s <= 0.0) {
            return None;
        }
        let mut matrix: [[f64; N]; N] =
            core::array::from_fn(|i| core::array::from_fn(|j| self.matrix[i][j] / (scale[i] * scale[j])));
        let mut right: [f64; N] = core::array::from_fn(|i| self.right[i] / scale[i]);
        for pivot in 0..N {
            let best =
                (pivot..N).max_by(|a, b| matrix[*a][pivot].abs().total_cmp(&matrix[*b][pivot].abs()))?;
            matrix.swap(pivot, best);
            right.swap(pivot, best);
            if matrix[pivot][pivot].abs() < SINGULAR {
                return None;
            }
            let (top, right_top) = (matrix[pivot], right[pivot]);
            for row in pivot + 1..N {
                let factor = matrix[row][pivot] / top[pivot];
                for (entry, above) in matrix[row].iter_mut().zip(top) {
                    *entry -= factor * above;
                }
                right[row] -= factor * right_top;
            }
        }
        let mut scaled = [0.0; N];
        for row in (0..N).rev() {
            let known: f64 = (row + 1..N).map(|column| matrix[row][column] * scaled[column]).sum();
            scaled[row] = (right[row] - known) / matrix[row][row];
        }
        let unknowns: [f64; N] = core::array::from_fn(|i| scaled[i] / scale[i]);
        let explained: f64 = unknowns.iter().zip(self.right).map(|(x, r)| x * r).sum();
        let variance = self.square - self.sum * self.sum / self.rows;
        Some((unknowns, 1.0 - (self.square - explained) / variance))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_through_exact_points_is_found_and_explains_everything() {
        let mut fit = LeastSquares::<2>::default();
        for x in [0.0, 1.0, 2.0, 5.0] {
            fit.add(&[1.0, x], 3.0 - 0.5 * x);
        }
        let ([offset, slope], explained) = fit.solve().unwrap();
        assert!((offset - 3.0).abs() < 1e-12 && (slope + 0.5).abs() < 1e-12);
        assert!((explained - 1.0).abs() < 1e-12);
    }

    #[test]
    fn unknowns_that_cannot_be_told_apart_are_refused() {
        let mut fit = LeastSquares::<2>::default();
        for x in [1.0, 2.0, 3.0] {
            fit.add(&[x, 2.0 * x], x);
        }
        assert!(fit.solve().is_none());
    }
}
