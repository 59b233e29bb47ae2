//! Units of mass and their exact factors (NIST SP 811, appendix B).

use serde::{Deserialize, Serialize};

/// Grams in a pound avoirdupois: 0.453 592 37 kg, exact.
const POUND_G: f64 = 453.592_37;
/// Grams in an ounce avoirdupois: a sixteenth of a pound, exact.
const OUNCE_G: f64 = 28.349_523_125;
/// Ounces in a pound.
pub(super) const POUND_OZ: f64 = 16.0;

/// A unit of mass that a scale may be set to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Unit {
    /// Gram.
    G,
    /// Kilogram.
    Kg,
    /// Pound avoirdupois.
    Lb,
    /// Ounce avoirdupois.
    Oz,
}

impl Unit {
    /// Its symbol.
    pub fn symbol(self) -> &'static str {
        match self {
            Unit::G => "g",
            Unit::Kg => "kg",
            Unit::Lb => "lb",
            Unit::Oz => "oz",
        }
    }

    /// The unit of this symbol, in any case; `lbs` is common for pounds.
    ///
    /// Troy ounces, taels, pieces and per cent are no units of this trade: refused rather than taken for something
    /// else.
    pub fn of(symbol: &str) -> Option<Unit> {
        match symbol.to_ascii_lowercase().as_str() {
            "g" => Some(Unit::G),
            "kg" => Some(Unit::Kg),
            "lb" | "lbs" => Some(Unit::Lb),
            "oz" => Some(Unit::Oz),
            _ => None,
        }
    }

    /// Grams in one.
    pub fn grams(self) -> f64 {
        match self {
            Unit::G => 1.0,
            Unit::Kg => 1_000.0,
            Unit::Lb => POUND_G,
            Unit::Oz => OUNCE_G,
        }
    }
}

/// `value` of a unit (`g`, `kg`, `lb`, `oz`, in any case) in grams; `None` for any other unit or a value not finite.
pub fn grams(value: f64, unit: &str) -> Option<f64> {
    Unit::of(unit).map(|unit| value * unit.grams()).filter(|g| g.is_finite())
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
            assert_eq!(grams(lb, "LBS"), Some(g));
            assert_eq!(grams(oz, "oz"), Some(g));
        }
        assert_eq!(POUND_OZ * OUNCE_G, POUND_G);
        assert_eq!(grams(1.5, "KG"), Some(1_500.0));
        assert_eq!(grams(-2.0, "g"), Some(-2.0));
    }

    #[test]
    fn other_units_are_refused() {
        for unit in ["ozt", "tl", "PC", "%", "", "kgs", "t", "gr"] {
            assert_eq!(grams(1.0, unit), None, "{unit}");
        }
        assert_eq!(grams(f64::MAX, "kg"), None);
    }

    #[test]
    fn a_unit_is_known_by_its_own_symbol() {
        for unit in [Unit::G, Unit::Kg, Unit::Lb, Unit::Oz] {
            assert_eq!(Unit::of(unit.symbol()), Some(unit));
            assert_eq!(serde_json::to_value(unit).unwrap(), unit.symbol(), "as in the settings");
        }
    }
}
