//! A weight as text: sign, digits, unit, with the blanks, the decimal comma and the pounds and ounces found in the
//! field.

use super::units::{POUND_OZ, Unit};
use super::{Fault, shown};

/// A unit for which the value is pounds, a colon, and ounces.
const POUNDS_OUNCES: [&str; 4] = ["lb:oz", "lb/oz", "lb oz", "lboz"];

/// Splits `+ 12.34kg` into value and unit at the first letter, both trimmed; a comma may stand between them.
pub(super) fn split(text: &str) -> (&str, &str) {
    let at = text.find(|c: char| c.is_ascii_alphabetic() || c == '%').unwrap_or(text.len());
    let (value, unit) = text.split_at(at);
    (value.trim().trim_end_matches(|c: char| c.is_ascii_whitespace() || c == ','), unit.trim())
}

/// Whether this can be the value of a weight.
pub(super) fn is_value(text: &str) -> bool {
    match text.split_once(':') {
        Some((pounds, ounces)) => number(pounds).is_some() && digits(ounces).is_some(),
        None => number(text).is_some(),
    }
}

/// Grams in a value with its unit.
///
/// # Errors
/// [`Fault::Value`], [`Fault::Unit`], [`Fault::NoUnit`].
pub(super) fn grams(value: &str, unit: &str) -> Result<f64, Fault> {
    if let Some(ounces) = ounces_after(unit) {
        return pounds_ounces(value, ounces);
    }
    if let Some((pounds, ounces)) = value.split_once(':').filter(|_| pairs(unit)) {
        return pounds_ounces(pounds, ounces);
    }
    let number = number(value).ok_or_else(|| no_value(value, unit))?;
    if unit.is_empty() {
        return Err(Fault::NoUnit { value: shown(value) });
    }
    let unit = Unit::of(unit).ok_or_else(|| Fault::Unit { unit: shown(unit) })?;
    finite(number * unit.grams()).ok_or_else(|| no_value(value, unit.symbol()))
}

/// Sign, blanks, digits with one decimal point or comma. Blanks inside the digits, a second sign, and a comma beside
/// a point (thousands, or fields run together) are refused.
pub(super) fn number(text: &str) -> Option<f64> {
    let text = text.trim();
    let (sign, rest) = match text.strip_prefix('-') {
        Some(rest) => (-1.0, rest),
        None => (1.0, text.strip_prefix('+').unwrap_or(text)),
    };
    Some(sign * digits(rest)?)
}

fn digits(text: &str) -> Option<f64> {
    let text = text.trim_start();
    let plain = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',');
    let marks = text.chars().filter(|c| !c.is_ascii_digit()).count();
    let number = text.replace(',', ".").parse().ok();
    number.filter(|_| marks <= 1 && text.chars().all(plain)).and_then(finite)
}

fn finite(number: f64) -> Option<f64> {
    Some(number).filter(|number| number.is_finite())
}

fn pairs(unit: &str) -> bool {
    POUNDS_OUNCES.iter().any(|known| known.eq_ignore_ascii_case(unit))
}

/// The ounces of a unit that goes on with them, as in `lb 3.5 oz`.
fn ounces_after(unit: &str) -> Option<&str> {
    let (pounds, rest) = unit.split_at_checked(2)?;
    let (ounces, oz) = rest.split_at_checked(rest.len().checked_sub(2)?)?;
    let both = pounds.eq_ignore_ascii_case("lb") && oz.eq_ignore_ascii_case("oz");
    Some(ounces.trim()).filter(|ounces| both && !ounces.is_empty() && digits(ounces).is_some())
}

/// Whole pounds and less than a pound of ounces; the sign before the pounds is that of both.
fn pounds_ounces(pounds: &str, ounces: &str) -> Result<f64, Fault> {
    let fault = || Fault::Value { value: shown(&format!("{pounds}:{ounces}")) };
    let whole = number(pounds).filter(|whole| whole.fract() == 0.0).ok_or_else(fault)?;
    let rest = digits(ounces).filter(|rest| *rest < POUND_OZ).ok_or_else(fault)?;
    let oz = whole.abs() * POUND_OZ + rest;
    finite((oz * Unit::Oz.grams()).copysign(whole)).ok_or_else(fault)
}

fn no_value(value: &str, unit: &str) -> Fault {
    Fault::Value { value: shown(&format!("{value}{unit}")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_as_found_in_the_field() {
        for (text, expected) in [
            ("+ 12.34", Some(12.34)),
            ("-  0.182", Some(-0.182)),
            ("+00123.45", Some(123.45)),
            ("     0.0", Some(0.0)),
            ("0,182", Some(0.182)),
            ("-0,5", Some(-0.5)),
            ("5", Some(5.0)),
            (".5", Some(0.5)),
            ("5.", Some(5.0)),
            ("", None),
            ("-", None),
            (".", None),
            (",", None),
            ("1.2.3", None),
            ("1,234.5", None),
            ("1,2,3", None),
            ("1 2", None),
            ("- -1", None),
            ("+-1", None),
            ("1-", None),
            ("1e5", None),
            ("nan", None),
            ("inf", None),
        ] {
            assert_eq!(number(text), expected, "{text:?}");
        }
        assert_eq!(number(&"9".repeat(400)), None, "beyond all numbers");
    }

    #[test]
    fn pounds_and_ounces_are_one_weight() {
        // NIST SP 811, appendix B: 1 lb = 453.592 37 g, 1 oz = 28.349 523 125 g.
        for (text, g) in [
            ("1:00.0 lb:oz", 453.592_37),
            ("0:05.0 lb:oz", 141.747_615_625),
            ("1:3 lb/oz", 453.592_37 + 85.048_569_375),
            ("1 lb 3 oz", 453.592_37 + 85.048_569_375),
            ("1lb3oz", 453.592_37 + 85.048_569_375),
            ("- 1 LB 8,0 OZ", -(453.592_37 + 226.796_185)),
            ("-0:08.0 lb:oz", -226.796_185),
        ] {
            let (value, unit) = split(text);
            assert!(is_value(value), "{text}");
            let read = grams(value, unit).unwrap();
            assert!((read - g).abs() < 1e-9, "{text}: {read} is not {g}");
        }
        for text in ["1:16.0 lb:oz", "1.5 lb 3 oz", "1:-3 lb:oz", "1:3:2 lb:oz", "1: lb:oz", "1:3 lb", "1:3"]
        {
            let (value, unit) = split(text);
            assert!(matches!(grams(value, unit), Err(Fault::Value { .. })), "{text}");
        }
    }
}
