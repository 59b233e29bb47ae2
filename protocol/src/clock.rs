//! Learns UTC from GPS sentences that all come late, and dates any moment of a segment. The rules and the reasons are in
//! `daemon/design/time.md`.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::finding::TimeSource;
use crate::time::{DAY, Mono, SECOND, Utc};

/// The window over which the least delayed sentence holds, in buckets.
const WINDOW: i64 = 60;
/// Length of a bucket, microseconds.
const BUCKET_US: i64 = 5 * SECOND;
/// A sample this far behind the clock is not believed alone, microseconds. A change this large is a step.
const STEP_US: i64 = 1_500_000;
/// A sample this far ahead of the clock is not believed alone, microseconds: up to this, those before it were late.
const AHEAD_US: i64 = 2_500_000;
/// Samples this near to one another agree on a step, microseconds: delays differ.
const AGREE_US: u64 = 3_000_000;
/// Samples that make a step forwards.
const FORWARDS: u32 = 3;
/// Samples that make a step backwards, which also looks like a delay…
const BACKWARDS: u32 = 10;
/// …and how long they must last, microseconds.
const BACKWARDS_US: i64 = 5 * SECOND;
/// 2024-01-01T00:00:00Z.
const DOUBTFUL_BEFORE: Utc = Utc(1_704_067_200 * SECOND);

/// Whether a date is out of reason: before 2024, when this program did not exist. Receivers that are 1024 weeks behind
/// land there until August 2043 (GPS week numbers of ten bits, IS-GPS-200, 20.3.3.3.1.1).
pub fn doubtful(utc: Utc) -> bool {
    utc < DOUBTFUL_BEFORE
}

/// The clock was set: UTC by this clock changed at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// By how much, microseconds, forwards positive.
    pub by_us: i64,
}

/// UTC of a segment's monotonic clock, from the GPS sentences heard and, in a live run, the system clock.
///
/// A pure function of what it was given, in bounded memory.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct GpsClock {
    /// UTC − monotonic time by the system clock, microseconds.
    system_us: Option<i64>,
    /// Largest UTC − monotonic time by GPS for each bucket; only those that no later one exceeds, so they fall.
    window: VecDeque<Bucket>,
    /// Arrival of the last sentence that was believed.
    heard: Mono,
    /// What the last sentence said.
    last: Option<Utc>,
    suspect: Option<Suspect>,
}

/// The least delayed sentence of a bucket.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Bucket {
    number: i64,
    offset_us: i64,
}

/// Samples that agree with one another and not with the clock.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Suspect {
    offset_us: i64,
    since: Mono,
    count: u32,
}

impl GpsClock {
    /// A clock that has heard no GPS. `system` is what the system clock said at a moment of a live run; `None` for logs and
    /// tapes.
    pub fn new(system: Option<(Mono, Utc)>) -> GpsClock {
        GpsClock { system_us: system.map(|(t, utc)| utc.0.saturating_sub(t.0)), ..GpsClock::default() }
    }

    /// Takes UTC as a sentence said it, which arrived at `t`: of RMC when it is valid, of ZDA while positions are.
    ///
    /// Returns the step when this sentence confirms one. The first sentence makes none.
    pub fn hear(&mut self, t: Mono, utc: Utc) -> Option<Step> {
        // The same second told again comes later, so it says nothing new, and it must not confirm anything.
        if self.last.replace(utc) == Some(utc) {
            return None;
        }
        let (had_gps, before_us) = (self.heard_gps(), self.offset_us());
        let offset_us = utc.0.saturating_sub(t.0);
        let ahead_us = self.gps_us().map_or(0, |best_us| offset_us.saturating_sub(best_us));
        if (-STEP_US..=AHEAD_US).contains(&ahead_us) {
            self.suspect = None;
            self.admit(t, offset_us);
        } else {
            let suspect = self.suspected(t, offset_us);
            let confirmed = if ahead_us > 0 {
                suspect.count >= FORWARDS
            } else {
                suspect.count >= BACKWARDS && t - suspect.since >= BACKWARDS_US
            };
            if !confirmed {
                self.suspect = Some(suspect);
                return None;
            }
            self.suspect = None;
            self.window.clear();
            self.admit(t, suspect.offset_us);
        }
        // With the day from the system clock, a receiver that finds its own day again changes nothing.
        let by_us = if had_gps { self.offset_us()?.saturating_sub(before_us?) } else { 0 };
        (by_us.abs() > STEP_US).then_some(Step { by_us })
    }

    /// The samples this one agrees with, and itself.
    fn suspected(&self, t: Mono, offset_us: i64) -> Suspect {
        match self.suspect {
            Some(suspect) if offset_us.abs_diff(suspect.offset_us) <= AGREE_US => {
                Suspect { offset_us: suspect.offset_us.max(offset_us), count: suspect.count + 1, ..suspect }
            }
            _ => Suspect { offset_us, since: t, count: 1 },
        }
    }

    /// UTC at a moment of the segment, before or after what was heard; `None` when no clock is known.
    pub fn utc_at(&self, t: Mono) -> Option<Utc> {
        Some(Utc(t.0.saturating_add(self.offset_us()?)))
    }

    /// The moment of the segment at which it was this UTC.
    pub fn mono_of(&self, utc: Utc) -> Option<Mono> {
        Some(Mono(utc.0.saturating_sub(self.offset_us()?)))
    }

    /// UTC of a time of day (microseconds) that was heard at `t`: that of the day which brings it nearest.
    pub fn resolve(&self, t: Mono, tod_us: i64) -> Option<Utc> {
        let near = self.utc_at(t)?;
        Some(Utc(tod_us + nearest_days_us(near.0.saturating_sub(tod_us))))
    }

    /// Whether UTC was ever heard from GPS.
    pub fn heard_gps(&self) -> bool {
        !self.window.is_empty()
    }

    /// Which clock `utc_at` answers by.
    pub fn source(&self) -> TimeSource {
        match (self.heard_gps(), self.system_us) {
            (true, _) => TimeSource::Gps,
            (false, Some(_)) => TimeSource::System,
            (false, None) => TimeSource::None,
        }
    }

    /// Whether the date is out of reason as GPS gave it (also when the system clock's day serves instead), or the system
    /// clock's without GPS.
    pub fn is_doubtful(&self) -> bool {
        self.gps_us().or(self.system_us).is_some_and(|offset_us| self.doubts(offset_us))
    }

    fn doubts(&self, offset_us: i64) -> bool {
        doubtful(Utc(self.heard.0.saturating_add(offset_us)))
    }

    fn gps_us(&self) -> Option<i64> {
        self.window.front().map(|best| best.offset_us)
    }

    /// UTC − monotonic time by which everything is answered, microseconds.
    fn offset_us(&self) -> Option<i64> {
        match (self.gps_us(), self.system_us) {
            (Some(gps), Some(system)) if self.doubts(gps) && !self.doubts(system) => {
                Some(gps + nearest_days_us(system.saturating_sub(gps)))
            }
            (gps, system) => gps.or(system),
        }
    }

    fn admit(&mut self, t: Mono, offset_us: i64) {
        self.heard = t;
        let number = t.0.div_euclid(BUCKET_US);
        while self.window.front().is_some_and(|oldest| oldest.number < number - WINDOW) {
            self.window.pop_front();
        }
        while self.window.back().is_some_and(|last| last.offset_us <= offset_us) {
            self.window.pop_back();
        }
        if self.window.back().is_none_or(|last| last.number < number) {
            self.window.push_back(Bucket { number, offset_us });
        }
    }
}

/// The whole number of days nearest to a span, microseconds.
fn nearest_days_us(span_us: i64) -> i64 {
    span_us.saturating_add(DAY / 2).div_euclid(DAY) * DAY
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn utc(text: &str) -> Utc {
        Utc::parse(text).unwrap()
    }

    fn s(seconds: f64) -> Mono {
        Mono::from_s(seconds).unwrap()
    }

    /// A clock that heard one prompt sentence a second from `start` (at t = 100 s) for `seconds`.
    fn running(system: Option<(Mono, Utc)>, start: &str, seconds: i64) -> GpsClock {
        let mut clock = GpsClock::new(system);
        for i in 0..seconds {
            assert_eq!(clock.hear(s(100.0) + i * SECOND, utc(start) + i * SECOND), None);
        }
        clock
    }

    #[test]
    fn a_time_of_day_gets_the_nearest_day() {
        let cases = [
            ("2027-01-10T23:59:58Z", "23:59:59.500", "2027-01-10T23:59:59.500Z"),
            ("2027-01-10T23:59:58Z", "00:00:00.500", "2027-01-11T00:00:00.500Z"),
            ("2027-01-11T00:00:01Z", "23:59:59.500", "2027-01-10T23:59:59.500Z"),
            ("2027-12-31T23:59:59Z", "00:00:00.000", "2028-01-01T00:00:00.000Z"),
            ("2028-02-28T23:59:59Z", "00:00:00.000", "2028-02-29T00:00:00.000Z"),
            ("2027-01-10T12:00:00Z", "23:59:00.000", "2027-01-10T23:59:00.000Z"),
        ];
        for (now, tod, expected) in cases {
            let clock = running(None, now, 1);
            let tod_us = utc(&format!("1970-01-01T{tod}Z")).0;
            assert_eq!(clock.resolve(s(100.0), tod_us), Some(utc(expected)), "{now} {tod}");
        }
        // 23:59:60 is 24 h.
        let clock = running(None, "2026-12-31T23:59:58Z", 1);
        assert_eq!(clock.resolve(s(102.0), DAY), Some(utc("2027-01-01T00:00:00Z")));
    }

    #[test]
    fn midnight_and_year_end_need_no_step() {
        let clock = running(None, "2027-12-31T23:58:00Z", 240);
        assert_eq!(clock.utc_at(s(100.0 + 180.0)), Some(utc("2028-01-01T00:01:00Z")));
        assert_eq!(clock.mono_of(utc("2028-01-01T00:01:00Z")), Some(s(280.0)));
    }

    #[test]
    fn moments_before_the_first_date_are_dated_by_it() {
        let mut clock = GpsClock::new(None);
        assert_eq!(
            (clock.utc_at(s(5.0)), clock.source(), clock.is_doubtful()),
            (None, TimeSource::None, false)
        );
        clock.hear(s(600.0), utc("2027-01-10T12:10:00Z"));
        assert_eq!(clock.utc_at(s(5.0)), Some(utc("2027-01-10T12:00:05Z")));
        assert_eq!((clock.source(), clock.heard_gps()), (TimeSource::Gps, true));
    }

    #[test]
    fn the_system_clock_serves_until_gps_is_heard() {
        let mut clock = GpsClock::new(Some((s(1.0), utc("2027-01-10T11:00:01Z"))));
        assert_eq!(clock.utc_at(s(61.0)), Some(utc("2027-01-10T11:01:01Z")));
        assert_eq!(
            (clock.source(), clock.heard_gps(), clock.is_doubtful()),
            (TimeSource::System, false, false)
        );
        assert_eq!(clock.hear(s(61.0), utc("2027-01-10T12:10:00Z")), None);
        assert_eq!(clock.utc_at(s(62.0)), Some(utc("2027-01-10T12:10:01Z")));
        assert_eq!(clock.source(), TimeSource::Gps);
        let unset = GpsClock::new(Some((s(1.0), utc("1970-01-01T00:00:30Z"))));
        assert!(unset.is_doubtful());
    }

    #[test]
    fn steps_are_taken_when_confirmed() {
        let hour = 3_600 * SECOND;
        // What is heard after 60 good seconds is shifted by this; sentences of it; the step and at which of them it comes.
        type Case = (i64, i64, Option<(i64, i64)>);
        let cases: &[Case] = &[
            (2 * SECOND, 1, Some((2 * SECOND, 0))),
            (3 * SECOND, 2, None),
            (3 * SECOND, 20, Some((3 * SECOND, 2))),
            (18 * SECOND, 2, None),
            (18 * SECOND, 20, Some((18 * SECOND, 2))),
            (hour, 3, Some((hour, 2))),
            (-2 * SECOND, 20, Some((-2 * SECOND, 9))),
            (-18 * SECOND, 9, None),
            (-hour, 20, Some((-hour, 9))),
            (7168 * DAY, 20, Some((7168 * DAY, 2))),
            (-DAY, 1, None),
            (SECOND, 20, None),
            (-SECOND, 20, None),
        ];
        for (shift, sentences, expected) in cases {
            let mut clock = running(None, "2027-01-10T12:00:00Z", 60);
            let mut found = None;
            for i in 0..*sentences {
                let t = s(160.0) + i * SECOND;
                if let Some(step) = clock.hear(t, utc("2027-01-10T12:01:00Z") + i * SECOND + *shift) {
                    assert_eq!(found, None);
                    found = Some((step.by_us, i));
                }
            }
            assert_eq!(found, *expected, "{shift}");
            let now = clock.utc_at(s(160.0)).unwrap() - utc("2027-01-10T12:01:00Z");
            let forwards_at_once = (0..=STEP_US).contains(shift).then_some(*shift);
            assert_eq!(now, expected.map(|(by, _)| by).or(forwards_at_once).unwrap_or(0), "{shift}");
        }
    }

    #[test]
    fn what_is_not_a_step() {
        let start = utc("2027-01-10T12:01:00Z");
        // A stall of eight seconds and its backlog, all at once.
        let mut clock = running(None, "2027-01-10T12:00:00Z", 60);
        for i in 0..8 {
            assert_eq!(clock.hear(s(168.0), start + i * SECOND), None);
        }
        assert_eq!(clock.utc_at(s(160.0)), Some(start));
        // One wrong sentence given twice, or as RMC and as ZDA.
        for _ in 0..9 {
            assert_eq!(clock.hear(s(169.0), start + DAY), None);
        }
        // A second receiver on the wire that is wrong.
        for i in 10..60 {
            assert_eq!(clock.hear(s(160.0) + i * SECOND, start + i * SECOND), None);
            assert_eq!(clock.hear(s(160.0) + i * SECOND, start + i * SECOND + DAY), None);
        }
        // A receiver that repeats its last sentence for ever.
        for i in 0..600 {
            assert_eq!(clock.hear(s(230.0) + i * SECOND, start + 60 * SECOND), None);
        }
        assert_eq!(clock.utc_at(s(160.0)), Some(start));
    }

    #[test]
    fn a_small_step_back_follows_within_the_window() {
        // A leap second: GPS time goes on, UTC falls back by one.
        let mut clock = running(None, "2026-12-31T23:55:00Z", 300);
        let midnight = utc("2027-01-01T00:00:00Z");
        for i in 0..310 {
            assert_eq!(clock.hear(s(400.0 + 1.0) + i * SECOND, midnight + i * SECOND), None);
        }
        assert_eq!(clock.utc_at(s(711.0)), Some(midnight + 310 * SECOND));
    }

    #[test]
    fn a_drifting_clock_is_followed() {
        for ppm in [50, -50] {
            let mut clock = GpsClock::new(None);
            for i in 0..36_000 {
                let now = utc("2027-01-10T08:00:00Z") + i * SECOND;
                let t = Mono(i * SECOND + i * ppm);
                // Between 50 and 350 ms late, a prompt one every seven seconds.
                let late = 50_000 + (i * 3) % 7 * 50_000;
                assert_eq!(clock.hear(t + late, now), None);
                let error = clock.utc_at(t).unwrap() - (now - 50_000);
                assert!(error.abs() <= 305 * 50 + 7 * 50, "{ppm} ppm after {i} s: {error} us");
            }
            assert!(clock.window.len() <= 62);
        }
    }

    #[test]
    fn a_receiver_1024_weeks_behind() {
        let true_day = utc("2027-01-10T12:00:00Z");
        let behind = true_day - 7168 * DAY;
        // Live, the system clock gives the day though it is three hours off.
        let mut live = GpsClock::new(Some((s(0.0), true_day - 3 * 3_600 * SECOND)));
        for i in 0..10 {
            assert_eq!(live.hear(s(100.0) + i * SECOND, behind + i * SECOND), None);
        }
        assert_eq!(live.utc_at(s(100.0)), Some(true_day));
        assert_eq!(live.resolve(s(100.0), 12 * 3_600 * SECOND), Some(true_day));
        assert_eq!((live.source(), live.is_doubtful()), (TimeSource::Gps, true));
        // The receiver finds its week: the same answers, without doubt and without a step.
        for i in 10..20 {
            assert_eq!(live.hear(s(100.0) + i * SECOND, true_day + i * SECOND), None);
        }
        assert_eq!((live.utc_at(s(100.0)), live.is_doubtful()), (Some(true_day), false));

        // In a log the date stands as it is.
        let mut log = GpsClock::new(None);
        log.hear(s(100.0), behind);
        assert_eq!((log.utc_at(s(100.0)), log.is_doubtful()), (Some(behind), true));
        // And a system clock that was never set is no help.
        let mut unset = GpsClock::new(Some((s(0.0), utc("1970-01-01T00:00:30Z"))));
        unset.hear(s(100.0), behind);
        assert_eq!((unset.utc_at(s(100.0)), unset.is_doubtful()), (Some(behind), true));
    }

    #[test]
    fn doubt_ends_with_2023() {
        assert!(doubtful(utc("2023-12-31T23:59:59.999Z")));
        assert!(!doubtful(utc("2024-01-01T00:00:00Z")));
        assert!(doubtful(utc("2043-08-15T00:00:00Z") - 7168 * DAY));
        assert!(!doubtful(utc("2043-08-17T00:00:00Z") - 7168 * DAY));
    }

    proptest! {
        #[test]
        fn never_later_than_the_best_sample(delays in prop::collection::vec(0..STEP_US, 1..290)) {
            let start = utc("2027-01-10T12:00:00Z");
            let mut clock = GpsClock::new(None);
            let mut best = i64::MAX;
            for (i, delay) in delays.iter().enumerate() {
                let i = i as i64;
                clock.hear(Mono(i * SECOND) + *delay, start + i * SECOND);
                best = best.min(*delay);
                prop_assert_eq!(clock.utc_at(Mono(0)), Some(start - best));
            }
        }

        #[test]
        fn told_twice_is_told_once(heard in prop::collection::vec((0i64..3_000_000, -4i64..5), 0..60)) {
            let (mut once, mut twice) = (GpsClock::new(None), GpsClock::new(None));
            let mut t = Mono(0);
            for (pause, shift) in heard {
                t = t + pause;
                let utc = utc("2027-01-10T12:00:00Z") + t.0 + shift * SECOND;
                let step = once.hear(t, utc);
                let first = twice.hear(t, utc);
                let second = twice.hear(t, utc);
                prop_assert_eq!(first, step);
                prop_assert_eq!(second, None);
                prop_assert_eq!(&twice, &once);
                let resumed: GpsClock = serde_json::from_str(&serde_json::to_string(&once).unwrap()).unwrap();
                prop_assert_eq!(&resumed, &once);
            }
        }
    }
}
