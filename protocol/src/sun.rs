//! When the sun rises and sets at a place: sea level, a free horizon, mean refraction.
//!
//! The equations are those of NOAA's solar calculator, which has them from Meeus, "Astronomical Algorithms": low-precision
//! places of the sun, and a horizon 0.833° down (34′ of refraction and the sun's half width of 16′). The air of the day moves the real
//! event by more than what other programs differ by, near the polar circles by minutes.
//!
//! Measured on 3,024 days, solstices and equinoxes of four years, seconds at most (`tests/readers/sun.py`):
//!
//! | against | 0° to 60° | 65°, equinoxes | 65°, solstices |
//! |---|---|---|---|
//! | ephem 4.2.1 (an ephemeris), sun's upper edge 0.833° down | 5 | 5 | 8 |
//! | astral 3.2, given 90.833° | 1 | 1 | 1 |
//! | astral 3.2 as it comes: a horizon 0.04° higher | 37 | 26 | 106 |
//!
//! As it comes astral is as far from ephem there, 102 s: at 65° on a solstice the sun only grazes the horizon.

use crate::place::LatLon;
use crate::time::{DAY, SECOND, Utc};

/// Distance of the sun's centre from the zenith when its upper edge is seen on the horizon, degrees.
const ZENITH_DEG: f64 = 90.833;
/// Noon of 1 January 2000, the epoch J2000.0, in seconds of POSIX time.
const J2000_S: f64 = 946_728_000.0;
/// Days in a Julian century.
const CENTURY_DAYS: f64 = 36_525.0;
/// An event is looked for again at the moment found, as the sun moves on meanwhile; after this many times nothing changes
/// by a millisecond up to 65° latitude.
const PASSES: usize = 6;

/// What the sun does in the half day before or after its noon.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Horizon {
    /// It crosses the horizon at this moment.
    Crossed(Utc),
    /// It stays above the horizon: polar day.
    Above,
    /// It stays below the horizon: polar night.
    Below,
}

/// The sun's day at a place: from its lowest to its lowest, whatever any calendar says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SunDay {
    /// When it stands highest.
    pub noon: Utc,
    /// Before noon.
    pub rise: Horizon,
    /// After noon.
    pub set: Horizon,
}

/// The sun's day that holds a moment: the one whose noon is nearest.
///
/// ```
/// use gunwale_protocol::{place::LatLon, sun, time::Utc};
/// let day = sun::day(Utc(1_800_000_000_000_000), LatLon::new(25.86, -81.39)?);
/// assert!(matches!(day.rise, sun::Horizon::Crossed(at) if at.to_string().starts_with("2027-01-15T12:1")));
/// # Ok::<(), gunwale_protocol::place::PlaceError>(())
/// ```
pub fn day(at: Utc, place: LatLon) -> SunDay {
    let turned_us = (place.lon() / 360.0 * DAY as f64).round() as i64;
    let number = (at + turned_us).0.div_euclid(DAY);
    let mean_noon = |number: i64| Utc(number.saturating_mul(DAY)) + DAY / 2 - turned_us;
    // True noon strays from the mean one by up to 17 minutes.
    let nearest = [number, number.saturating_sub(1), number.saturating_add(1)]
        .map(mean_noon)
        .into_iter()
        .min_by_key(|mean| (at - noon(*mean)).unsigned_abs());
    let mean = nearest.unwrap_or(at);
    SunDay { noon: noon(mean), rise: crossing(mean, place, -1.0), set: crossing(mean, place, 1.0) }
}

/// When the sun stands highest on the day with this mean noon.
fn noon(mean: Utc) -> Utc {
    (0..PASSES).fold(mean, |at, _| mean - Sun::at(at).ahead_us())
}

/// The crossing of the horizon before (−1) or after (1) noon.
fn crossing(mean: Utc, place: LatLon, side: f64) -> Horizon {
    let mut at = noon(mean);
    for _ in 0..PASSES {
        let sun = Sun::at(at);
        let (sin_lat, cos_lat) = place.lat().to_radians().sin_cos();
        let (sin_d, cos_d) = sun.declination_rad.sin_cos();
        // The hour angle's cosine times a number that is never negative, so that a pole needs no division by nought.
        let (cosine, scale) = (ZENITH_DEG.to_radians().cos() - sin_lat * sin_d, cos_lat * cos_d);
        if cosine >= scale {
            return Horizon::Below;
        }
        if cosine <= -scale {
            return Horizon::Above;
        }
        let hour_angle_deg = (cosine / scale).acos().to_degrees();
        at = mean - sun.ahead_us() + (side * hour_angle_deg / 360.0 * DAY as f64).round() as i64;
    }
    Horizon::Crossed(at)
}

/// Where the sun is.
struct Sun {
    declination_rad: f64,
    /// How far the sundial is ahead of the mean sun, minutes.
    equation_min: f64,
}

impl Sun {
    fn at(at: Utc) -> Sun {
        let t = (at.0 as f64 / SECOND as f64 - J2000_S) / 86_400.0 / CENTURY_DAYS;
        let mean_longitude =
            (280.46646 + t * (36_000.769_83 + 0.000_303_2 * t)).rem_euclid(360.0).to_radians();
        let anomaly = (357.529_11 + t * (35_999.050_29 - 0.000_153_7 * t)).rem_euclid(360.0).to_radians();
        let eccentricity = 0.016_708_634 - t * (0.000_042_037 + 0.000_000_126_7 * t);
        let centre_deg = anomaly.sin() * (1.914_602 - t * (0.004_817 + 0.000_014 * t))
            + (2.0 * anomaly).sin() * (0.019_993 - 0.000_101 * t)
            + (3.0 * anomaly).sin() * 0.000_289;
        let node = (125.04 - 1_934.136 * t).to_radians();
        let longitude = mean_longitude + (centre_deg - 0.005_69 - 0.004_78 * node.sin()).to_radians();
        let mean_obliquity_deg =
            23.0 + (26.0 + (21.448 - t * (46.815 + t * (0.000_59 - 0.001_813 * t))) / 60.0) / 60.0;
        let obliquity = (mean_obliquity_deg + 0.002_56 * node.cos()).to_radians();
        let y = (obliquity / 2.0).tan().powi(2);
        let equation = y * (2.0 * mean_longitude).sin() - 2.0 * eccentricity * anomaly.sin()
            + 4.0 * eccentricity * y * anomaly.sin() * (2.0 * mean_longitude).cos()
            - 0.5 * y * y * (4.0 * mean_longitude).sin()
            - 1.25 * eccentricity * eccentricity * (2.0 * anomaly).sin();
        Sun {
            declination_rad: (obliquity.sin() * longitude.sin()).asin(),
            equation_min: 4.0 * equation.to_degrees(),
        }
    }

    fn ahead_us(&self) -> i64 {
        (self.equation_min * 60.0 * SECOND as f64).round() as i64
    }
}

#[cfg(test)]
mod tests;
