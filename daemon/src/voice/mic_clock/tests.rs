//! The microphone's clock against simulated sound cards whose truth is known: drift, delays, stalls, lost samples.

use super::*;

/// Runs of each kind.
const SEEDS: u64 = 6;

/// Even numbers from 0 to 1 from a seed (Steele, Lea and Flood's SplitMix64).
struct Chance(u64);

impl Chance {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// A sound card, its program, and what befalls them. Spans in real seconds.
#[derive(Clone)]
struct Card {
    /// Its clock is slow by this, in millionths.
    ppm: f64,
    /// Each block comes late by up to this.
    delay: f64,
    /// A block's length.
    block: f64,
    /// Nothing comes from the first for the second; then all of it at once.
    stalls: Vec<(f64, f64)>,
    /// At the first, samples of the second's length never come.
    losses: Vec<(f64, f64)>,
    seconds: f64,
    /// The run's clock is this many times as fast.
    speed: f64,
}

impl Card {
    fn steady(ppm: f64, delay: f64) -> Card {
        let (stalls, losses) = (Vec::new(), Vec::new());
        Card { ppm, delay, block: 0.1, stalls, losses, seconds: 1_800.0, speed: 1.0 }
    }
}

/// What came out: when, by how much the stamp of a block was off (late is positive), both in real seconds.
#[derive(Default)]
struct Seen {
    errors: Vec<(f64, f64)>,
    lost: Vec<(f64, Lost)>,
    ppm: Option<f64>,
}

impl Seen {
    /// 99th percentile and greatest error in milliseconds from some moment on.
    fn off_ms(&self, counts: impl Fn(f64) -> bool) -> (f64, f64) {
        let mut all: Vec<f64> =
            self.errors.iter().filter(|(at, _)| counts(*at)).map(|(_, e)| e.abs() * 1e3).collect();
        all.sort_unstable_by(f64::total_cmp);
        (all[all.len() * 99 / 100], all[all.len() - 1])
    }
}

fn run(card: &Card, seed: u64) -> Seen {
    let mut chance = Chance(seed);
    let mut clock = MicClock::new(card.speed, 0.0);
    let mut seen = Seen::default();
    let per_block = (card.block * f64::from(RATE) * card.speed).round();
    let sample = (1.0 + card.ppm * 1e-6) / (f64::from(RATE) * card.speed);
    let (mut count, mut truth, mut came) = (0_u64, 0.0, 0.0_f64);
    let mut losses = card.losses.iter().copied().peekable();
    let mut last = Mono(i64::MIN);
    while truth < card.seconds {
        if let Some((_, span)) = losses.next_if(|(at, _)| truth >= *at) {
            truth += span;
        }
        let begins = truth;
        let index = count;
        truth += per_block * sample;
        count += per_block as u64;
        let mut comes = truth + card.delay * chance.unit();
        if let Some((at, span)) = card.stalls.iter().find(|(at, span)| (*at..at + span).contains(&comes)) {
            comes = at + span;
        }
        came = came.max(comes);
        let on_clock = |real: f64| Mono((real * card.speed * 1e6).round() as i64 + 5_000_000_000);
        if let Some(lost) = clock.arrived(count, on_clock(came)) {
            seen.lost.push((came, lost));
        }
        let stamp = clock.stamp(index);
        assert!(stamp >= last, "stamps ran backwards");
        last = stamp;
        seen.errors.push((begins, (stamp - on_clock(begins)) as f64 / 1e6 / card.speed));
    }
    seen.ppm = clock.ppm();
    seen
}

#[test]
fn stamps_are_right_whatever_the_drift_and_the_delays() {
    println!("drift ppm, delay up to ms: off p99 ms, max ms after 10 s of 30 min; drift found ppm");
    // The bounds are real milliseconds.
    for (delay, bound) in [(0.0, 7.0), (0.005, 8.0), (0.05, 20.0), (0.2, 40.0)] {
        for ppm in [-300.0, -50.0, 0.0, 50.0, 300.0] {
            let (mut p99, mut max, mut found) = (0.0_f64, 0.0_f64, (f64::MAX, f64::MIN));
            for seed in 0..SEEDS {
                let seen = run(&Card::steady(ppm, delay), seed);
                assert_eq!(seen.lost, [], "nothing is lost by {delay} s of delay at {ppm} ppm, seed {seed}");
                let off = seen.off_ms(|at| at >= 10.0);
                (p99, max) = (p99.max(off.0), max.max(off.1));
                let ppm = seen.ppm.expect("known by now");
                found = (found.0.min(ppm), found.1.max(ppm));
            }
            println!("{ppm:5} {:4}: {p99:5.1} {max:5.1}; {:6.1}…{:.1}", delay * 1e3, found.0, found.1);
            assert!(max < bound, "{max} ms off at {ppm} ppm, {delay} s");
            let right = |found: f64| (found - ppm).abs() < 20.0 + delay * 1_000.0;
            assert!(right(found.0) && right(found.1), "{found:?} for {ppm} ppm, {delay} s");
        }
    }
}

#[test]
fn what_is_late_but_comes_is_not_lost() {
    println!("stall s, delay up to ms: off p99 ms, max ms");
    for stall in [0.3, 1.0, 2.0, 2.9] {
        for delay in [0.005, 0.05, 0.2] {
            let (mut p99, mut max) = (0.0_f64, 0.0_f64);
            for seed in 0..SEEDS {
                let mut card = Card::steady(100.0, delay);
                card.seconds = 600.0;
                card.stalls = (0..40).map(|n| (12.0 + 14.3 * f64::from(n), stall)).collect();
                let seen = run(&card, seed);
                assert_eq!(seen.lost, [], "stalls of {stall} s, delay {delay} s, seed {seed}");
                let off = seen.off_ms(|at| at >= 10.0);
                (p99, max) = (p99.max(off.0), max.max(off.1));
            }
            println!("{stall:4} {:4}: {p99:5.1} {max:5.1}", delay * 1e3);
            assert!(max < 20.0 + 120.0 * delay, "{max} ms off, stalls of {stall} s, delay {delay} s");
        }
    }
}

#[test]
fn what_is_lost_is_told_with_its_length() {
    println!(
        "lost ms, delay up to ms: told after s (worst), length off ms (worst) within ms; off max ms once told"
    );
    for span in [0.05, 0.1, 0.5, 2.0, 5.0] {
        for delay in [0.005, 0.05, 0.2] {
            let (mut after, mut wrong, mut within, mut max) = (0.0_f64, 0.0_f64, 0.0_f64, 0.0_f64);
            let mut missed = 0;
            for seed in 0..SEEDS {
                let mut card = Card::steady(-120.0, delay);
                card.seconds = 120.0;
                // Somewhere within a second, after a stall as overruns come.
                let at = 60.0 + Chance(seed ^ 77).unit();
                card.losses = vec![(at, span)];
                let seen = run(&card, seed);
                // Little lost among long delays may show too little to be told.
                if seen.lost.is_empty() && span < delay {
                    missed += 1;
                    continue;
                }
                let [(told, lost)] = seen.lost[..] else {
                    panic!("{span} s lost, delay {delay} s, seed {seed}: {:?}", seen.lost);
                };
                let off = (lost.us as f64 / 1e6 - span).abs();
                assert!(off * 1e6 <= lost.within_us as f64, "{span} s lost at {at}, told {lost:?} at {told}");
                after = after.max(told - at - span);
                wrong = wrong.max(off);
                within = within.max(lost.within_us as f64 / 1e6);
                max = max.max(seen.off_ms(|t| (10.0..at).contains(&t) || t > told).1);
            }
            println!(
                "{:4} {:3}: {after:4.1} {:4.1} {:4.1}; {max:4.1}; {missed} of {SEEDS} not told",
                span * 1e3,
                delay * 1e3,
                wrong * 1e3,
                within * 1e3
            );
            assert!(
                (after < 10.0 || span < delay) && max < 20.0 + 300.0 * delay,
                "told after {after} s, {max} ms off"
            );
        }
    }
}

#[test]
fn losses_one_after_the_other_are_each_told() {
    let mut card = Card::steady(40.0, 0.02);
    card.seconds = 300.0;
    card.losses = (1..10).map(|n| (f64::from(n) * 30.0, f64::from(n) * 0.3)).collect();
    card.stalls = (1..10).map(|n| (f64::from(n) * 30.0, 0.9)).collect();
    let seen = run(&card, 5);
    let told: Vec<f64> = seen.lost.iter().map(|(_, lost)| (lost.us as f64 / 1e5).round() / 10.0).collect();
    assert_eq!(told, [0.3, 0.6, 0.9, 1.2, 1.5, 1.8, 2.1, 2.4, 2.7]);
}

#[test]
fn on_a_fast_clock_delays_are_as_long_in_real_time() {
    // The delays are 50 ms for real: 4 s on the clock.
    let mut card = Card::steady(0.0, 0.05);
    (card.speed, card.seconds) = (80.0, 120.0);
    card.stalls = vec![(40.0, 2.0)];
    let seen = run(&card, 3);
    assert_eq!(seen.lost, []);
    let (p99, max) = seen.off_ms(|at| at >= 10.0);
    println!("on a clock 80 times as fast: off p99 {p99:.2} ms, max {max:.2} ms of real time");
    assert!(max < 20.0, "{max} ms");
}

#[test]
fn before_anything_came_there_is_still_a_stamp() {
    let mut clock = MicClock::new(1.0, 0.0);
    let first = clock.stamp(0);
    assert!(clock.stamp(16_000) >= first && clock.ppm().is_none());
}
