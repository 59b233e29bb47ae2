//! What was weighed at a pull, put to use: sizes of single claws, the tub left out, and claws said against claws weighed.

use std::collections::BTreeMap;

use crate::finding::{Moment, Weighing};
use crate::record::{BySize, WeighingRecord, Weight, round};
use crate::sizes::{CLAW_LEAST_G, CLAW_MOST_G, Sizes};
use crate::time::{Mono, SECOND};

/// A tub is put on at most this long before somebody says so, microseconds.
const TUB: i64 = 20 * SECOND;
/// Whether a note says that a tub was put on.
pub(super) fn says_tare(text: &str) -> bool {
    let mut words = text.split(|c: char| !c.is_alphanumeric());
    words.any(|word| ["tare", "tared", "tara"].iter().any(|tare| word.eq_ignore_ascii_case(tare)))
}

/// The weighings without the tubs that were said to be put on at these times.
pub(super) fn without_tubs(weighings: &[Weighing], tares: &[Mono]) -> Vec<Weighing> {
    let mut left = weighings.to_vec();
    for tare in tares {
        let tub = left.iter().rposition(|w| (0..=TUB).contains(&(*tare - w.at.t)));
        tub.map(|at| left.remove(at));
    }
    left
}

/// Whether what was weighed can be so many claws: one by one, or all in one lot.
pub(super) fn agrees(weighings: &[Weighing], claws: u32) -> bool {
    let count = u32::try_from(weighings.len()).unwrap_or(u32::MAX);
    match weighings {
        [] => true,
        [lot] if claws > 1 => (CLAW_LEAST_G..CLAW_MOST_G).contains(&(lot.g / f64::from(claws))),
        // Several lots: no telling.
        several if several.iter().any(|w| w.g >= CLAW_MOST_G) => true,
        _ => count == claws,
    }
}

/// What the record says of it; `None` when nothing was weighed. Each claw gets its class when they were weighed one by
/// one, as far as known; of a lot no class is made up.
pub(super) fn weight(weighings: &[Weighing], claws: Option<u32>, sizes: &Sizes) -> Option<Weight> {
    if weighings.is_empty() {
        return None;
    }
    let singly = claws.is_none_or(|claws| u32::try_from(weighings.len()) == Ok(claws));
    let class = |g: f64| sizes.class(g).filter(|_| singly).map(str::to_owned);
    let records: Vec<WeighingRecord> = weighings
        .iter()
        .map(|weighing| WeighingRecord { size: class(weighing.g), ..record(weighing) })
        .collect();
    let mut by_size: BTreeMap<String, BySize> = BTreeMap::new();
    for (size, record) in records.iter().filter_map(|record| Some((record.size.clone()?, record))) {
        let sum = by_size.entry(size).or_default();
        sum.claws += 1;
        sum.g = round(sum.g + record.g, 1);
    }
    Some(Weight {
        total_g: round(weighings.iter().map(|w| w.g).sum(), 1),
        sd_g: round(weighings.iter().map(|w| w.sd_g * w.sd_g).sum::<f64>().sqrt(), 1),
        by_size,
        weighings: records,
    })
}

/// One weighing as it is written, without a class.
pub(super) fn record(weighing: &Weighing) -> WeighingRecord {
    let Moment { utc, .. } = weighing.at;
    WeighingRecord {
        at: utc.map(|utc| utc.to_string()),
        g: round(weighing.g, 1),
        sd_g: round(weighing.sd_g, 1),
        size: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weighed(loads: &[(i64, f64)]) -> Vec<Weighing> {
        let weighing = |(s, g): &(i64, f64)| {
            let at = Moment { t: Mono(s * SECOND), utc: None };
            Weighing { at, g: *g, sd_g: 3.0 }
        };
        loads.iter().map(weighing).collect()
    }

    /// Sizes of the weighings, and whether they agree with the claws said.
    fn check(loads: &[f64], claws: Option<u32>, sizes: &[Option<&str>], agreed: bool) {
        let loads: Vec<(i64, f64)> = loads.iter().enumerate().map(|(n, g)| (n as i64, *g)).collect();
        let weighings = weighed(&loads);
        let weight = weight(&weighings, claws, &Sizes::default()).unwrap();
        let found: Vec<Option<&str>> = weight.weighings.iter().map(|w| w.size.as_deref()).collect();
        assert_eq!(found, sizes, "{loads:?}, {claws:?}");
        assert_eq!(claws.is_none_or(|claws| agrees(&weighings, claws)), agreed, "{loads:?}, {claws:?}");
        let counted: u32 = weight.by_size.values().map(|sum| sum.claws).sum();
        assert_eq!(counted as usize, sizes.iter().flatten().count());
    }

    #[test]
    fn claws_get_a_class_when_weighed_one_by_one() {
        check(&[182.0, 90.0], None, &[Some("jumbo"), Some("large")], true);
        check(&[182.0, 90.0], Some(2), &[Some("jumbo"), Some("large")], true);
        check(&[182.0], Some(1), &[Some("jumbo")], true);
        // One lot of several, light enough to be taken for one claw.
        check(&[412.0], Some(3), &[None], true);
        check(&[412.0], Some(1), &[Some("super colossal")], true);
        check(&[812.0], None, &[None], true);
        // Three lots of many.
        check(&[1_812.0, 1_240.0, 702.0], Some(31), &[None, None, None], true);
    }

    #[test]
    fn what_was_said_and_what_was_weighed_are_compared() {
        check(&[182.0, 90.0], Some(3), &[None, None], false);
        check(&[182.0, 90.0, 120.0], Some(2), &[None, None, None], false);
        // Too light for so many, or too heavy.
        check(&[90.0], Some(6), &[None], false);
        check(&[182.0], Some(0), &[None], false);
    }

    #[test]
    fn a_tub_is_left_out_when_somebody_says_so() {
        let all = weighed(&[(0, 182.0), (30, 350.0), (40, 120.0)]);
        let left = |tares: &[i64]| -> Vec<f64> {
            let tares: Vec<Mono> = tares.iter().map(|s| Mono(s * SECOND)).collect();
            without_tubs(&all, &tares).iter().map(|w| w.g).collect()
        };
        assert_eq!(left(&[]), [182.0, 350.0, 120.0]);
        assert_eq!(left(&[35]), [182.0, 120.0]);
        assert_eq!(left(&[29]), [182.0, 350.0, 120.0]);
        assert_eq!(left(&[5, 33]), [120.0]);
        let said = ["Tare.", "seven crabs, tare the tub", "a tartare of crab", ""].map(says_tare);
        assert_eq!(said, [true, true, false, false]);
    }

    #[test]
    fn a_sum_by_size_and_its_uncertainty() {
        let weighings = weighed(&[(0, 182.04), (9, 190.0), (20, 90.0)]);
        let weight = weight(&weighings, None, &Sizes::default()).unwrap();
        assert_eq!((weight.total_g, weight.sd_g), (462.0, 5.2));
        let by_size: Vec<(&str, u32, f64)> =
            weight.by_size.iter().map(|(size, sum)| (size.as_str(), sum.claws, sum.g)).collect();
        assert_eq!(by_size, [("jumbo", 2, 372.0), ("large", 1, 90.0)]);
    }
}
