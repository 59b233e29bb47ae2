//! The steps of a scale's level are where ruptures, a library for change points, has them.

use gunwale_protocol::scale::{Reading, State};
use gunwale_protocol::time::Mono;
use gunwale_protocol::weigh::{Event, Weigher};
use serde_json::json;

use crate::{Random, content, reader};

/// Readings a second.
const READINGS_HZ: usize = 10;

#[test]
fn steps_are_where_ruptures_has_them() {
    let Some(mut script) = reader("steps.py") else { return };
    let mut random = Random(1988);
    let mut cases = String::new();
    for number in 0..25 {
        // Into a tub that stays: every load is a step up.
        let (mut load_g, mut readings, mut next, mut left) = (0.0, Vec::new(), 6 * READINGS_HZ, 8);
        let phase = 6.0 * random.unit();
        for n in 0..60 * READINGS_HZ {
            if n == next && left > 0 {
                load_g += 60.0 + 240.0 * random.unit();
                next += (4.0 + 3.0 * random.unit()) as usize * READINGS_HZ;
                left -= 1;
            }
            let t_s = n as f64 / READINGS_HZ as f64;
            // A quiet harbour: a hundredth of a metre a second squared in a swell of five seconds.
            let lift = 0.001 * (1.25 * t_s + phase).sin();
            let noise_g: f64 = (0..12).map(|_| random.unit()).sum::<f64>() - 6.0;
            readings.push((t_s, (load_g * (1.0 + lift) + noise_g).round()));
        }
        let mut weigher = Weigher::default();
        let mut steps = Vec::new();
        let mut take = |events: Vec<Event>| {
            steps.extend(events.into_iter().filter_map(|event| match event {
                Event::Weighed { at, .. } => Some(at.0 as f64 / 1e6),
                _ => None,
            }));
        };
        for (t_s, g) in &readings {
            let reading = Reading { g: Some(*g), state: State::Moving, net: None };
            take(weigher.take(Mono((t_s * 1e6).round() as i64), &reading));
        }
        take(weigher.finish());
        let (t, g): (Vec<f64>, Vec<f64>) = readings.into_iter().unzip();
        cases += &format!("{}\n", json!({ "name": format!("tub {number}"), "t": t, "g": g, "steps": steps }));
    }
    println!("{}", content(&mut script, &cases));
}
