//! Numbers as text: the fewest digits that read back as the same number, never an exponent, no point without need.

use std::fmt::Write;

/// Room for a number on its way out.
#[derive(Default)]
pub struct Digits {
    whole: itoa::Buffer,
    number: zmij::Buffer,
    long: String,
}

impl Digits {
    /// A whole number.
    pub fn whole(&mut self, n: i64) -> &str {
        self.whole.format(n)
    }

    /// A number; what is no number at all has no digits.
    pub fn number(&mut self, x: f64) -> &str {
        // Within this range none is written with an exponent.
        if !(1e-4..1e15).contains(&x.abs()) {
            return self.rare(x);
        }
        let text = self.number.format_finite(x);
        text.strip_suffix(".0").unwrap_or(text)
    }

    fn rare(&mut self, x: f64) -> &str {
        self.long.clear();
        if x.is_finite() {
            // Writing to a String cannot fail.
            let _ = write!(self.long, "{x}");
        }
        &self.long
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn digits_are_those_that_people_write() {
        for (x, expected) in [
            (0.0, "0"),
            (-0.5, "-0.5"),
            (812.0, "812"),
            (-81.6666667, "-81.6666667"),
            (0.0000001, "0.0000001"),
            (0.0001, "0.0001"),
            (999999999999999.9, "999999999999999.9"),
            (7549427091534634.0 / 8.0, "943678386441829.2"),
            (1e16, "10000000000000000"),
            (1e21, "1000000000000000000000"),
            (f64::NAN, ""),
            (f64::INFINITY, ""),
        ] {
            assert_eq!(Digits::default().number(x), expected);
        }
    }

    proptest! {
        #[test]
        fn they_read_back_as_the_same_number(x in proptest::num::f64::NORMAL | proptest::num::f64::ZERO, n: i64) {
            let mut digits = Digits::default();
            // As long as std's; the last digit may be the other one where both are equally near (943678386441829.25).
            prop_assert_eq!(digits.number(x).len(), x.to_string().len());
            prop_assert!(!digits.number(x).contains('e'));
            prop_assert_eq!(digits.number(x).parse::<f64>().unwrap().to_bits(), x.to_bits());
            prop_assert_eq!(digits.whole(n), n.to_string());
        }
    }
}
