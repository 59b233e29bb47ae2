//! Follows the level on a moving deck: when it steps, told by weighing histories against each other.
//!
//! Each history is a filter (extended Kalman: Kalman 1960, Jazwinski 1970) of the deck's two swings and the level since
//! its last step. At each reading a history goes on, and the likeliest may also have stepped just then to any level; the
//! likelihoods of their readings decide, as in the search for change points by Adams and MacKay 2007. So a claw put into
//! a full tub is told from the wave that moves the tub by more than the claw: a wave goes on as it went, a claw does not.

use serde::{Deserialize, Serialize};

use super::sea::{Sea, Turn};
use crate::time::{Mono, SECOND};

/// Steps come about this often while there is work, seconds.
const BETWEEN_S: f64 = 4.0;
/// A new level may be anything over this range, grams.
const RANGE_G: f64 = 2_000.0;
/// Share of a step by which a reading may be off when it has just been made.
const UNSETTLED: f64 = 0.5;
/// A level creeps by this much in a second, grams.
const CREEP_G: f64 = 0.05;
/// A reading further off than this many standard deviations is a bump and teaches nothing.
const BUMP: f64 = 4.0;
/// What a bump costs a history: the logarithm of how rare such a reading is.
const BUMP_LN: f64 = -12.0;
/// A history this much less likely than the best is dropped.
const BEHIND_LN: f64 = 16.0;
/// ... or this much, once its step has had [`PROVE`] to prove itself.
const PROVEN_LN: f64 = 6.0;
/// How long that is, microseconds.
const PROVE: i64 = 4 * SECOND;
/// A step is believed when all likely histories have it and it is this old, microseconds.
const SURE: i64 = SECOND;
/// ... or in any case at this age, microseconds.
const ENOUGH: i64 = 6 * SECOND;
/// No deck lifts a load by a greater share of gravity.
const MOST_LIFT: f64 = 0.3;
/// Histories kept at most.
const MOST: usize = 24;

/// What the readings are like apart from load and deck.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Noise {
    /// One standard deviation of a reading, grams.
    pub g: f64,
    /// The time constant with which the scale settles, seconds.
    pub settles_s: f64,
    /// What moves with the deck without being shown, grams: a tub tared away.
    pub unseen_g: f64,
}

/// Finds the steps of a level.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Follower {
    sea: Sea,
    last: Option<Mono>,
    histories: Vec<History>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct History {
    /// State of the deck's swings.
    swing: [f64; 4],
    level_g: f64,
    /// Covariance of both, the level last.
    p: [[f64; 5]; 5],
    ln: f64,
    since: Mono,
    /// The level before the last step.
    from_g: f64,
    /// Steps not yet believed, the last one at `since`.
    steps: Vec<Step>,
}

/// A step of the level.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Step {
    /// The first reading at the new level, or on the way to it.
    pub at: Mono,
    /// The level before, grams.
    pub from_g: f64,
    /// The level after, grams; known once it is believed.
    pub to_g: f64,
}

impl Follower {
    /// Knows nothing yet but the sea.
    pub fn new(sea: Sea) -> Follower {
        Follower { sea, last: None, histories: Vec::new() }
    }

    /// The sea has been seen better.
    pub fn learn(&mut self, sea: Sea) {
        self.sea = sea;
    }

    /// The level, grams, as the likeliest history has it.
    pub fn level_g(&self) -> Option<f64> {
        self.best().map(|best| best.level_g)
    }

    /// The first step that is in question.
    pub fn doubts_from(&self) -> Option<Mono> {
        self.histories.iter().filter_map(History::first).map(|step| step.at).min()
    }

    /// For how long it has been held, microseconds.
    pub fn held(&self, t: Mono) -> i64 {
        self.best().map_or(0, |best| t - best.since)
    }

    /// Takes a reading later than all before; gives the step that is now believed, if one is.
    pub fn take(&mut self, t: Mono, g: f64, noise: Noise) -> Option<Step> {
        let Some(last) = self.last.replace(t) else {
            self.histories = vec![History::new(&self.sea, t, g, noise)];
            return None;
        };
        let turn = Turn::new(&self.sea, (t - last) as f64 / SECOND as f64, noise.settles_s);
        self.histories.iter_mut().for_each(|history| history.turn(&turn));
        let child = self.best().and_then(|best| best.stepped(t, g, noise, turn.dt_s));
        self.histories.iter_mut().for_each(|history| history.update(t, g, noise));
        self.histories.extend(child);
        self.prune(t);
        self.believe(t)
    }

    /// Believes the likeliest history as it is, one step at a time.
    pub fn settle(&mut self) -> Option<Step> {
        let step = self.best().and_then(History::first)?;
        self.keep(step.at);
        Some(step)
    }

    fn best(&self) -> Option<&History> {
        self.histories.iter().max_by(|a, b| a.ln.total_cmp(&b.ln))
    }

    fn prune(&mut self, t: Mono) {
        let Some(best) = self.best().map(|best| best.ln) else { return };
        self.histories.iter_mut().for_each(|history| history.ln -= best);
        self.histories.retain(|history| {
            let proven = t - history.since >= PROVE;
            history.ln >= if proven { -PROVEN_LN } else { -BEHIND_LN }
        });
        if self.histories.len() > MOST {
            self.histories.sort_by(|a, b| b.ln.total_cmp(&a.ln));
            self.histories.truncate(MOST);
        }
    }

    fn believe(&mut self, t: Mono) -> Option<Step> {
        let step = self.best()?.first()?;
        let likely = |history: &&History| history.ln > -PROVEN_LN;
        let agreed = |history: &History| history.first().is_some_and(|first| first.at == step.at);
        let age = t - step.at;
        if age < ENOUGH && (age < SURE || !self.histories.iter().filter(likely).all(agreed)) {
            return None;
        }
        self.keep(step.at);
        Some(step)
    }

    fn keep(&mut self, step: Mono) {
        self.histories.retain(|history| history.first().is_some_and(|first| first.at == step));
        self.histories.iter_mut().for_each(|history| {
            history.steps.remove(0);
        });
    }
}

impl History {
    fn new(sea: &Sea, t: Mono, g: f64, noise: Noise) -> History {
        let mut p = [[0.0; 5]; 5];
        for (row, swings) in p.iter_mut().zip(sea.covariance()) {
            row[..4].copy_from_slice(&swings);
        }
        let moved_g = moved(g, noise);
        p[4][4] = noise.g.powi(2) + sea.share.iter().map(|share| (share * moved_g).powi(2)).sum::<f64>();
        // What she reads too much at this moment is the swing's doing.
        for n in [0, 2] {
            p[n][4] = -p[n][n] * moved_g;
            p[4][n] = p[n][4];
        }
        History { swing: [0.0; 4], level_g: g, p, ln: 0.0, since: t, from_g: g, steps: Vec::new() }
    }

    /// Its first step that is not yet believed.
    fn first(&self) -> Option<Step> {
        let to_g = self.steps.get(1).map_or(self.level_g, |next| next.from_g);
        self.steps.first().map(|step| Step { to_g, ..*step })
    }

    fn turn(&mut self, turn: &Turn) {
        self.swing = turn.state(self.swing);
        let swings: [[f64; 4]; 4] = std::array::from_fn(|row| std::array::from_fn(|n| self.p[row][n]));
        let swings = turn.covariance(swings);
        let cross = turn.state(std::array::from_fn(|n| self.p[n][4]));
        for row in 0..4 {
            self.p[row][..4].copy_from_slice(&swings[row]);
            self.p[row][4] = cross[row];
            self.p[4][row] = cross[row];
        }
        self.p[4][4] += CREEP_G.powi(2) * turn.dt_s;
    }

    /// How far the deck lifts the load now, as a share of gravity.
    fn lift(&self) -> f64 {
        (self.swing[0] + self.swing[2]).clamp(-MOST_LIFT, MOST_LIFT)
    }

    /// Variance of a reading at an age of the level, square grams.
    fn variance(&self, t: Mono, noise: Noise) -> f64 {
        let age_s = (t - self.since) as f64 / SECOND as f64;
        let unsettled_g = UNSETTLED * (self.level_g - self.from_g) * (-age_s / noise.settles_s).exp();
        noise.g.powi(2) + unsettled_g.powi(2)
    }

    /// The reading as expected, and how it hangs on the state.
    fn expects(&self, noise: Noise) -> (f64, [f64; 5]) {
        let moved_g = moved(self.level_g, noise);
        (self.level_g + moved_g * self.lift(), [moved_g, 0.0, moved_g, 0.0, 1.0 + self.lift()])
    }

    fn update(&mut self, t: Mono, g: f64, noise: Noise) {
        let (expected_g, h) = self.expects(noise);
        let column: [f64; 5] = self.p.map(|row| row.iter().zip(h).map(|(p, h)| p * h).sum());
        let variance: f64 = column.iter().zip(h).map(|(c, h)| c * h).sum::<f64>() + self.variance(t, noise);
        let off_g = g - expected_g;
        if off_g * off_g > BUMP * BUMP * variance {
            self.ln += BUMP_LN;
            return;
        }
        self.ln += -0.5 * (off_g * off_g / variance + variance.ln());
        for (swing, column) in self.swing.iter_mut().zip(column) {
            *swing += column / variance * off_g;
        }
        self.level_g += column[4] / variance * off_g;
        for row in 0..5 {
            for other in 0..5 {
                self.p[row][other] -= column[row] * column[other] / variance;
            }
        }
    }

    /// This history, had the level stepped to what the reading says; `None` when the reading is as expected.
    fn stepped(&self, t: Mono, g: f64, noise: Noise, dt_s: f64) -> Option<History> {
        let (expected_g, h) = self.expects(noise);
        let ph: [f64; 5] = self.p.map(|row| row.iter().zip(h).map(|(p, h)| p * h).sum());
        let variance: f64 = ph.iter().zip(h).map(|(c, h)| c * h).sum::<f64>() + noise.g.powi(2);
        if (g - expected_g).powi(2) < variance {
            return None;
        }
        let mut next = self.clone();
        let whole = 1.0 + self.lift();
        next.from_g = self.level_g;
        next.since = t;
        next.level_g = (g - noise.unseen_g * self.lift()) / whole;
        next.steps.push(Step { at: t, from_g: self.level_g, to_g: self.level_g });
        let moved_g = moved(next.level_g, noise);
        // Any level being as likely before, the level is what the reading says of it.
        let column: [f64; 4] = std::array::from_fn(|n| (self.p[n][0] + self.p[n][2]) * moved_g);
        for (n, column) in column.into_iter().enumerate() {
            next.p[n][4] = -column / whole;
            next.p[4][n] = next.p[n][4];
        }
        next.p[4][4] = ((column[0] + column[2]) * moved_g + next.variance(t, noise)) / (whole * whole);
        next.ln += (dt_s.min(BETWEEN_S) / BETWEEN_S / RANGE_G).ln() + 0.5 * (std::f64::consts::TAU).ln();
        Some(next)
    }
}

/// What the deck moves, grams.
fn moved(level_g: f64, noise: Noise) -> f64 {
    (level_g + noise.unseen_g).max(0.0)
}
