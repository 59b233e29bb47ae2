//! What is said beside the counts: weights read aloud where no scale is, and what is said of the pull before.

use std::collections::BTreeMap;

use super::Pull;
use crate::correct::Corrections;
use crate::finding::{Moment, Weighing};
use crate::record::Record;
use crate::tally::{KEYS, Weight};

/// One standard deviation of a weight said aloud: a share of it, and grams at the least. A hanging scale is read to its
/// nearest mark and said rounded (common sense, no source).
const SD_SHARE: f64 = 0.05;
const SD_LEAST_G: f64 = 14.0;

/// The weights that were said, as if weighed: that of the lot as it was said last, or else the claws' one by one.
pub(super) fn weighings(said: &[(Moment, Weight)]) -> Vec<Weighing> {
    let lot = said.iter().rfind(|(_, weight)| weight.lot).map(std::slice::from_ref);
    let one = |(at, weight): &(Moment, Weight)| {
        let g = f64::from(weight.g);
        Weighing { at: *at, g, sd_g: (g * SD_SHARE).max(SD_LEAST_G) }
    };
    lot.unwrap_or(said).iter().map(one).collect()
}

/// Gives each pull, as drafts, what was said of it at the next one: where nothing is stated, to be confirmed, or corrected
/// already.
pub(super) fn of_the_pull_before(
    pulls: &[Pull<'_>],
    corrections: &Corrections,
    records: &mut BTreeMap<String, Record>,
) {
    for (pull, next) in pulls.iter().zip(pulls.iter().skip(1)) {
        let Some(record) = records.get_mut(&pull.stop.id) else { continue };
        for key in KEYS {
            let open = record.tally.get(key).is_none()
                && record.drafts.get(key).is_none()
                && corrections.value(&pull.stop.id, key).is_none();
            if let Some(value) = next.words.reading.before.get(key).filter(|_| open) {
                // What a tally gives, a tally takes.
                let _ = record.drafts.set(key, &value);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Mono;

    #[test]
    fn a_weight_said_of_the_lot_stands_for_all() {
        let at = Moment { t: Mono(0), utc: None };
        let said = |g, lot| (at, Weight { g, lot, text: 0 });
        for (weights, expected) in [
            (vec![], vec![]),
            (vec![said(200, false), said(300, false)], vec![(200.0, 14.0), (300.0, 15.0)]),
            (vec![said(200, false), said(680, true)], vec![(680.0, 34.0)]),
            (vec![said(680, true), said(700, true), said(90, false)], vec![(700.0, 35.0)]),
        ] {
            let found: Vec<(f64, f64)> = weighings(&weights).iter().map(|w| (w.g, w.sd_g)).collect();
            assert_eq!(found, expected, "{weights:?}");
        }
    }
}
