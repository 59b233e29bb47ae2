//! Where the boat is and how she moves, from her fixes: a Kalman filter with hindsight over the last seconds.
//!
//! A receiver's error has two parts. One is new with each fix, some decimetres: that is what the filter smooths. The
//! other wanders over minutes and is common to all fixes of a stop, so no averaging shrinks it: the filter follows it as
//! if it were the boat, and it is added to the uncertainty of what comes out. A fix far outside what the motion allows
//! (an echo off a hull or a bridge) counts little; if the next seconds agree with it, it was true.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::finding::Spot;
use crate::place::{LatLon, Plane, distance_m};
use crate::stop::Fix;
use crate::time::{Mono, SECOND};

mod belief;

pub use belief::{ACCELERATION, Belief};

/// The part of a fix's standard deviation that is new each time. Receivers filter their own positions, and what is left
/// from one to the next is a few decimetres where their error is some metres; common practice, no source.
const NEW_SHARE: f64 = 0.3;
/// ... and at least this, metres: a decimetre or two of the boat's own rolling under the antenna, and the last digit.
const NEW_LEAST_M: f64 = 0.3;
/// Standard deviation of a velocity over ground by Doppler on each axis, m/s (receivers' data sheets state 0.05…0.1).
const VELOCITY_SD_M_S: f64 = 0.1;
/// Under this speed a receiver that tells no course still says that she hardly moves, m/s.
const SLOW_M_S: f64 = 0.5;
/// At first she may be going at about this, m/s on each axis.
const UNKNOWN_M_S: f64 = 4.0;
/// A velocity less well known than this is none, m²/s².
const VAGUE_M2_S2: f64 = 4.0;
/// Fixes farther apart than this are not joined: meanwhile she may have stopped and started, and each fix says more of
/// where she is than the one before.
const APART: i64 = 3 * SECOND;
/// Degrees of freedom of the t distribution that fixes are taken to follow: its tails are as heavy as theirs.
const FREEDOM: f64 = 4.0;
/// Squared distance, in standard deviations, from which a fix is strayed.
const STRAYED: f64 = 25.0;
/// ... and from which it is an echo, that counts next to nothing: by so much less.
const ECHO: f64 = 100.0;
const ECHO_COUNTS: f64 = 1e4;
/// Fixes that have strayed for so long are true: the receiver has found the place again.
const BELIEVED: i64 = 5 * SECOND;
/// The plane is laid anew when she is farther than this from its origin, metres.
const PLANE_M: f64 = 10_000.0;
/// What lies farther off than this is not moved over to it, metres.
const FAR_M: f64 = 100_000.0;
/// Fixes kept at most, whatever the receiver's rate: 20 s at 20 Hz.
const MOST: usize = 400;

/// Where she was at a fix, in hindsight of those after it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct State {
    /// When, on the segment's clock.
    pub t: Mono,
    /// The `t` of the input line that brought the fix.
    pub line_t: Mono,
    /// Where, with one standard deviation on each axis: the wandering part of the receiver's error is in it.
    pub spot: Spot,
    /// Metres a second, east and north.
    pub velocity_m_s: [f64; 2],
    /// Standard deviation of the velocity on each axis, m/s.
    pub velocity_sd_m_s: f64,
}

/// How much a fix counted: variances on each axis after what spoke against it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weight {
    /// Seconds from the last fix, if this was joined to it.
    pub dt_s: Option<f64>,
    /// Of the place, m².
    pub place_m2: f64,
    /// The velocity seen on the plane's axes and its variance, m²/s², if one was.
    pub velocity: Option<([f64; 2], f64)>,
}

/// A fix as it was taken in.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Step {
    t: Mono,
    line_t: Mono,
    /// Whether it is joined to the one before.
    joined: bool,
    /// Variance of the wandering part of its error, m².
    wander_m2: f64,
    belief: Belief,
}

/// The boat's track over the last seconds.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Track {
    plane: Option<Plane>,
    steps: VecDeque<Step>,
    /// Since when fixes have strayed.
    strayed: Option<Mono>,
}

impl Track {
    /// Takes a fix, later than the last; says what weight it was given. `None` when its place is no place on earth.
    pub fn take(&mut self, fix: &Fix) -> Option<Weight> {
        let at = LatLon::new(fix.spot.lat, fix.spot.lon).ok()?;
        let new_sd_m = (NEW_SHARE * fix.spot.sd_m).max(NEW_LEAST_M);
        let new_m2 = new_sd_m * new_sd_m;
        let velocity = seen_velocity(fix);
        if let (Some(plane), Some(belief)) = (self.plane, self.belief())
            && belief.place[0].hypot(belief.place[1]) > PLANE_M
            && let Ok(here) = plane.from_xy(belief.place)
        {
            self.plane_at(here);
        }
        let last = self.steps.back().copied().filter(|last| fix.t - last.t <= APART);
        let joined = last.and_then(|last| self.join(fix, &last, at, new_m2, velocity));
        let (weight, belief) = joined.unwrap_or_else(|| self.begin(at, new_m2, velocity));
        if self.steps.len() >= MOST {
            self.steps.pop_front();
        }
        let wander_m2 = (fix.spot.sd_m * fix.spot.sd_m - new_m2).max(0.0);
        let joined = weight.dt_s.is_some();
        self.steps.push_back(Step { t: fix.t, line_t: fix.line_t, joined, wander_m2, belief });
        Some(weight)
    }

    /// Takes in a fix after the last; `None` when fixes have strayed from there for so long that they are true.
    fn join(
        &mut self,
        fix: &Fix,
        last: &Step,
        at: LatLon,
        new_m2: f64,
        velocity: Option<([f64; 2], f64)>,
    ) -> Option<(Weight, Belief)> {
        let plane = self.plane?;
        let seen = plane.to_xy(at);
        let dt_s = (fix.t - last.t) as f64 / SECOND as f64;
        let mut belief = last.belief.later(dt_s);
        let velocity = velocity.map(|(local, variance)| {
            let velocity = plane.from_local(at, local);
            (velocity, variance * doubt(belief.velocity_strangeness(velocity, variance)))
        });
        if let Some((velocity, variance)) = velocity {
            belief.see_velocity(velocity, variance);
        }
        let strange = belief.strangeness(seen, new_m2);
        let since = self.strayed.unwrap_or(fix.t);
        self.strayed = (strange > STRAYED).then_some(since);
        if self.strayed.is_some() && fix.t - since >= BELIEVED {
            return None;
        }
        let echo = if strange > ECHO { ECHO_COUNTS } else { 1.0 };
        let place_m2 = new_m2 * doubt(strange) * echo;
        belief.see_place(seen, place_m2);
        Some((Weight { dt_s: Some(dt_s), place_m2, velocity }, belief))
    }

    /// Begins anew with a fix.
    fn begin(&mut self, at: LatLon, new_m2: f64, velocity: Option<([f64; 2], f64)>) -> (Weight, Belief) {
        self.strayed = None;
        let plane = self.plane_at(at);
        let (place, vv) = (plane.to_xy(at), UNKNOWN_M_S * UNKNOWN_M_S);
        let mut belief = Belief { place, velocity: [0.0; 2], pp: new_m2, pv: 0.0, vv };
        let velocity = velocity.map(|(local, variance)| (plane.from_local(at, local), variance));
        if let Some((velocity, variance)) = velocity {
            belief.see_velocity(velocity, variance);
        }
        (Weight { dt_s: None, place_m2: new_m2, velocity }, belief)
    }

    /// The plane about here: the one there is, or one laid anew, with what is kept moved over if it is not far off.
    fn plane_at(&mut self, at: LatLon) -> Plane {
        let Some(plane) = self.plane else { return *self.plane.insert(Plane::new(at)) };
        if distance_m(plane.origin(), at) < PLANE_M {
            return plane;
        }
        let next = Plane::new(at);
        self.steps.retain_mut(|step| {
            let Ok(was) = plane.from_xy(step.belief.place) else { return false };
            step.belief.place = next.to_xy(was);
            step.belief.velocity = next.from_local(was, plane.to_local(was, step.belief.velocity));
            distance_m(was, at) < FAR_M
        });
        *self.plane.insert(next)
    }

    /// The plane that the filter works on.
    pub fn plane(&self) -> Option<Plane> {
        self.plane
    }

    /// What is believed at the last fix.
    pub fn belief(&self) -> Option<&Belief> {
        self.steps.back().map(|step| &step.belief)
    }

    /// Speed at the last fix, m/s, without hindsight; `None` before the first, and after a pause while nothing but one
    /// place is known.
    pub fn speed_m_s(&self) -> Option<f64> {
        let belief = self.belief()?;
        (belief.vv < VAGUE_M2_S2).then(|| belief.velocity[0].hypot(belief.velocity[1]))
    }

    /// Beliefs at the fixes kept, the oldest first, each in hindsight of all later ones, on [`Track::plane`].
    pub fn hindsight(&self) -> Vec<(Mono, Belief)> {
        let mut beliefs: Vec<(Mono, Belief)> = Vec::with_capacity(self.steps.len());
        let mut next: Option<(&Step, Belief)> = None;
        for step in self.steps.iter().rev() {
            let belief = match next {
                Some((later, known)) if later.joined => {
                    let dt_s = (later.t - step.t) as f64 / SECOND as f64;
                    let foreseen = step.belief.later(dt_s);
                    step.belief.in_hindsight(dt_s, &foreseen, &known)
                }
                _ => step.belief,
            };
            beliefs.push((step.t, belief));
            next = Some((step, belief));
        }
        beliefs.reverse();
        beliefs
    }

    /// Where she was at the fixes kept, the oldest first, in hindsight.
    pub fn states(&self) -> Vec<State> {
        self.states_between(Mono(i64::MIN), Mono(i64::MAX))
    }

    /// The same, of the fixes from one moment to another only; those after them are heard all the same.
    pub fn states_between(&self, from: Mono, to: Mono) -> Vec<State> {
        let Some(frame) = self.plane.map(Plane::frame) else { return Vec::new() };
        let state = |(step, (t, belief)): (&Step, (Mono, Belief))| {
            if t < from || t > to {
                return None;
            }
            let at = frame.place_at(belief.place).ok()?;
            let sd_m = (step.wander_m2 + belief.pp).sqrt();
            Some(State {
                t,
                line_t: step.line_t,
                spot: Spot { lat: at.lat(), lon: at.lon(), sd_m },
                velocity_m_s: frame.to_local(at, belief.velocity),
                velocity_sd_m_s: belief.vv.sqrt(),
            })
        };
        self.steps.iter().zip(self.hindsight()).filter_map(state).collect()
    }

    /// Lets go of the fixes before `t`, save the last.
    pub fn forget_before(&mut self, t: Mono) {
        while self.steps.len() > 1 && self.steps.front().is_some_and(|step| step.t < t) {
            self.steps.pop_front();
        }
    }
}

/// By how much a variance grows for what is so strange, in squared standard deviations on two axes: the weight that the
/// t distribution gives it (Lange, Little and Taylor 1989).
fn doubt(strangeness: f64) -> f64 {
    ((FREEDOM + strangeness) / (FREEDOM + 2.0)).max(1.0)
}

/// The velocity that a fix tells, east and north, and its variance on each axis.
fn seen_velocity(fix: &Fix) -> Option<([f64; 2], f64)> {
    let variance = VELOCITY_SD_M_S * VELOCITY_SD_M_S;
    match (fix.speed_m_s?, fix.course_deg) {
        (speed, Some(course)) => {
            let (east, north) = course.to_radians().sin_cos();
            Some(([speed * east, speed * north], variance))
        }
        // Any direction, but hardly any way.
        (speed, None) if speed < SLOW_M_S => Some(([0.0; 2], variance + speed * speed / 2.0)),
        _ => None,
    }
}

#[cfg(test)]
mod tests;
