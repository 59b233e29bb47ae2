//! The functions behind the intervals: gamma and beta distributions and where they reach a probability.
//!
//! Formulas by their numbers in the NIST Digital Library of Mathematical Functions (DLMF). Within some 1e-10 of the value
//! for parameters up to a million, which is far more than the data can tell.

/// The standard normal distribution reaches 97.5 % here.
pub(super) const NORMAL_975: f64 = 1.959_963_984_540_054;

/// Terms of a series or a continued fraction at most: enough for parameters of some hundred million.
const TERMS: u32 = 100_000;
/// Below this a term changes nothing.
const SMALL: f64 = 1e-15;
/// Stands in for a denominator that would be nought (modified Lentz).
const TINY: f64 = 1e-300;
/// Logarithms outside this are nought or infinite as a number.
const LOG_MOST: f64 = 690.0;

/// ln Γ(x) for x > 0: Stirling's series (DLMF 5.11.1) from 12 up, the recurrence (5.5.1) below.
fn ln_gamma(x: f64) -> f64 {
    let (mut x, mut product) = (x, 1.0);
    while x < 12.0 {
        product *= x;
        x += 1.0;
    }
    let inverse = 1.0 / x;
    let square = inverse * inverse;
    let series = inverse
        * (1.0 / 12.0
            - square
                * (1.0 / 360.0 - square * (1.0 / 1_260.0 - square * (1.0 / 1_680.0 - square / 1_188.0))));
    (x - 0.5) * x.ln() - x + 0.5 * std::f64::consts::TAU.ln() + series - product.ln()
}

/// A continued fraction b₀ + a₁/(b₁ + a₂/(b₂ + …)) by the modified Lentz method (DLMF 3.10(iii)); `term` gives aₙ and bₙ.
fn fraction(b0: f64, term: impl Fn(f64) -> (f64, f64)) -> f64 {
    let safe = |x: f64| if x.abs() < TINY { TINY } else { x };
    let mut value = safe(b0);
    let (mut c, mut d) = (value, 0.0);
    for n in 1..TERMS {
        let (a, b) = term(f64::from(n));
        d = 1.0 / safe(b + a * d);
        c = safe(b + a / c);
        value *= c * d;
        if (c * d - 1.0).abs() < SMALL {
            break;
        }
    }
    value
}

/// P(a, x), the gamma distribution of shape a up to x (DLMF 8.7.1 and 8.9.2).
fn gamma_up_to(a: f64, x: f64) -> f64 {
    let front = (a * x.ln() - x - ln_gamma(a)).exp();
    if x < a + 1.0 {
        let (mut term, mut sum) = (1.0 / a, 1.0 / a);
        for n in 1..TERMS {
            term *= x / (a + f64::from(n));
            sum += term;
            if term < sum * SMALL {
                break;
            }
        }
        front * sum
    } else {
        1.0 - front / fraction(x + 1.0 - a, |n| (-n * (n - a), x + 2.0 * n + 1.0 - a))
    }
}

/// Where the gamma distribution of shape `a` and scale 1 reaches `probability`, both positive.
pub(super) fn gamma_quantile(a: f64, probability: f64) -> f64 {
    let most = (a + 40.0 * a.sqrt() + 60.0).ln();
    let ln_x = rising_root(-LOG_MOST, most, a.ln().clamp(-LOG_MOST, most), |ln_x| {
        let x = ln_x.exp();
        (gamma_up_to(a, x) - probability, (a * ln_x - x - ln_gamma(a)).exp())
    });
    ln_x.exp()
}

/// Where the beta distribution of `a` and `b` reaches `probability`, as the logarithm of x/(1 − x): near 0 and near 1
/// nothing is lost. All positive.
pub(super) fn beta_log_odds(a: f64, b: f64, probability: f64) -> f64 {
    let ln_beta = ln_gamma(a) + ln_gamma(b) - ln_gamma(a + b);
    let start = (a / b).ln().clamp(-LOG_MOST, LOG_MOST);
    rising_root(-LOG_MOST, LOG_MOST, start, |log_odds| {
        // ln x and ln(1 − x)
        let (ln_x, ln_rest) = (-(-log_odds).exp().ln_1p(), -log_odds.exp().ln_1p());
        let front = (a * ln_x + b * ln_rest - ln_beta).exp();
        // The fraction converges fast on this side of the middle (DLMF 8.17.22); the other side is 8.17.4.
        let up_to = if ln_x.exp() < (a + 1.0) / (a + b + 2.0) {
            front / a / beta_fraction(a, b, ln_x.exp())
        } else {
            1.0 - front / b / beta_fraction(b, a, ln_rest.exp())
        };
        (up_to - probability, front)
    })
}

fn beta_fraction(a: f64, b: f64, x: f64) -> f64 {
    fraction(1.0, |n| {
        let m = (n / 2.0).floor();
        let even = n % 2.0 == 0.0;
        let a_n = if even {
            m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m))
        } else {
            -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0))
        };
        (a_n, 1.0)
    })
}

/// Where the beta distribution of `a` and `b` reaches `probability`.
pub(super) fn beta_quantile(a: f64, b: f64, probability: f64) -> f64 {
    1.0 / (1.0 + (-beta_log_odds(a, b, probability)).exp())
}

/// The square of Student's t that 95 % lie within, for `freedom` degrees of freedom (DLMF 8.17; Abramowitz and Stegun
/// 26.7.1).
pub(super) fn t_squared(freedom: f64) -> f64 {
    freedom * (-beta_log_odds(freedom / 2.0, 0.5, 0.05)).exp()
}

/// Where a rising function passes nought: Newton's steps, halving the bracket where they would leave it. `f` gives value
/// and slope.
pub(super) fn rising_root(low: f64, high: f64, start: f64, f: impl Fn(f64) -> (f64, f64)) -> f64 {
    let (mut low, mut high, mut x) = (low, high, start);
    for _ in 0..200 {
        let (value, slope) = f(x);
        if value < 0.0 {
            low = x;
        } else {
            high = x;
        }
        let newton = x - value / slope;
        let next = if newton > low && newton < high { newton } else { (low + high) / 2.0 };
        let step = (next - x).abs();
        x = next;
        if step <= 1e-13 * x.abs().max(1.0) || high - low <= 1e-13 * x.abs().max(1.0) {
            break;
        }
    }
    x
}
