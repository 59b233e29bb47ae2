//! The bay as a flat chart: metres east and north of its middle, and the degrees they stand for.

use std::ops::{Add, Mul, Sub};

/// Latitude and longitude of the chart's middle, degrees: open water, north of any key.
pub const MIDDLE: (f64, f64) = (24.79, -81.68);

/// A point or a way on the chart, metres.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Xy {
    /// East.
    pub e: f64,
    /// North.
    pub n: f64,
}

impl Xy {
    /// The way of this length along this bearing, radians clockwise from north.
    pub fn polar(metres: f64, bearing: f64) -> Xy {
        Xy { e: metres * bearing.sin(), n: metres * bearing.cos() }
    }

    /// Its length, metres.
    pub fn len(self) -> f64 {
        self.e.hypot(self.n)
    }

    /// Its bearing, radians clockwise from north, −π…π.
    pub fn bearing(self) -> f64 {
        self.e.atan2(self.n)
    }

    /// The point in degrees.
    pub fn place(self) -> Place {
        // Radii of curvature of the WGS 84 ellipsoid at the middle; within a kilometre the chart is true to centimetres.
        const A: f64 = 6_378_137.0;
        const E2: f64 = 0.006_694_379_990_141_3;
        let lat = MIDDLE.0.to_radians();
        let w = (1.0 - E2 * lat.sin().powi(2)).sqrt();
        let (meridian, prime) = (A * (1.0 - E2) / w.powi(3), A / w);
        Place {
            lat: MIDDLE.0 + (self.n / meridian).to_degrees(),
            lon: MIDDLE.1 + (self.e / (prime * lat.cos())).to_degrees(),
        }
    }
}

impl Add for Xy {
    type Output = Xy;
    fn add(self, other: Xy) -> Xy {
        Xy { e: self.e + other.e, n: self.n + other.n }
    }
}

impl Sub for Xy {
    type Output = Xy;
    fn sub(self, other: Xy) -> Xy {
        Xy { e: self.e - other.e, n: self.n - other.n }
    }
}

impl Mul<f64> for Xy {
    type Output = Xy;
    fn mul(self, by: f64) -> Xy {
        Xy { e: self.e * by, n: self.n * by }
    }
}

/// A place in degrees, WGS 84.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// North.
    pub lat: f64,
    /// East.
    pub lon: f64,
}

#[cfg(test)]
pub mod tests {
    use super::*;

    /// Metres between two places near each other: length of a degree by the series of the US National Imagery and
    /// Mapping Agency for WGS 84 (from memory), not by the radii above.
    pub fn metres(a: Place, b: Place) -> f64 {
        let lat = (0.5 * (a.lat + b.lat)).to_radians();
        let north = 111_132.92 - 559.82 * (2.0 * lat).cos() + 1.175 * (4.0 * lat).cos();
        let east = 111_412.84 * lat.cos() - 93.5 * (3.0 * lat).cos() + 0.118 * (5.0 * lat).cos();
        (north * (a.lat - b.lat)).hypot(east * (a.lon - b.lon))
    }

    #[test]
    fn the_chart_keeps_distances() {
        let middle = Xy::default().place();
        for (far, bearing) in [(35.0, 0.3), (500.0, 2.0), (2_000.0, -1.2)] {
            let off = metres(middle, Xy::polar(far, bearing).place());
            assert!((off - far).abs() < 3e-4 * far, "{far} m is {off} m");
        }
    }
}
