//! The ranges: published values, how often they hold the truth, and what must be so for any data.

use proptest::prelude::*;

use super::super::special::{beta_quantile, gamma_quantile, t_squared};
use super::super::*;

fn near(found: f64, expected: f64, what: &str) {
    assert!(
        (found - expected).abs() <= 0.000_51 * expected.abs().max(1.0),
        "{what}: {found}, not {expected}"
    );
}

fn of_pulls(amounts: &[f64]) -> Sums {
    let mut sums = Sums::default();
    amounts.iter().for_each(|x| sums.add(*x, 1.0));
    sums
}

/// Student's t, two-sided 5 %: as in any table.
#[test]
fn students_t_is_the_tabled_one() {
    for (freedom, t) in
        [(1.0, 12.706), (2.0, 4.303), (4.0, 2.776), (10.0, 2.228), (30.0, 2.042), (120.0, 1.980)]
    {
        near(t_squared(freedom).sqrt(), t, "t");
    }
}

/// Limits of a Poisson mean: Garwood 1936, as in tables of exact 95 % limits.
#[test]
fn counts_without_extra_spread_have_garwoods_limits() {
    for (count, low, high) in
        [(0, 0.0, 3.689), (1, 0.0253, 5.572), (5, 1.623, 11.668), (10, 4.795, 18.390), (50, 37.111, 65.919)]
    {
        let sums = Sums { n: 1.0, x: f64::from(count), t: 1.0, ..of_pulls(&[f64::from(count)]) };
        let found = rate(&sums, Some(Spread::Alpha(0.0)));
        near(found.low.unwrap(), low, "low");
        near(found.high.unwrap(), high, "high");
    }
}

/// Limits of a share: Clopper and Pearson 1934, as in tables of exact 95 % limits.
#[test]
fn shares_have_clopper_and_pearsons_limits() {
    for (part, of, low, high) in [
        (0, 5, 0.0, 0.5218),
        (1, 5, 0.0051, 0.7164),
        (5, 5, 0.4782, 1.0),
        (5, 10, 0.1871, 0.8129),
        (50, 100, 0.3983, 0.6017),
    ] {
        let found = share(f64::from(part), f64::from(of));
        near(found.low.unwrap(), low, "low");
        near(found.high.unwrap(), high, "high");
    }
}

#[test]
fn what_too_few_pulls_cannot_tell_is_left_out() {
    let one = of_pulls(&[3.0]);
    assert_eq!(alpha(&[one, of_pulls(&[0.0, 0.0])]), None);
    assert_eq!(rate(&one, None), Estimate { value: Some(3.0), low: None, high: None });
    assert_eq!(squared_cv(&[of_pulls(&[500.0, 500.0])]), None, "two alike prove no certainty");
    let two = of_pulls(&[1.0, 30.0]);
    let found = rate(&two, alpha(&[two]));
    assert_eq!(found.high, None, "{found:?}");
    assert_eq!(rate(&Sums::default(), None), Estimate::default());
    assert_eq!(share(0.0, 0.0), Estimate::default());
    let none = of_pulls(&[0.0; 5]);
    let found = rate(&none, Some(Spread::SquaredCv(1.0)));
    assert_eq!(found, Estimate { value: Some(0.0), low: Some(0.0), high: None });
    let found = rate(&none, Some(Spread::Alpha(0.5)));
    // (1 + αμ)^(−n/α) = 0.025
    near(found.high.unwrap(), (0.025f64.powf(-0.1) - 1.0) / 0.5, "no crab in five pulls");
}

/// Five pulls prove little: the range shows it.
#[test]
fn five_pulls_prove_little() {
    let five = of_pulls(&[2.0, 0.0, 5.0, 1.0, 4.0]);
    let found = rate(&five, alpha(&[five]));
    assert!(found.low.unwrap() < 1.0 && found.high.unwrap() > 6.0, "{found:?}");
}

/// Numbers that look random and are the same every time (SplitMix64, Steele and others 2014).
struct Random(u64);

impl Random {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn poisson(&mut self, mean: f64) -> f64 {
        let (mut n, mut product) = (0.0, self.unit());
        while product > (-mean).exp() {
            n += 1.0;
            product *= self.unit();
        }
        n
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.unit()).ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// Mean 1, variance 1/shape (Marsaglia and Tsang 2000), for shapes from 1.
    fn gamma(&mut self, shape: f64) -> f64 {
        let d = shape - 1.0 / 3.0;
        loop {
            let x = self.normal();
            let v = (1.0 + x / (9.0 * d).sqrt()).powi(3);
            if v > 0.0 && (1.0 - self.unit()).ln() < 0.5 * x * x + d - d * v + d * v.ln() {
                return d * v / shape;
            }
        }
    }
}

/// How a trap's pulls come about.
#[derive(Debug, Clone, Copy)]
enum Sea {
    /// Counts with a mean, and α of extra spread (0: none).
    Counts(f64, f64),
    /// As counts, the mean for each day of a soak of 1 to 6 days.
    Soaked(f64, f64),
    /// Grams: some claws of 60 to 200 g, the claws counted as above.
    Grams(f64, f64),
}

impl Sea {
    /// Amount and exposure of a pull.
    fn pull(self, random: &mut Random) -> (f64, f64) {
        let mut count = |mean: f64, alpha: f64| {
            let luck = if alpha > 0.0 { random.gamma(1.0 / alpha) } else { 1.0 };
            random.poisson(mean * luck)
        };
        match self {
            Sea::Counts(mean, alpha) => (count(mean, alpha), 1.0),
            Sea::Soaked(mean, alpha) => {
                let days = 1.0 + (random.unit() * 6.0).floor();
                let luck = if alpha > 0.0 { random.gamma(1.0 / alpha) } else { 1.0 };
                (random.poisson(mean * days * luck), days)
            }
            Sea::Grams(mean, alpha) => {
                let claws = count(mean, alpha) as u32;
                ((0..claws).map(|_| 60.0 + 140.0 * random.unit()).sum(), 1.0)
            }
        }
    }

    fn truth(self) -> f64 {
        match self {
            Sea::Counts(mean, _) | Sea::Soaked(mean, _) => mean,
            Sea::Grams(mean, _) => mean * 130.0,
        }
    }
}

/// How often the first row's range lies below the truth and above it, in a table of so many traps with so many pulls.
fn missed(sea: Sea, traps: usize, pulls: usize, random: &mut Random) -> (f64, f64) {
    const TIMES: u32 = 2_000;
    let (mut below, mut above) = (0, 0);
    for _ in 0..TIMES {
        let rows: Vec<Sums> = (0..traps)
            .map(|_| {
                let mut sums = Sums::default();
                for _ in 0..pulls {
                    let (x, t) = sea.pull(random);
                    sums.add(x, t);
                }
                sums
            })
            .collect();
        let spread = if matches!(sea, Sea::Grams(..)) { squared_cv(&rows) } else { alpha(&rows) };
        let found = rate(&rows[0], spread);
        below += u32::from(found.high.is_some_and(|high| high < sea.truth()));
        above += u32::from(found.low.is_some_and(|low| low > sea.truth()));
    }
    (f64::from(below) / f64::from(TIMES), f64::from(above) / f64::from(TIMES))
}

/// The ranges hold the truth about 19 times in 20, from two pulls up, whatever the spread: of all tables together, and of
/// each but for the chance of 2,000 trials and the first two pulls of wildly differing ones.
#[test]
fn the_range_of_a_rate_holds_the_truth_19_times_in_20() {
    let mut random = Random(1936);
    let (mut all, mut tables) = (0.0, 0.0);
    for sea in [
        Sea::Counts(0.5, 0.0),
        Sea::Counts(3.0, 0.0),
        Sea::Counts(0.5, 1.0),
        Sea::Counts(3.0, 0.5),
        Sea::Counts(8.0, 1.0),
        Sea::Soaked(1.0, 0.0),
        Sea::Soaked(1.0, 0.5),
        Sea::Grams(3.0, 0.0),
        Sea::Grams(3.0, 0.5),
        Sea::Grams(1.0, 1.0),
    ] {
        for (traps, pulls) in [(1, 2), (1, 5), (1, 15), (1, 60), (8, 2), (8, 5), (20, 15)] {
            let (below, above) = missed(sea, traps, pulls, &mut random);
            let what = format!("{sea:?}, {traps} traps of {pulls} pulls: {below} below, {above} above");
            assert!(below + above <= 0.08 && below.max(above) <= 0.05, "{what}");
            // No wider than it need be, once there is something to go by.
            assert!(pulls < 60 || below + above >= 0.025, "{what}");
            (all, tables) = (all + below + above, tables + 1.0);
        }
    }
    assert!((0.03..=0.05).contains(&(all / tables)), "{} of all", all / tables);
}

/// Claws said of every second pull that gave some, and of every one that gave none.
#[test]
fn what_is_said_of_some_pulls_only_is_not_too_small() {
    const TIMES: u32 = 600;
    let mut random = Random(7);
    for (mean, pulls) in [(1.0, 8), (1.0, 30), (3.0, 15)] {
        let (mut missed, mut sum) = (0, 0.0);
        for _ in 0..TIMES {
            let mut season = Season::default();
            for _ in 0..pulls {
                let claws = random.poisson(mean) as u32;
                let crabs = claws.to_string();
                let both = [("crabs", &*crabs), ("claws", &*crabs)];
                let said = if claws > 0 && random.unit() < 0.5 { &both[..] } else { &both[..1] };
                season.take(&super::record((Some("1"), Grade::Sure, None, said, None)));
            }
            let found = season.rows()[0].measures[2].per_pull;
            sum += found.value.unwrap_or(mean);
            let within = |end: Option<f64>, sign: f64| end.is_none_or(|end| (end - mean) * sign >= 0.0);
            missed += u32::from(!within(found.low, -1.0) || !within(found.high, 1.0));
        }
        let (missed, average) = (f64::from(missed) / f64::from(TIMES), sum / f64::from(TIMES));
        assert!(missed <= 0.08, "{mean} a pull, {pulls} pulls: {missed} missed");
        assert!((average / mean - 1.0).abs() < 0.06, "{mean} a pull, {pulls} pulls: {average}");
    }
}

/// Shares of crabs where in some pulls all crabs are alike.
#[test]
fn the_range_of_a_share_holds_the_truth_19_times_in_20() {
    const TIMES: u32 = 2_000;
    let mut random = Random(1998);
    for (truth, alike) in [(0.3, 0.0), (0.3, 0.3), (0.1, 0.2), (0.6, 0.6)] {
        for pulls in [2, 5, 15, 60] {
            let mut missed = 0;
            for _ in 0..TIMES {
                let mut sums = Sums::default();
                while sums.n < f64::from(pulls) {
                    let crabs = random.poisson(5.0) as u32;
                    let all = (random.unit() < alike).then(|| random.unit() < truth);
                    let short = (0..crabs).filter(|_| all.unwrap_or_else(|| random.unit() < truth)).count();
                    if crabs > 0 {
                        sums.add(short as f64, f64::from(crabs));
                    }
                }
                let found = clustered_share(&sums);
                missed += u32::from(!(found.low.unwrap()..=found.high.unwrap()).contains(&truth));
            }
            let missed = f64::from(missed) / f64::from(TIMES);
            let what = format!("{truth} of crabs, {alike} of pulls alike, {pulls} pulls: {missed} missed");
            assert!(missed <= 0.065 && (pulls < 60 || missed >= 0.02), "{what}");
        }
    }
}

proptest! {
    #[test]
    fn a_range_holds_its_estimate(pulls in prop::collection::vec((0u32..60, 1u32..200), 1..40), of in 1u32..30) {
        let mut counts = Sums::default();
        let mut shares = Sums::default();
        let mut grams = Sums::default();
        for (x, t) in &pulls {
            counts.add(f64::from(*x), f64::from(*t) / 24.0);
            grams.add(f64::from(*x) * 90.5, f64::from(*t) / 24.0);
            shares.add(f64::from(*x % (of + 1)), f64::from(of));
        }
        let part = f64::from(pulls[0].0);
        for estimate in [
            rate(&counts, alpha(&[counts])),
            rate(&grams, squared_cv(&[grams])),
            clustered_share(&shares),
            share(part, part + f64::from(pulls[0].1)),
        ] {
            let value = estimate.value.unwrap();
            prop_assert!(estimate.low.is_none_or(|low| low <= value * (1.0 + 1e-9) && low >= 0.0), "{:?}", estimate);
            prop_assert!(estimate.high.is_none_or(|high| high >= value * (1.0 - 1e-9)), "{:?}", estimate);
        }
    }

    /// The same again as often: the estimate stays and the range is no wider.
    #[test]
    fn more_of_the_same_proves_more(pulls in prop::collection::vec(0u32..30, 2..20), times in 2u32..5) {
        let once = of_pulls(&pulls.iter().map(|x| f64::from(*x)).collect::<Vec<_>>());
        let mut often = Sums::default();
        (0..times).for_each(|_| often.merge(&once));
        for make in [alpha, squared_cv] {
            let (few, many) = (rate(&once, make(&[once])), rate(&often, make(&[often])));
            prop_assert!((few.value.unwrap() - many.value.unwrap()).abs() < 1e-9);
            let width = |e: Estimate| e.high.zip(e.low).map_or(f64::INFINITY, |(high, low)| high - low);
            prop_assert!(width(many) <= width(few) * (1.0 + 1e-9), "{:?} {:?}", few, many);
        }
    }

    /// Hours instead of days, kilograms instead of grams: the same range in other units.
    #[test]
    fn units_do_not_matter(pulls in prop::collection::vec((1u32..30, 1u32..10), 2..20)) {
        let sums = |unit_x: f64, unit_t: f64| {
            let mut sums = Sums::default();
            pulls.iter().for_each(|(x, t)| sums.add(f64::from(*x) * unit_x, f64::from(*t) * unit_t));
            sums
        };
        let close = |a: Option<f64>, b: Option<f64>, times: f64| match (a, b) {
            (Some(a), Some(b)) => (a * times - b).abs() <= 1e-6 * b.abs(),
            (a, b) => a == b,
        };
        let (a, b) = (sums(1.0, 1.0), sums(1.0, 24.0));
        let (a, b) = (rate(&a, alpha(&[a])), rate(&b, alpha(&[b])));
        prop_assert!(close(a.low, b.low, 1.0 / 24.0) && close(a.high, b.high, 1.0 / 24.0), "{:?} {:?}", a, b);
    }

    /// A distribution reaches what it is asked for: by the ends of the other tail.
    #[test]
    fn quantiles_rise_and_mirror(a in 0.05..500.0f64, b in 0.05..500.0f64, low in 0.01..0.4f64) {
        prop_assert!(gamma_quantile(a, low) < gamma_quantile(a, low + 0.1));
        let (x, mirrored) = (beta_quantile(a, b, low), beta_quantile(b, a, 1.0 - low));
        prop_assert!((x - (1.0 - mirrored)).abs() < 1e-9, "{} {}", x, mirrored);
        prop_assert!(x <= beta_quantile(a, b, low + 0.1));
    }
}
