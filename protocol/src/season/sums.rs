//! What is kept of any number of pulls: sums, from which estimates and their spread are made.

use super::special::{NORMAL_975, beta_log_odds, rising_root};

/// Amounts from pulls, each against what it was exposed to: 1 for each pull, or the days it soaked.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sums {
    /// Pulls; a part of one for a pull that counts in part.
    pub n: f64,
    /// Sum of the amounts x.
    pub x: f64,
    /// Sum of the exposures t.
    pub t: f64,
    /// Sums of x², x·t and t².
    pub xx: f64,
    /// As `xx`.
    pub xt: f64,
    /// As `xx`.
    pub tt: f64,
}

impl Sums {
    /// Takes one more pull.
    pub fn add(&mut self, x: f64, t: f64) {
        self.merge(&Sums { n: 1.0, x, t, xx: x * x, xt: x * t, tt: t * t });
    }

    /// The same pulls, each counting as this part of one.
    pub fn in_part(&self, part: f64) -> Sums {
        Sums {
            n: part * self.n,
            x: part * self.x,
            t: part * self.t,
            xx: part * self.xx,
            xt: part * self.xt,
            tt: part * self.tt,
        }
    }

    /// Takes the pulls of another sum.
    pub fn merge(&mut self, other: &Sums) {
        self.n += other.n;
        self.x += other.x;
        self.t += other.t;
        self.xx += other.xx;
        self.xt += other.xt;
        self.tt += other.tt;
    }

    /// Amount for each unit of exposure; `None` without any.
    pub fn rate(&self) -> Option<f64> {
        (self.t > 0.0).then(|| self.x / self.t)
    }

    /// As many pulls of equal exposure as tell as much as these.
    pub(super) fn equal_pulls(&self) -> f64 {
        self.t * self.t / self.tt
    }

    /// Sum of the squares of what the rate leaves unexplained, with n/(n − 1) of it for each degree of freedom.
    fn left_over(&self, rate: f64) -> f64 {
        let squares = self.xx - 2.0 * rate * self.xt + rate * rate * self.tt;
        self.n * squares.max(0.0)
    }
}

/// How much more pulls of one kind differ than they would by chance alone, from all rows of a table together. Taken a
/// little larger than it seems, by what Student's t adds to a normal interval: few pulls also tell little of their spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// Counts: variance is mean + α·mean² (negative binomial; α = 0 is Poisson's).
    Alpha(f64),
    /// Amounts: variance is c²·mean².
    SquaredCv(f64),
}

/// Degrees of freedom of rows that tell something of the spread, and the sum of squares that they should come to.
fn expected(rows: &[Sums]) -> Option<(Vec<Sums>, f64)> {
    let telling: Vec<Sums> =
        rows.iter().filter(|row| row.n > 1.0 && row.x > 0.0 && row.t > 0.0).copied().collect();
    let freedom: f64 = telling.iter().map(|row| row.n - 1.0).sum();
    // freedom · (1.96 / t)²
    let squares = NORMAL_975 * NORMAL_975 * beta_log_odds(freedom.max(1.0) / 2.0, 0.5, 0.05).exp();
    (freedom >= 1.0).then_some((telling, squares))
}

/// α of counts, by moments: Pearson's sum of squares is what it should be (Breslow 1984, Applied Statistics 33, 38–44).
/// `None` when no row has two pulls.
pub fn alpha(rows: &[Sums]) -> Option<Spread> {
    let (telling, squares) = expected(rows)?;
    let pearson = |alpha: f64| -> f64 {
        let of_row = |row: &Sums| {
            let rate = row.rate().unwrap_or_default();
            row.left_over(rate) / (rate * row.t + alpha * rate * rate * row.tt)
        };
        telling.iter().map(of_row).sum()
    };
    if pearson(0.0) <= squares {
        return Some(Spread::Alpha(0.0));
    }
    // By halving alone (slope 0 never takes a Newton step): the sum is cheap.
    let ln_alpha = rising_root(-20.0, 20.0, 0.0, |ln_alpha| (squares - pearson(ln_alpha.exp()), 0.0));
    Some(Spread::Alpha(ln_alpha.exp()))
}

/// c² of amounts, by moments. `None` when no row has two pulls that differ.
pub fn squared_cv(rows: &[Sums]) -> Option<Spread> {
    let (telling, squares) = expected(rows)?;
    let of_row = |row: &Sums| {
        let rate = row.rate().unwrap_or_default();
        row.left_over(rate) / (rate * rate * row.tt)
    };
    let sum: f64 = telling.iter().map(of_row).sum();
    // Equal amounts are rounding left over, and tell nothing.
    (sum > 1e-9).then_some(Spread::SquaredCv(sum / squares))
}
