//! Small symmetric matrices: as much as a least-squares problem of a few dozen unknowns asks for.

/// A square matrix of which only the lower triangle is written.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Matrix {
    size: usize,
    values: Vec<f64>,
}

impl Matrix {
    /// All zeros.
    pub fn zero(size: usize) -> Matrix {
        Matrix { size, values: vec![0.0; size * size] }
    }

    /// One value; 0 outside.
    pub fn at(&self, row: usize, column: usize) -> f64 {
        let (row, column) = (row.max(column), row.min(column));
        self.values.get(row * self.size + column).copied().unwrap_or(0.0)
    }

    /// Adds to one value, `column` ≤ `row`.
    pub fn add(&mut self, row: usize, column: usize, value: f64) {
        if let Some(at) = self.values.get_mut(row * self.size + column) {
            *at += value;
        }
    }

    /// Its inverse and the logarithm of its determinant, by Cholesky's factors; `None` unless positive definite.
    pub fn inverse(&self) -> Option<(Matrix, f64)> {
        let factor = self.factor()?;
        let n = self.size;
        let ln_det = (0..n).map(|i| 2.0 * factor.at(i, i).ln()).sum();
        // The inverse of the factor, column by column, then its transpose times itself.
        let mut below = Matrix::zero(n);
        for column in 0..n {
            for row in column..n {
                let known: f64 = (column..row).map(|k| factor.at(row, k) * below.at(k, column)).sum();
                let unit = f64::from(u8::from(row == column));
                below.add(row, column, (unit - known) / factor.at(row, row));
            }
        }
        let mut inverse = Matrix::zero(n);
        for row in 0..n {
            for column in 0..=row {
                inverse.add(row, column, (row..n).map(|k| below.at(k, row) * below.at(k, column)).sum());
            }
        }
        Some((inverse, ln_det))
    }

    /// The lower triangle whose product with its transpose this is; `None` unless positive definite.
    fn factor(&self) -> Option<Matrix> {
        let n = self.size;
        let mut factor = Matrix::zero(n);
        for row in 0..n {
            for column in 0..=row {
                let known: f64 = (0..column).map(|k| factor.at(row, k) * factor.at(column, k)).sum();
                let left = self.at(row, column) - known;
                let value = if row == column {
                    if !(left.is_finite() && left > 0.0) {
                        return None;
                    }
                    left.sqrt()
                } else {
                    left / factor.at(column, column)
                };
                factor.add(row, column, value);
            }
        }
        Some(factor)
    }

    /// This symmetric matrix times a vector.
    pub fn times(&self, vector: &[f64]) -> Vec<f64> {
        (0..self.size).map(|row| vector.iter().enumerate().map(|(n, x)| self.at(row, n) * x).sum()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn only_what_is_positive_definite_has_an_inverse() {
        let mut matrix = Matrix::zero(2);
        assert_eq!(matrix.inverse(), None);
        matrix.add(0, 0, 1.0);
        matrix.add(1, 0, 2.0);
        matrix.add(1, 1, 1.0);
        assert_eq!(matrix.inverse(), None);
    }

    proptest! {
        #[test]
        fn an_inverse_undoes(values in proptest::collection::vec(-1.0f64..1.0, 36), size in 1usize..=6, x in proptest::collection::vec(-9.0f64..9.0, 6)) {
            // A square of anything, with a little more on its diagonal, is positive definite.
            let mut matrix = Matrix::zero(size);
            for row in 0..size {
                for column in 0..=row {
                    let dot: f64 = (0..6).map(|k| values[row * 6 + k] * values[column * 6 + k]).sum();
                    matrix.add(row, column, dot + if row == column { 0.1 } else { 0.0 });
                }
            }
            let (inverse, ln_det) = matrix.inverse().unwrap();
            let again = inverse.times(&matrix.times(&x[..size]));
            prop_assert!(again.iter().zip(&x).all(|(a, b)| (a - b).abs() < 1e-6));
            prop_assert!((ln_det + inverse.inverse().unwrap().1).abs() < 1e-6);
        }
    }
}
