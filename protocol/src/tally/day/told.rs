//! What is told of a day, and weights said aloud.

use serde::{Deserialize, Serialize};

/// What the words of a day say of it; nothing is carried over from one reading to another.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Day {
    /// People aboard.
    pub people: Option<u32>,
    /// Wind, water and sky, in the crew's words.
    pub conditions: Option<String>,
    /// Claws counted at the dock.
    pub claws_landed: Option<u32>,
    /// Volume of the claws, litres.
    pub volume_l: Option<f64>,
    /// The volume was said to be about so much.
    pub approximate: bool,
    /// Claws weighed by size.
    pub lots: Vec<Lot>,
    /// Claws given away, one entry for each way it was said.
    pub given: Vec<Handed>,
    /// Claws sold, one entry for each way it was said.
    pub sold: Vec<Handed>,
}

impl Day {
    /// Whether nothing at all was said of it.
    pub fn is_empty(&self) -> bool {
        *self == Day::default()
    }

    /// Adds what was said later the same day: it stands in the place of what was said before of the same people, claws,
    /// volume, size or receiver; words on the weather are added.
    pub fn later(&mut self, said: &Day) {
        self.people = said.people.or(self.people);
        self.claws_landed = said.claws_landed.or(self.claws_landed);
        if said.volume_l.is_some() {
            (self.volume_l, self.approximate) = (said.volume_l, said.approximate);
        }
        if let Some(text) = &said.conditions {
            self.conditions =
                Some(self.conditions.take().map_or(text.clone(), |so_far| format!("{so_far}. {text}")));
        }
        replace(&mut self.lots, &said.lots, |lot| &lot.size);
        replace(&mut self.given, &said.given, |handed| &handed.to);
        replace(&mut self.sold, &said.sold, |handed| &handed.to);
    }

    /// Takes what is not stated yet from another, part by part: `from` is given what to take a part from.
    pub(crate) fn fill(&mut self, from: impl Fn(&dyn Fn(&Day) -> Option<Day>) -> Option<Day>) {
        type Part = (fn(&Day) -> bool, fn(&mut Day, &Day));
        let parts: [Part; 7] = [
            (|day| day.people.is_some(), |to, day| to.people = day.people),
            (|day| day.conditions.is_some(), |to, day| to.conditions.clone_from(&day.conditions)),
            (|day| day.claws_landed.is_some(), |to, day| to.claws_landed = day.claws_landed),
            (
                |day| day.volume_l.is_some(),
                |to, day| (to.volume_l, to.approximate) = (day.volume_l, day.approximate),
            ),
            (|day| !day.lots.is_empty(), |to, day| to.lots.clone_from(&day.lots)),
            (|day| !day.given.is_empty(), |to, day| to.given.clone_from(&day.given)),
            (|day| !day.sold.is_empty(), |to, day| to.sold.clone_from(&day.sold)),
        ];
        for (stated, take) in parts {
            let part = |day: &Day| {
                let mut part = Day::default();
                take(&mut part, day);
                stated(day).then_some(part)
            };
            if let Some(other) = Some(()).filter(|()| !stated(self)).and_then(|()| from(&part)) {
                take(self, &other);
            }
        }
    }
}

/// Puts what was said now in the place of what is of the same name, or behind it.
fn replace<T: Clone>(of: &mut Vec<T>, said: &[T], name: impl Fn(&T) -> &str) {
    for now in said {
        match of.iter_mut().find(|before| name(before) == name(now)) {
            Some(before) => before.clone_from(now),
            None => of.push(now.clone()),
        }
    }
}

/// Claws of one size, weighed together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lot {
    /// The size's word.
    pub size: String,
    /// Weight, grams.
    pub g: u32,
}

/// Claws that went to somebody.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Handed {
    /// How many.
    pub claws: u32,
    /// To whom, in the crew's words; empty when it was not said.
    pub to: String,
}

/// A weight said aloud.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Weight {
    /// Weight, grams.
    pub g: u32,
    /// Of all claws of the trap together.
    pub lot: bool,
    /// In which of the texts it was said, counted from 0.
    #[serde(default)]
    pub text: usize,
}
