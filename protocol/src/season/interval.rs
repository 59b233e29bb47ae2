//! Estimates with the range that holds the true value 19 times in 20.
//!
//! - Counts for each pull or day: the limits at which a total as small, or as large, as the one counted has a chance of
//!   2.5 %, under a negative binomial distribution; without extra spread these are Garwood's (1936, Biometrika 28, 437–442).
//! - Amounts: the same under a gamma distribution.
//! - Shares of pulls: Clopper and Pearson (1934, Biometrika 26, 404–413).
//! - Shares of crabs, which come in pulls: Korn and Graubard (1998, Survey Methodology 24, 193–201): Clopper and Pearson's
//!   for as many crabs as the pulls are worth.

use super::special::{NORMAL_975, beta_log_odds, beta_quantile, gamma_quantile, t_squared};
use super::sums::{Spread, Sums};

/// Half of what lies outside.
const TAIL: f64 = 0.025;
/// A limit this many times the estimate says nothing and is left out.
const WIDEST: f64 = 1_000.0;
/// Extra variance below this part of the variance is none.
const NO_SPREAD: f64 = 1e-7;

/// An estimate and its range.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Estimate {
    /// The estimate; `None` when nothing was stated.
    pub value: Option<f64>,
    /// Lower end of the 95 % range; `None` when the pulls are too few to tell.
    pub low: Option<f64>,
    /// Upper end, likewise.
    pub high: Option<f64>,
}

/// The rate of these pulls, given how much such pulls differ.
pub fn rate(sums: &Sums, spread: Option<Spread>) -> Estimate {
    let Some(value) = sums.rate() else { return Estimate::default() };
    let (low, high) = match spread {
        None => (None, None),
        Some(Spread::Alpha(alpha)) => total(sums, alpha),
        Some(Spread::SquaredCv(squared_cv)) => amount(sums, squared_cv),
    };
    let most = WIDEST * sums.x.max(1.0);
    let per_unit = |total: f64| total / sums.t;
    let high = high.filter(|total| *total <= most).map(per_unit);
    Estimate { value: Some(value), low: low.map(per_unit), high }
}

/// Range of the total to be expected, of counts.
fn total(sums: &Sums, alpha: f64) -> (Option<f64>, Option<f64>) {
    let x = sums.x;
    let some = |total| Some(if x > 0.0 { total } else { 0.0 });
    if alpha * x.max(1.0) / sums.equal_pulls() < NO_SPREAD {
        return (some(gamma_quantile(x.max(1.0), TAIL)), Some(gamma_quantile(x + 1.0, 1.0 - TAIL)));
    }
    // The total is negative binomial of this shape r. P(X ≤ x) = I_p(r, x + 1) with p = r/(r + mean).
    let shape = sums.equal_pulls() / alpha;
    let mean = |log_odds: f64| shape * (-log_odds).exp();
    let low = mean(beta_log_odds(shape, x.max(1.0), 1.0 - TAIL));
    (some(low), Some(mean(beta_log_odds(shape, x + 1.0, TAIL))))
}

/// Range of the total to be expected, of amounts.
fn amount(sums: &Sums, squared_cv: f64) -> (Option<f64>, Option<f64>) {
    if sums.x <= 0.0 {
        return (Some(0.0), None);
    }
    let shape = sums.equal_pulls() / squared_cv;
    let times = |tail: f64| sums.x * shape / gamma_quantile(shape, tail);
    (Some(times(1.0 - TAIL)), Some(times(TAIL)))
}

/// The share `y` of `n`, each by itself.
pub fn share(y: f64, n: f64) -> Estimate {
    if n <= 0.0 {
        return Estimate::default();
    }
    let (low, high) = clopper_pearson(y, n);
    Estimate { value: Some(y / n), low: Some(low), high: Some(high) }
}

/// The share x/t of things that come in pulls: `sums` has x of t things a pull, and only pulls with any.
pub fn clustered_share(sums: &Sums) -> Estimate {
    let Some(value) = sums.rate() else { return Estimate::default() };
    let (n, freedom) = (sums.n, sums.n - 1.0);
    if freedom < 1.0 {
        return Estimate { value: Some(value), ..Estimate::default() };
    }
    let by_chance = sums.t * value * (1.0 - value);
    let squares = (sums.xx - 2.0 * value * sums.xt + value * value * sums.tt).max(0.0);
    // What clustering costs; with none or all of them there is nothing to tell it by.
    let effect = if by_chance > 0.0 { (n / freedom * squares / by_chance).max(1.0) } else { 1.0 };
    let worth = sums.t / effect * NORMAL_975 * NORMAL_975 / t_squared(freedom);
    let (low, high) = clopper_pearson(value * worth, worth);
    Estimate { value: Some(value), low: Some(low), high: Some(high) }
}

fn clopper_pearson(y: f64, n: f64) -> (f64, f64) {
    let low = if y > 0.0 { beta_quantile(y, n - y + 1.0, TAIL) } else { 0.0 };
    let high = if y < n { beta_quantile(y + 1.0, n - y, 1.0 - TAIL) } else { 1.0 };
    (low, high)
}
