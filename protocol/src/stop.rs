//! When the boat lies to a buoy and when she is under way again: stops, from speed with hysteresis.
//!
//! Walking pace inside a stop (shifting to clear a line, 1.3 m/s) does not end it. Each stop keeps where she came
//! alongside, which is where the trap was picked up, and the last slow place before she left, which is where it went
//! back: in between she drifts, and those metres say nothing of the trap.

use serde::{Deserialize, Serialize};

use crate::finding::Spot;
use crate::place::LatLon;
use crate::time::{Mono, SECOND};

/// Smoothed speed under which a stop opens, m/s: above any drift (2 knots is 1.03).
const SLOW_M_S: f64 = 1.2;
/// Smoothed speed over which it ends, m/s: above walking pace.
const UNDER_WAY_M_S: f64 = 1.6;
/// Smoothed speed under which she is slowing down for something, m/s: some 5 knots.
const SLOWING_M_S: f64 = 2.6;
/// Raw speed that counts as alongside, m/s.
const ALONGSIDE_M_S: f64 = 0.6;
/// Time constant of the speed's smoothing, seconds.
const SMOOTHING_S: f64 = 1.5;
/// How long after a stop opens the boat may still be coming alongside.
const ARRIVAL: i64 = 20 * SECOND;
/// How long she may creep up to the buoy once nearly still: alongside is where she is slowest, for then she drifts.
const CREEP: i64 = 8 * SECOND;
/// Fixes averaged for a place: those within this time. Longer would drift with the boat.
const PLACE: i64 = 3 * SECOND;
/// Without fixes for this long the boat may have gone anywhere.
pub const BLIND: i64 = 10 * SECOND;
/// After a blind spell, farther off than this she has been under way, metres.
const MOVED_M: f64 = 30.0;
/// Fixes kept from the arrival: 15 s at 20 Hz.
const ARRIVAL_FIXES: usize = 300;

/// One position of the boat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Fix {
    /// When she was there, on the segment's clock.
    pub t: Mono,
    /// The `t` of the input line that brought it.
    pub line_t: Mono,
    /// Where, with the receiver's standard deviation on each axis.
    pub spot: Spot,
    /// Speed over ground, m/s, if the receiver gave it.
    pub speed_m_s: Option<f64>,
}

/// What a fix did to the boat's state.
#[derive(Debug, Default, PartialEq)]
pub struct Step {
    /// A stop ended, at this moment before the fix that showed it.
    pub ended: Option<(Mono, Lying)>,
    /// A stop opened with this fix.
    pub opened: bool,
}

/// The stop that is open: its arrival and its latest slow places.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Lying {
    /// Fixes from the opening on, as long as she may be coming alongside.
    arrival: Vec<Fix>,
    /// The latest slow fixes, within [`PLACE`] of the last of them.
    slow: Vec<Fix>,
    /// Fixes since the opening, and those of them after the last slow one.
    fixes: u32,
    speeding: u32,
}

impl Lying {
    fn new(fix: Fix) -> Lying {
        Lying { arrival: vec![fix], slow: vec![fix], fixes: 1, speeding: 0 }
    }

    fn take(&mut self, fix: Fix, speed: f64) {
        let opened = self.arrival.first().map_or(fix.t, |f| f.t);
        if fix.t - opened <= ARRIVAL + PLACE && self.arrival.len() < ARRIVAL_FIXES {
            self.arrival.push(fix);
        }
        self.fixes += 1;
        self.speeding += 1;
        if speed < SLOW_M_S {
            self.speeding = 0;
            self.slow.retain(|f| fix.t - f.t < PLACE);
            if self.slow.len() < ARRIVAL_FIXES {
                self.slow.push(fix);
            }
        }
    }

    /// The fix at which she came alongside: the first that is nearly still, else the slowest of the arrival.
    fn alongside(&self) -> Option<&Fix> {
        let opened = self.arrival.first()?.t;
        let speed = |f: &Fix| f.speed_m_s.unwrap_or(f64::MAX);
        let mut arriving = self.arrival.iter().filter(|f| f.t - opened <= ARRIVAL);
        let nearly = arriving.clone().find(|f| speed(f) < ALONGSIDE_M_S).map(|f| f.t);
        let creeping = |f: &&Fix| nearly.is_some_and(|from| (0..=CREEP).contains(&(f.t - from)));
        arriving
            .clone()
            .filter(creeping)
            .min_by(|a, b| speed(a).total_cmp(&speed(b)))
            .or_else(|| arriving.clone().min_by(|a, b| speed(a).total_cmp(&speed(b))))
            .or_else(|| arriving.next())
    }

    /// Fixes from coming alongside to the last slow one.
    pub fn fixes(&self) -> u32 {
        let from = self.alongside().map(|f| f.t);
        let before = self.arrival.iter().filter(|f| from.is_some_and(|from| f.t < from)).count();
        self.fixes.saturating_sub(self.speeding).saturating_sub(u32::try_from(before).unwrap_or(u32::MAX))
    }

    /// When she came alongside, and where: the pick-up.
    pub fn picked_up(&self) -> Option<(Mono, Spot)> {
        let from = self.alongside()?.t;
        let near = self.arrival.iter().filter(|f| (0..PLACE).contains(&(f.t - from)));
        Some((from, mean(near)?))
    }

    /// The last slow moment and place: the set.
    pub fn set_down(&self) -> Option<(Mono, Spot)> {
        let last = self.slow.last()?;
        let near = self.slow.iter().filter(|f| last.t - f.t < PLACE);
        Some((last.t, mean(near)?))
    }
}

/// Mean place of fixes a few seconds apart. A receiver's error lasts for minutes, so averaging does not shrink it:
/// the uncertainty stays that of one fix.
fn mean<'a>(fixes: impl Iterator<Item = &'a Fix>) -> Option<Spot> {
    let (mut n, mut lat, mut east, mut sd) = (0.0, 0.0, 0.0, 0.0);
    let mut origin = None;
    for fix in fixes {
        let first = *origin.get_or_insert(fix.spot);
        n += 1.0;
        lat += fix.spot.lat - first.lat;
        east += (fix.spot.lon - first.lon + 540.0).rem_euclid(360.0) - 180.0;
        sd += fix.spot.sd_m;
    }
    let first = origin?;
    let lon = (first.lon + east / n + 540.0).rem_euclid(360.0) - 180.0;
    Some(Spot { lat: first.lat + lat / n, lon, sd_m: sd / n })
}

/// Watches the boat's speed.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Watch {
    last: Option<Fix>,
    smoothed_m_s: Option<f64>,
    lying: Option<Lying>,
}

impl Watch {
    /// Takes a fix; one that is not later than the last is passed over.
    pub fn take(&mut self, mut fix: Fix) -> Step {
        let mut step = Step::default();
        let last = self.last;
        let gap = last.map_or(i64::MAX, |last| fix.t - last.t);
        if gap <= 0 {
            return step;
        }
        let blind = gap > BLIND;
        if let (None, false, Some(last)) = (fix.speed_m_s, blind, last) {
            // A receiver that tells no speed: from the way made since the last fix.
            fix.speed_m_s = Some(metres(&last, &fix) / (gap as f64 / SECOND as f64));
        }
        self.smoothed_m_s = match (self.smoothed_m_s, fix.speed_m_s) {
            (Some(before), Some(v)) if !blind => {
                let share = 1.0 - (-(gap as f64) / (SMOOTHING_S * SECOND as f64)).exp();
                Some(before + share * (v - before))
            }
            (before, v) => v.or(before),
        };
        self.last = Some(fix);
        if let (true, Some(last)) = (blind, last)
            && metres(&last, &fix) > MOVED_M
        {
            step.ended = self.lying.take().map(|lying| (last.t, lying));
        }
        let Some(smoothed) = self.smoothed_m_s else { return step };
        match &mut self.lying {
            None if smoothed < SLOW_M_S => {
                self.lying = Some(Lying::new(fix));
                step.opened = true;
            }
            None => {}
            Some(lying) if smoothed > UNDER_WAY_M_S => {
                let at = lying.set_down().map_or(fix.t, |(t, _)| t);
                step.ended = self.lying.take().map(|lying| (at, lying));
            }
            Some(lying) => lying.take(fix, fix.speed_m_s.unwrap_or(smoothed)),
        }
        step
    }

    /// The stop that is open, if one is.
    pub fn lying(&self) -> Option<&Lying> {
        self.lying.as_ref()
    }

    /// Whether fixes show her under way.
    pub fn under_way(&self) -> bool {
        self.smoothed_m_s.is_some() && self.lying.is_none()
    }

    /// Whether fixes show her slow, though not yet at a stop.
    pub fn slowing(&self) -> bool {
        self.smoothed_m_s.is_some_and(|v| v < SLOWING_M_S)
    }

    /// Gives up the open stop: the boat has been blind too long to say it is still the same.
    pub fn give_up(&mut self) -> Option<Lying> {
        self.smoothed_m_s = None;
        self.lying.take()
    }

    /// The last fix taken.
    pub fn last(&self) -> Option<&Fix> {
        self.last.as_ref()
    }
}

fn metres(a: &Fix, b: &Fix) -> f64 {
    match (LatLon::new(a.spot.lat, a.spot.lon), LatLon::new(b.spot.lat, b.spot.lon)) {
        (Ok(a), Ok(b)) => crate::place::distance_m(a, b),
        _ => 0.0,
    }
}
