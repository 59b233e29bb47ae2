//! Sunrise and sunset are those of astral and ephem, within a minute.

use gunwale_protocol::place::LatLon;
use gunwale_protocol::sun::{self, Horizon};
use gunwale_protocol::time::{SECOND, Utc};
use serde_json::{Value, json};

use crate::{content, reader};

#[test]
fn the_sun_rises_and_sets_when_astral_and_ephem_say() {
    let (Some(mut cases), Some(mut judge)) = (reader("sun.py"), reader("sun.py")) else { return };
    let mut found = String::new();
    for line in content(cases.arg("cases"), "").lines() {
        let [lat, lon, noon]: [f64; 3] = serde_json::from_str(line).unwrap();
        let day = sun::day(Utc((noon * SECOND as f64) as i64), LatLon::new(lat, lon).unwrap());
        let told = |horizon: Horizon| -> Value {
            match horizon {
                Horizon::Crossed(at) => json!(at.0 as f64 / SECOND as f64),
                Horizon::Above => json!("above"),
                Horizon::Below => json!("below"),
            }
        };
        found += &format!("{}\n", json!([lat, lon, noon, told(day.rise), told(day.set)]));
    }
    println!("{}", content(judge.arg("judge"), &found));
}
