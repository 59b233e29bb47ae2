//! Whether samples come at 16,000 a second: tells the right program from one at another rate, and from one that floods.
//!
//! Delays never bring samples before their time. So more samples than time allows mean another rate, at once; fewer
//! may yet come, so that takes some seconds in a row.

use std::time::Duration;

use super::RATE;

/// Numbers of 16-bit samples a second that programs give: usual rates, in one or two channels, and 8 or 32 bit.
pub const RATES: [u32; 12] =
    [8_000, 11_025, 12_000, 22_050, 24_000, 32_000, 44_100, 48_000, 64_000, 88_200, 96_000, 192_000];
/// A measured rate is taken for a usual one within this part of it.
const NEAR: f64 = 0.12;
/// More than this many times the right rate is no rate at all.
const FLOOD: f64 = 7.0;
/// What may have been waiting when the first samples were read, in seconds: a full pipe and a sound card's buffer.
const START: f64 = 3.0;
/// By then, in seconds after the first samples, all that had been waiting has been read.
const SETTLED: f64 = 0.5;
/// So many seconds of sound too many mean another rate.
const TOO_MANY: f64 = 1.0;
/// A clock that is right may be fast or slow by this part. What is late says little: it may be a stall.
const SLACK: (f64, f64) = (0.01, 0.000_5);
/// Fewer samples than this part of the right number, in so many spans of so many seconds in a row, mean another rate.
const TOO_FEW: (f64, u32, f64) = (0.8, 3, 2.0);
/// The rate is right when so many seconds after the first samples there are no more than so many seconds too few or
/// too many.
const PROOF: (f64, f64) = (2.0, 0.3);

/// What the samples so far say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Nothing yet.
    Open,
    /// The rate is right.
    Right,
    /// It is another: samples a second.
    Wrong(u32),
    /// It is no rate at all.
    Flood,
}

/// A moment: samples until then, and seconds of real time since the first came.
#[derive(Debug, Clone, Copy, Default)]
struct Mark {
    samples: f64,
    at: f64,
}

/// The pace of one run of the program.
#[derive(Debug, Clone)]
pub struct Pace {
    /// Samples that should come in one second of real time.
    rate: f64,
    /// Seconds of sound beyond the time that passed: what is usual.
    usual: f64,
    /// The last arrival that was no sign of too many.
    good: Mark,
    /// Where the span began that is looked at for too few, and how many before it had too few.
    span: Mark,
    few: u32,
    last: f64,
}

impl Pace {
    /// For a clock that is `speed` times as fast as real time.
    pub fn new(speed: f64) -> Pace {
        let rate = f64::from(RATE) * speed;
        Pace { rate, usual: 0.0, good: Mark::default(), span: Mark::default(), few: 0, last: 0.0 }
    }

    /// So many samples have come in all, so long after the first were read.
    pub fn arrived(&mut self, samples: u64, since: Duration) -> Verdict {
        let now = Mark { samples: samples as f64, at: since.as_secs_f64() };
        let ahead = now.samples / self.rate - now.at;
        if now.at < SETTLED {
            self.usual = self.usual.max(ahead);
            (self.good, self.last) = (now, now.at);
            if self.span.samples == 0.0 {
                self.span = now;
            }
            return if ahead > START { Verdict::Flood } else { Verdict::Open };
        }
        let span = now.at - self.last;
        self.usual += (ahead - self.usual).clamp(-SLACK.1 * span, SLACK.0 * span);
        self.last = now.at;
        if ahead > self.usual + TOO_MANY {
            return self.verdict(self.good, now);
        }
        if ahead <= self.usual + TOO_MANY / 10.0 {
            self.good = now;
        }
        if now.at - self.span.at >= TOO_FEW.2 {
            let few = now.samples - self.span.samples < TOO_FEW.0 * self.rate * (now.at - self.span.at);
            self.few = if few { self.few + 1 } else { 0 };
            if self.few >= TOO_FEW.1 {
                return self.verdict(self.span, now);
            }
            self.span = now;
        }
        let proven = now.at >= PROOF.0 && (ahead - self.usual).abs() < PROOF.1;
        if proven { Verdict::Right } else { Verdict::Open }
    }

    /// So many microseconds of real time were lost for good.
    pub fn lost(&mut self, us: f64) {
        self.usual -= us / 1e6;
    }

    fn verdict(&self, from: Mark, to: Mark) -> Verdict {
        let ratio = (to.samples - from.samples) / (self.rate * (to.at - from.at).max(1e-3));
        if ratio > FLOOD {
            return Verdict::Flood;
        }
        let measured = ratio * f64::from(RATE);
        let off = |rate: u32| (measured / f64::from(rate) - 1.0).abs();
        let usual = RATES.into_iter().min_by(|&a, &b| off(a).total_cmp(&off(b)));
        let rounded = ((measured / 1_000.0).round() * 1_000.0) as u32;
        Verdict::Wrong(usual.filter(|&rate| off(rate) <= NEAR).unwrap_or(rounded))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Feeds blocks of 50 ms of real time at this rate, each with a delay; says the first verdict that is a trouble,
    /// or the first that is none, and when.
    fn judged(rate: f64, speed: f64, delay: impl Fn(u64) -> f64, until: f64) -> Vec<(f64, Verdict)> {
        let mut pace = Pace::new(speed);
        let (mut said, mut first) = (Vec::new(), None);
        let mut came = 0.0_f64;
        for block in 1.. {
            let at = block as f64 * 0.05;
            if at > until {
                break;
            }
            came = came.max(at + delay(block));
            let first = *first.get_or_insert(came);
            let samples = (rate * speed * at) as u64;
            let verdict = pace.arrived(samples, Duration::from_secs_f64(came - first));
            if said.last().is_none_or(|(_, last)| *last != verdict) {
                said.push((came - first, verdict));
            }
            if matches!(verdict, Verdict::Wrong(_) | Verdict::Flood) {
                break;
            }
        }
        said
    }

    /// Delays up to 200 ms that look random.
    fn jitter(block: u64) -> f64 {
        (block.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 40) as f64 / (1 << 24) as f64 * 0.2
    }

    #[test]
    fn other_rates_are_told_and_soon() {
        println!("samples a second: told as, after s (without delays, with delays up to 200 ms)");
        for (rate, within) in [
            (8_000, 8.5),
            (11_025, 8.5),
            (12_000, 8.5),
            (22_050, 4.5),
            (24_000, 4.0),
            (32_000, 2.5),
            (44_100, 2.0),
            (48_000, 2.0),
            (88_200, 1.5),
            (96_000, 1.5),
        ] {
            let mut after = Vec::new();
            for speed in [1.0, 80.0] {
                for delay in [&(|_| 0.0) as &dyn Fn(u64) -> f64, &jitter] {
                    let said = judged(f64::from(rate), speed, delay, 60.0);
                    let [(_, Verdict::Open), (at, Verdict::Wrong(measured))] = said[..] else {
                        panic!("{rate}: {said:?}")
                    };
                    assert!(at <= within, "{rate} told after {at} s");
                    let off = f64::from(measured) / f64::from(rate);
                    assert!((off - 1.0).abs() < 0.15, "{rate} told as {measured}");
                    after.push((measured, at));
                }
            }
            println!("{rate}: {after:.1?}");
        }
    }

    #[test]
    fn a_flood_is_told_at_once() {
        for rate in [200_000.0, 1e6, 1e9] {
            let said = judged(rate, 1.0, |_| 0.0, 10.0);
            let (at, last) = said.last().copied().unwrap();
            assert!(last == Verdict::Flood && at < 0.8, "{rate}: {said:?}");
        }
        // Also later, and also when the first second was right.
        let mut pace = Pace::new(1.0);
        for n in 1..100 {
            pace.arrived(n * 800, Duration::from_millis(n * 50));
        }
        assert_eq!(pace.arrived(100 * 800 + 40_000, Duration::from_millis(5_010)), Verdict::Flood);
    }

    #[test]
    fn the_right_rate_is_right_whatever_the_delays() {
        let stalls = |block: u64| if block % 80 < 56 { 0.0 } else { (80 - block % 80) as f64 * 0.05 + 1.6 };
        for (name, delay) in [
            ("none", &(|_| 0.0) as &dyn Fn(u64) -> f64),
            ("up to 200 ms", &jitter),
            ("stalls of up to 2.8 s", &stalls),
            ("late start", &|block| if block < 50 { 2.5 - block as f64 * 0.05 } else { 0.0 }),
        ] {
            for (off, speed) in [(1.0, 1.0), (0.9995, 1.0), (1.0005, 1.0), (1.0, 80.0), (1.002, 1.0)] {
                let said = judged(16_000.0 * off, speed, delay, 7_200.0);
                let fine = said.iter().all(|(_, v)| matches!(v, Verdict::Open | Verdict::Right));
                assert!(fine, "delays {name}, {off} of the rate: {:?}", said.last());
                let right = said.iter().find(|(_, v)| *v == Verdict::Right);
                assert!(right.is_some_and(|(at, _)| *at < 10.0), "delays {name}: {right:?}");
            }
        }
    }
}
