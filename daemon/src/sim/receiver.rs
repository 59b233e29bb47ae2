//! The GPS receiver and the sounder on its line: what they say about where the boat is.

use gunwale_protocol::time::{SECOND, Utc};

use super::chart::Xy;
use super::motion::{Step, TICK_S};
use super::rng::Rng;
use super::scenario::{START, water};
use super::{Kind, Line, Options};

/// The receiver has no fix before this, seconds.
pub const NO_FIX_S: f64 = 90.0;
/// Error from one fix to the next on top of the wandering one, metres on each axis.
const WHITE_M: f64 = 0.3;
/// Error of the speed, metres a second on each axis.
const SPEED_SD: f64 = 0.05;
/// How long after its moment an epoch's first sentence comes, seconds.
const DELAY_S: (f64, f64) = (0.08, 0.15);
/// Ticks between satellites, depth and temperature.
const SELDOM: u64 = 50;
/// One knot, metres a second (NIST SP 811, appendix B).
const KNOT: f64 = 1_852.0 / 3_600.0;

/// A receiver with its state.
#[derive(Debug, Clone)]
pub struct Receiver {
    rng: Rng,
    sd_m: f64,
    tau_s: f64,
    gst: bool,
    /// Ticks between epochs.
    period: u64,
    /// Microseconds one byte takes on the line.
    byte_us: i64,
    /// The wandering part of the error: a first-order Gauss–Markov process on each axis.
    error: Xy,
    /// When the line is free again, microseconds.
    free: i64,
}

impl Receiver {
    /// The day's receiver, from its seed.
    pub fn new(options: &Options) -> Receiver {
        let mut rng = Rng::new(options.seed, 3);
        let hz = if options.gps_hz.is_finite() { options.gps_hz.clamp(0.1, 10.0) } else { 1.0 };
        let sd_m = options.receiver_sd_m;
        Receiver {
            error: Xy { e: rng.normal(), n: rng.normal() } * sd_m,
            rng,
            sd_m,
            tau_s: options.receiver_tau_s.max(TICK_S),
            gst: options.gst,
            period: (1.0 / (hz * TICK_S)).round().max(1.0) as u64,
            // 38,400 or 115,200 baud, ten bits a byte.
            byte_us: if hz > 2.0 { 87 } else { 260 },
            free: 0,
        }
    }

    /// The sentences of this step, if it is an epoch's.
    pub fn hear(&mut self, step: &Step, mut send: impl FnMut(Line)) {
        if !step.tick.is_multiple_of(self.period) {
            return;
        }
        let t_s = step.tick as f64 * TICK_S;
        let fix = (t_s >= NO_FIX_S).then(|| self.fix(step, t_s));
        let mut bodies = match &fix {
            Some(fix) => fix.bodies(),
            None => vec!["GPRMC,,V,,,,,,,,,,N".into(), "GPGGA,,,,,,0,00,99.99,,,,,,".into()],
        };
        if let (true, Some(fix)) = (self.gst, &fix) {
            bodies.push(fix.gst(self.sd_m.hypot(WHITE_M)));
        }
        if step.tick.is_multiple_of(SELDOM) {
            bodies.push(match &fix {
                Some(fix) => fix.gsa(),
                None => "GPGSA,A,1,,,,,,,,,,,,,99.99,99.99,99.99".into(),
            });
        }
        bodies.push(fix.map_or_else(|| "GPVTG,,,,,,,,,N".into(), |fix| fix.vtg()));
        if step.tick.is_multiple_of(SELDOM) {
            let (depth_m, water_c) = water(step.at);
            bodies.push(format!("SDDPT,{depth_m:.1},0.0"));
            bodies.push(format!("YXMTW,{water_c:.1},C"));
        }
        let delay = self.rng.between(DELAY_S.0, DELAY_S.1);
        self.free = self.free.max(((t_s + delay) * SECOND as f64) as i64);
        for body in bodies {
            let text = sentence(&body);
            // A line is there when its last byte is.
            self.free += (text.len() as i64 + 2) * self.byte_us;
            send(Line { t_us: self.free, kind: Kind::Gps, text });
        }
    }

    fn fix(&mut self, step: &Step, t_s: f64) -> Fix {
        let since = self.period as f64 * TICK_S;
        let keep = (-since / self.tau_s).exp();
        let mut noise = |sd: f64| Xy { e: self.rng.normal(), n: self.rng.normal() } * sd;
        self.error = self.error * keep + noise(self.sd_m * (1.0 - keep * keep).sqrt());
        let at = step.at + self.error + noise(WHITE_M);
        let moves = step.moves + noise(SPEED_SD);
        // 2.5 m for each unit of dilution: what a reader without GST would take it for.
        let hdop = (self.sd_m.hypot(WHITE_M) / 2.5).max(0.5) * self.rng.between(0.95, 1.05);
        Fix { at, moves, hdop, utc: START + (t_s * SECOND as f64).round() as i64 }
    }
}

/// What the receiver makes of one epoch.
struct Fix {
    at: Xy,
    moves: Xy,
    hdop: f64,
    utc: Utc,
}

impl Fix {
    fn clock(&self) -> (String, String) {
        let day = self.utc.zoned("UTC").map(|z| z.strftime("%d%m%y").to_string()).unwrap_or_default();
        let c = self.utc.0.rem_euclid(gunwale_protocol::time::DAY) / 10_000;
        let (h, m, s, hundredths) = (c / 360_000, c / 6_000 % 60, c / 100 % 60, c % 100);
        (format!("{h:02}{m:02}{s:02}.{hundredths:02}"), day)
    }

    fn place(&self) -> String {
        let place = self.at.place();
        format!("{},{}", angle(place.lat, 2, ['N', 'S']), angle(place.lon, 3, ['E', 'W']))
    }

    fn course(&self) -> f64 {
        // 359.999 would be written 360.0.
        let tenths = (self.moves.bearing().to_degrees().rem_euclid(360.0) * 10.0).round() as i64 % 3_600;
        tenths as f64 / 10.0
    }

    /// RMC and GGA.
    fn bodies(&self) -> Vec<String> {
        let ((time, day), place) = (self.clock(), self.place());
        let (knots, course) = (self.moves.len() / KNOT, self.course());
        vec![
            format!("GPRMC,{time},A,{place},{knots:.2},{course:.1},{day},,,A"),
            format!("GPGGA,{time},{place},1,09,{:.2},0.8,M,-24.6,M,,", self.hdop),
        ]
    }

    fn gst(&self, sd: f64) -> String {
        let time = self.clock().0;
        format!("GPGST,{time},{:.1},{sd:.2},{sd:.2},0.0,{sd:.2},{sd:.2},{:.2}", 1.5 * sd, 1.8 * sd)
    }

    fn gsa(&self) -> String {
        let vdop = 1.6 * self.hdop;
        format!(
            "GPGSA,A,3,02,05,07,11,13,18,20,26,30,,,,{:.2},{:.2},{vdop:.2}",
            self.hdop.hypot(vdop),
            self.hdop
        )
    }

    fn vtg(&self) -> String {
        let speed = self.moves.len();
        format!("GPVTG,{:.1},T,,M,{:.2},N,{:.2},K,A", self.course(), speed / KNOT, 3.6 * speed)
    }
}

/// Degrees as `ddmm.mmmmm` and a hemisphere.
fn angle(degrees: f64, width: usize, [plus, minus]: [char; 2]) -> String {
    let all = (degrees.abs() * 6e6).round() as i64;
    let (whole, minutes, parts) = (all / 6_000_000, all / 100_000 % 60, all % 100_000);
    format!("{whole:0width$}{minutes:02}.{parts:05},{}", if degrees < 0.0 { minus } else { plus })
}

/// A sentence with its checksum: the XOR of its body.
fn sentence(body: &str) -> String {
    format!("${body}*{:02X}", body.bytes().fold(0, |xor, byte| xor ^ byte))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angles_carry() {
        for (degrees, width, want) in [
            (24.79, 2, "2447.40000,N"),
            (-81.68, 3, "08140.80000,W"),
            (24.999_999_999_9, 2, "2500.00000,N"),
            (0.5, 3, "00030.00000,E"),
        ] {
            let signs = if width == 2 { ['N', 'S'] } else { ['E', 'W'] };
            assert_eq!(angle(degrees, width, signs), want);
        }
    }

    #[test]
    fn checksums_are_right() {
        // From the gpsd project's "NMEA Revealed".
        assert_eq!(
            sentence("GPVTG,220.86,T,,M,2.550,N,4.724,K,A"),
            "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34"
        );
    }

    #[test]
    fn the_error_wanders_as_it_should() {
        let options = Options { receiver_sd_m: 2.0, receiver_tau_s: 100.0, ..Options::default() };
        let mut receiver = Receiver::new(&options);
        let mut errors = Vec::new();
        for second in 0..200_000_u64 {
            let step = Step { tick: second * 10, at: Xy::default(), moves: Xy::default(), happened: None };
            receiver.hear(&step, |_| ());
            errors.push(receiver.error.e);
        }
        let skip = &errors[100..];
        let mean = |xs: &mut dyn Iterator<Item = f64>| xs.sum::<f64>() / skip.len() as f64;
        let sd = mean(&mut skip.iter().map(|e| e * e)).sqrt();
        let after = mean(&mut skip.iter().zip(&skip[100..]).map(|(a, b)| a * b)) / (sd * sd);
        assert!((sd - 2.0).abs() < 0.2, "sd {sd}");
        assert!((after - (-1.0_f64).exp()).abs() < 0.1, "after one time constant {after}");
    }
}
