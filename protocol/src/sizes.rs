//! Claw sizes by weight: the crew's table of classes.
//!
//! The classes are the buyer's, put on cooked and chilled claws, and differ from buyer to buyer: of a raw claw they are a
//! guess. The table taken by default is common practice, no source: medium from 2 oz, large from 3, jumbo from 5,
//! colossal from 8, super colossal from 10, and light below.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::scale::grams;

/// No claw is as heavy as this, grams: what is, is a lot. The longest known is some 150 mm long (common practice, no
/// source for its weight).
pub const CLAW_MOST_G: f64 = 600.0;
/// The lightest class that anybody takes begins at about this, grams: two ounces less a third.
pub const CLAW_LEAST_G: f64 = 38.0;

/// The classes, each with the grams it begins at.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Sizes(BTreeMap<String, f64>);

/// Why a table of sizes cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("size {name} cannot begin at \"{text}\": give a weight with its unit, such as \"3 oz\" or \"85 g\"")]
pub struct SizeError {
    name: String,
    text: String,
}

impl Default for Sizes {
    fn default() -> Sizes {
        let ounces = [
            ("light", 0.0),
            ("medium", 2.0),
            ("large", 3.0),
            ("jumbo", 5.0),
            ("colossal", 8.0),
            ("super colossal", 10.0),
        ];
        let of = |(name, oz): (&str, f64)| Some((name.to_owned(), grams(oz, "oz")?));
        Sizes(ounces.into_iter().filter_map(of).collect())
    }
}

impl Sizes {
    /// The classes as a person writes them: name, and the weight from which it is that.
    ///
    /// # Errors
    /// [`SizeError`] names the first whose weight is none.
    pub fn of<'a>(table: impl IntoIterator<Item = (&'a str, &'a str)>) -> Result<Sizes, SizeError> {
        let class = |(name, text): (&str, &str)| {
            let text = text.trim();
            let end = text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
            let (value, unit) = text.split_at(end);
            let g = value.parse().ok().and_then(|value: f64| grams(value, unit.trim()));
            let wrong = || SizeError { name: name.to_owned(), text: text.to_owned() };
            Ok((name.to_owned(), g.ok_or_else(wrong)?))
        };
        table.into_iter().map(class).collect::<Result<_, _>>().map(Sizes)
    }

    /// Whether this is the table taken by default.
    pub fn is_default(&self) -> bool {
        *self == Sizes::default()
    }

    /// The class of a claw of this weight, grams; `None` below all of them, or when it is no single claw.
    pub fn class(&self, g: f64) -> Option<&str> {
        let begun = self.0.iter().filter(|(_, from_g)| **from_g <= g && g < CLAW_MOST_G);
        begun.max_by(|a, b| a.1.total_cmp(b.1)).map(|(name, _)| name.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_claw_is_of_the_class_it_has_reached() {
        let sizes = Sizes::default();
        for (g, class) in [
            (40.0, Some("light")),
            (56.69, Some("light")),
            (56.7, Some("medium")),
            (85.0, Some("medium")),
            (85.05, Some("large")),
            (141.0, Some("large")),
            (141.75, Some("jumbo")),
            (226.79, Some("jumbo")),
            (226.8, Some("colossal")),
            (284.0, Some("super colossal")),
            (812.0, None),
            (-3.0, None),
        ] {
            assert_eq!(sizes.class(g), class, "{g} g");
        }
    }

    #[test]
    fn a_crew_writes_its_own() {
        let sizes = Sizes::of([("small", "60g"), ("big", " 0.3 lb "), ("huge", "0.25 kg")]).unwrap();
        let classes = [59.0, 61.0, 137.0, 251.0].map(|g| sizes.class(g));
        assert_eq!(classes, [None, Some("small"), Some("big"), Some("huge")]);
        assert_eq!(Sizes::of([]).unwrap().class(200.0), None);
        for text in ["heavy", "3", "3 stone", "", "-3 oz", "1.2.3 g"] {
            let said = Sizes::of([("large", text)]).unwrap_err().to_string();
            let expected = format!(
                "size large cannot begin at \"{text}\": give a weight with its unit, such as \"3 oz\" or \"85 g\""
            );
            assert_eq!(said, expected);
        }
    }

    #[test]
    fn a_table_goes_through_the_journal() {
        let json = serde_json::to_string(&Sizes::default()).unwrap();
        assert_eq!(serde_json::from_str::<Sizes>(&json).unwrap(), Sizes::default());
    }
}
