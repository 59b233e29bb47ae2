//! Units of mass and their exact factors (NIST SP 811, appendix B).

/// Grams in a pound avoirdupois: 0.453 592 37 kg, exact.
const POUND_G: f64 = 453.592_37;
/// Grams in an ounce avoirdupois: a sixteenth of a pound, exact.
const OUNCE_G: f64 = 28.349_523_125;

/// `value` of a unit (`g`, `kg`, `lb`, `oz`, in any case) in grams; `None` for any other unit or a value not finite.
///
/// Troy ounces, taels, pieces and per cent are no units of this trade: refused rather than taken for something else.
pub fn grams(value: f64, unit: &str) -> Option<f64> {
    let factor = match unit.to_ascii_lowercase().as_str() {
        "g" => 1.0,
        "kg" => 1_000.0,
        "lb" => POUND_G,
        "oz" => OUNCE_G,
        _ => return None,
    };
    Some(value * factor).filter(|g| g.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn factors_are_exact() {
        // NIST SP 811, appendix B: 1 lb = 453.592 37 g; an ounce is its sixteenth.
        for (lb, oz, g) in [
            (1.0, 16.0, 453.592_37),
            (0.5, 8.0, 226.796_185),
            (0.3125, 5.0, 141.747_615_625),
            (0.1875, 3.0, 85.048_569_375),
        ] {
            assert_eq!(grams(lb, "lb"), Some(g));
            assert_eq!(grams(oz, "oz"), Some(g));
        }
        assert_eq!(grams(1.5, "KG"), Some(1_500.0));
        assert_eq!(grams(-2.0, "g"), Some(-2.0));
    }

    #[test]
    fn other_units_are_refused() {
        for unit in ["ozt", "tl", "PC", "%", "", "kgs"] {
            assert_eq!(grams(1.0, unit), None, "{unit}");
        }
        assert_eq!(grams(f64::MAX, "kg"), None);
    }
}
