//! What is believed of the boat's motion at one moment, and the Kalman filter's steps from one belief to the next.
//!
//! The boat keeps her velocity but for white noise of acceleration; both axes are alike and independent, so one
//! covariance serves both. Formulas: Kalman 1960; Rauch, Tung and Striebel 1965 (hindsight); the model is the continuous
//! white noise acceleration of Bar-Shalom, Li and Kirubarajan, "Estimation with Applications to Tracking and Navigation"
//! (2001), chapter 6.

use serde::{Deserialize, Serialize};

/// Spectral density of the acceleration's noise, m²/s³: in a second her velocity changes by 0.45 m/s, one standard
/// deviation. Opening the throttle or a burst of reverse is 0.5…1.5 m/s² for a second or two.
pub const ACCELERATION: f64 = 0.2;

/// Place and velocity on a plane's two axes, with the covariance that each axis has.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Belief {
    /// Metres on each axis.
    pub place: [f64; 2],
    /// Metres a second on each axis.
    pub velocity: [f64; 2],
    /// Variance of the place, m².
    pub pp: f64,
    /// Covariance of place and velocity, m²/s.
    pub pv: f64,
    /// Variance of the velocity, m²/s².
    pub vv: f64,
}

impl Belief {
    /// What is believed `dt_s` seconds later.
    pub fn later(&self, dt_s: f64) -> Belief {
        let (dt, q) = (dt_s, ACCELERATION);
        Belief {
            place: both(|i| self.place[i] + dt * self.velocity[i]),
            velocity: self.velocity,
            pp: self.pp + dt * (2.0 * self.pv + dt * self.vv) + q * dt.powi(3) / 3.0,
            pv: self.pv + dt * self.vv + q * dt * dt / 2.0,
            vv: self.vv + q * dt,
        }
    }

    /// Takes in a place seen with this variance on each axis, m².
    pub fn see_place(&mut self, seen: [f64; 2], variance: f64) {
        let gain = [self.pp, self.pv].map(|p| p / (self.pp + variance));
        self.learn(both(|i| seen[i] - self.place[i]), gain, [self.pp, self.pv]);
    }

    /// Takes in a velocity seen with this variance on each axis, m²/s².
    pub fn see_velocity(&mut self, seen: [f64; 2], variance: f64) {
        let gain = [self.pv, self.vv].map(|p| p / (self.vv + variance));
        self.learn(both(|i| seen[i] - self.velocity[i]), gain, [self.pv, self.vv]);
    }

    /// `row` is the covariance's row of what was seen.
    fn learn(&mut self, news: [f64; 2], [of_place, of_velocity]: [f64; 2], row: [f64; 2]) {
        self.place = both(|i| self.place[i] + of_place * news[i]);
        self.velocity = both(|i| self.velocity[i] + of_velocity * news[i]);
        self.pp -= of_place * row[0];
        self.pv -= of_place * row[1];
        self.vv -= of_velocity * row[1];
    }

    /// How far outside what is believed a place lies: its squared distance in standard deviations, `variance` its own.
    pub fn strangeness(&self, seen: [f64; 2], variance: f64) -> f64 {
        squared(both(|i| seen[i] - self.place[i])) / (self.pp + variance)
    }

    /// The same for a velocity.
    pub fn velocity_strangeness(&self, seen: [f64; 2], variance: f64) -> f64 {
        squared(both(|i| seen[i] - self.velocity[i])) / (self.vv + variance)
    }

    /// This belief in hindsight: the next moment's, as `foreseen` from this and as `known` in hindsight itself.
    pub fn in_hindsight(&self, dt_s: f64, foreseen: &Belief, known: &Belief) -> Belief {
        // The gain P Fᵀ / P', with P the covariance here and P' the foreseen one.
        let (fp, fv) = (self.pp + dt_s * self.pv, self.pv + dt_s * self.vv);
        let determinant = foreseen.pp * foreseen.vv - foreseen.pv * foreseen.pv;
        let over = |a: f64, b: f64| {
            let (a, b) = (a * foreseen.vv - b * foreseen.pv, b * foreseen.pp - a * foreseen.pv);
            [a / determinant, b / determinant]
        };
        let ([cpp, cpv], [cvp, cvv]) = (over(fp, self.pv), over(fv, self.vv));
        let place = both(|i| known.place[i] - foreseen.place[i]);
        let velocity = both(|i| known.velocity[i] - foreseen.velocity[i]);
        let (pp, pv, vv) = (known.pp - foreseen.pp, known.pv - foreseen.pv, known.vv - foreseen.vv);
        Belief {
            place: both(|i| self.place[i] + cpp * place[i] + cpv * velocity[i]),
            velocity: both(|i| self.velocity[i] + cvp * place[i] + cvv * velocity[i]),
            pp: self.pp + cpp * cpp * pp + 2.0 * cpp * cpv * pv + cpv * cpv * vv,
            pv: self.pv + cpp * (cvp * pp + cvv * pv) + cpv * (cvp * pv + cvv * vv),
            vv: self.vv + cvp * cvp * pp + 2.0 * cvp * cvv * pv + cvv * cvv * vv,
        }
    }
}

/// A value for each axis.
fn both(value: impl Fn(usize) -> f64) -> [f64; 2] {
    [value(0), value(1)]
}

fn squared([x, y]: [f64; 2]) -> f64 {
    x * x + y * y
}
