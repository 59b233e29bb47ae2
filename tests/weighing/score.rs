//! What was put on against what was weighed.

use gunwale_protocol::scale::Reading;
use gunwale_protocol::time::Mono;
use gunwale_protocol::weigh::{Event, Weigher};

/// One load as it was put on.
#[derive(Debug, Clone, Copy)]
pub struct Item {
    pub on_s: f64,
    pub off_s: f64,
    pub g: f64,
    /// What lay there before, grams.
    pub base_g: f64,
}

/// Sums over many items.
#[derive(Debug, Clone, Default)]
pub struct Score {
    pub items: usize,
    pub found: usize,
    pub invented: usize,
    pub pulls: usize,
    /// Pulls with every item found and none invented.
    pub whole: usize,
    /// Squares of the errors as shares of the items: ours, the last reading's, the plain mean's and the median's.
    squares: [f64; 4],
    /// Squares of our errors over their stated deviations.
    chi: f64,
    /// Sum of what was put on, and of our and the last readings' weights.
    sums: [f64; 3],
    pub worst: f64,
}

impl Score {
    pub fn add(&mut self, other: &Score) {
        self.items += other.items;
        self.found += other.found;
        self.invented += other.invented;
        self.pulls += other.pulls;
        self.whole += other.whole;
        self.squares.iter_mut().zip(other.squares).for_each(|(a, b)| *a += b);
        self.sums.iter_mut().zip(other.sums).for_each(|(a, b)| *a += b);
        self.chi += other.chi;
        self.worst = self.worst.max(other.worst);
    }

    /// Share of items counted right.
    pub fn counted(&self) -> f64 {
        1.0 - (self.items - self.found + self.invented) as f64 / self.items.max(1) as f64
    }

    /// Root mean square errors, ours first.
    pub fn rms(&self) -> [f64; 4] {
        self.squares.map(|sum| (sum / self.found.max(1) as f64).sqrt())
    }

    pub fn chi(&self) -> f64 {
        self.chi / self.found.max(1) as f64
    }

    /// Error of the sum of all that was found, ours and the last readings'.
    pub fn total(&self) -> [f64; 2] {
        [self.sums[1] / self.sums[0] - 1.0, self.sums[2] / self.sums[0] - 1.0]
    }
}

/// Weighs readings and compares; `tub`: the level before each item is no zero.
pub fn score(readings: &[(Mono, Reading)], items: &[Item], rate_hz: f64) -> Score {
    let found = weigh(readings);
    let mut free: Vec<(Mono, f64, f64)> = found;
    let mut score = Score { items: items.len(), pulls: 1, ..Score::default() };
    for item in items {
        let late = 1.2 + 1.0 / rate_hz;
        let near = |t: Mono| (-0.3..late).contains(&(t.0 as f64 / 1e6 - item.on_s));
        let Some(at) = free.iter().position(|(t, g, _)| near(*t) && (g / item.g - 1.0).abs() < 0.5) else {
            continue;
        };
        let (_, g, sd_g) = free.remove(at);
        score.found += 1;
        let shown: Vec<f64> = readings
            .iter()
            .filter(|(t, _)| (item.on_s + 0.5..item.off_s).contains(&(t.0 as f64 / 1e6)))
            .filter_map(|(_, reading)| reading.g)
            .collect();
        let mean = shown.iter().sum::<f64>() / shown.len() as f64;
        let mut sorted = shown.clone();
        sorted.sort_by(f64::total_cmp);
        let others =
            [shown[shown.len() - 1], mean, sorted[sorted.len() / 2]].map(|level| level - item.base_g);
        for (sum, weight) in score.squares.iter_mut().zip([g, others[0], others[1], others[2]]) {
            *sum += (weight / item.g - 1.0).powi(2);
        }
        score.chi += ((g - item.g) / sd_g).powi(2);
        score.worst = score.worst.max((g / item.g - 1.0).abs());
        for (sum, weight) in score.sums.iter_mut().zip([item.g, g, others[0]]) {
            *sum += weight;
        }
    }
    score.invented = free.len();
    score.whole = usize::from(score.found == score.items && score.invented == 0);
    score
}

/// The weighings as they stand in the end: when put on, grams, standard deviation.
pub fn weigh(readings: &[(Mono, Reading)]) -> Vec<(Mono, f64, f64)> {
    let mut weigher = Weigher::default();
    let mut found: Vec<(Mono, f64, f64)> = Vec::new();
    let mut take = |events: Vec<Event>| {
        for event in events {
            match event {
                Event::Weighed { at, g, sd_g } => found.push((at, g, sd_g)),
                Event::Mended { at, g, sd_g } => {
                    found.iter_mut().filter(|f| f.0 == at).for_each(|f| *f = (at, g, sd_g));
                }
                Event::TakenOff { at } => found.retain(|f| f.0 != at),
                Event::Gap { .. } | Event::Overload { .. } => {}
            }
        }
    };
    for (t, reading) in readings {
        take(weigher.take(*t, reading));
    }
    take(weigher.finish());
    found
}
