//! Soak in whole days: traps hauled every day have soaked 22 to 26 hours, and that is one day.

/// A class of soaks, to the nearest day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Soak {
    /// Up to one day and a half.
    ToOne,
    /// Two days.
    Two,
    /// Three days.
    Three,
    /// Four or five days.
    FourToFive,
    /// Six to eight days.
    SixToEight,
    /// More than eight days and a half.
    OverEight,
    /// Not known, or the trap is doubtful and its soak with it.
    Unknown,
}

impl Soak {
    /// The class of a soak in hours.
    pub fn of(hours: Option<f64>) -> Soak {
        match hours.map(|hours| hours / 24.0) {
            Some(days) if days < 1.5 => Soak::ToOne,
            Some(days) if days < 2.5 => Soak::Two,
            Some(days) if days < 3.5 => Soak::Three,
            Some(days) if days < 5.5 => Soak::FourToFive,
            Some(days) if days < 8.5 => Soak::SixToEight,
            Some(_) => Soak::OverEight,
            None => Soak::Unknown,
        }
    }

    /// Its days in words: words, as `4-5` would be the fifth of April to a spreadsheet.
    pub fn days(self) -> &'static str {
        match self {
            Soak::ToOne => "to 1",
            Soak::Two => "2",
            Soak::Three => "3",
            Soak::FourToFive => "4 to 5",
            Soak::SixToEight => "6 to 8",
            Soak::OverEight => "over 8",
            Soak::Unknown => "unknown",
        }
    }
}
