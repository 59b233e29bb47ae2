//! The receiver aboard: an error that wanders over minutes, a little noise on top, and sentences at its own rate.

use gunwale_protocol::place::{LatLon, Plane};
use gunwale_protocol::time::{DAY, SECOND, Utc};

use crate::chance::Chance;
use crate::sea::{Metres, Waters, place};

/// A receiver and its error.
pub struct Receiver {
    sd_m: f64,
    tau_s: f64,
    period_s: f64,
    next_s: f64,
    gst: bool,
    error: Metres,
    noise: Metres,
}

impl Receiver {
    pub fn new(waters: &Waters, chance: &mut Chance) -> Receiver {
        let sd_m = waters.receiver_sd_m;
        Receiver {
            sd_m,
            tau_s: waters.tau_s,
            period_s: 1.0 / waters.hz,
            next_s: 0.0,
            gst: chance.happens(0.5),
            error: [sd_m * chance.normal(), sd_m * chance.normal()],
            noise: [0.0, 0.0],
        }
    }

    /// Where it has the boat, when she is there.
    pub fn sees(&self, at: Metres) -> Metres {
        [at[0] + self.error[0] + self.noise[0], at[1] + self.error[1] + self.noise[1]]
    }

    /// The sentences of an epoch, when one is due, and when each has come in.
    pub fn hear(
        &mut self,
        t_s: f64,
        zero: Utc,
        plane: Plane,
        at: Metres,
        going: Metres,
        chance: &mut Chance,
    ) -> Vec<(i64, String)> {
        if t_s + 1e-9 < self.next_s {
            return Vec::new();
        }
        self.next_s += self.period_s;
        let keep = (-self.period_s / self.tau_s).exp();
        for axis in 0..2 {
            self.error[axis] =
                self.error[axis] * keep + self.sd_m * (1.0 - keep * keep).sqrt() * chance.normal();
            self.noise[axis] = 0.15 * self.sd_m * chance.normal();
        }
        let seen = place(plane, self.sees(at));
        let utc = Utc(zero.0 + (t_s * SECOND as f64).round() as i64);
        let speed = [going[0] + 0.06 * chance.normal(), going[1] + 0.06 * chance.normal()];
        let (knots, course) =
            (speed[0].hypot(speed[1]) / 0.514_444, speed[0].atan2(speed[1]).to_degrees().rem_euclid(360.0));
        let clock = utc.0.rem_euclid(DAY) / 10_000;
        let time = format!(
            "{:02}{:02}{:02}.{:02}",
            clock / 360_000,
            clock / 6_000 % 60,
            clock / 100 % 60,
            clock % 100
        );
        let date = utc.zoned("UTC").map(|day| day.strftime("%d%m%y").to_string()).unwrap_or_default();
        let lat_lon = format!("{},{}", angle(seen.lat(), 2, "NS"), angle(seen.lon(), 3, "EW"));
        let hdop = self.sd_m / 2.5;
        let mut bodies = vec![
            format!("GPRMC,{time},A,{lat_lon},{knots:.2},{course:.1},{date},,,A"),
            format!("GPGGA,{time},{lat_lon},1,09,{hdop:.2},0.8,M,-24.6,M,,"),
        ];
        if self.gst {
            bodies.push(format!("GPGST,{time},1.0,{0:.2},{0:.2},0.0,{0:.2},{0:.2},2.0", self.sd_m));
        }
        let arrives = ((t_s + chance.between(0.02, 0.06)) * SECOND as f64) as i64;
        bodies.iter().enumerate().map(|(n, body)| (arrives + n as i64 * 5_000, sentence(body))).collect()
    }
}

/// A place to be found out as wrong.
pub fn nowhere() -> LatLon {
    LatLon::new(0.0, 0.0).expect("a place")
}

fn angle(degrees: f64, width: usize, signs: &str) -> String {
    let all = (degrees.abs() * 6e6).round() as i64;
    let (whole, minutes, parts) = (all / 6_000_000, all / 100_000 % 60, all % 100_000);
    let sign = signs.chars().nth(usize::from(degrees < 0.0)).unwrap_or('N');
    format!("{whole:0width$}{minutes:02}.{parts:05},{sign}")
}

fn sentence(body: &str) -> String {
    format!("${body}*{:02X}", body.bytes().fold(0, |xor, byte| xor ^ byte))
}
