//! A boat's track is what filterpy makes of the same fixes: states and covariances, with and without hindsight.

use gunwale_protocol::finding::Spot;
use gunwale_protocol::place::LatLon;
use gunwale_protocol::stop::Fix;
use gunwale_protocol::time::{Mono, SECOND};
use gunwale_protocol::track::{ACCELERATION, Belief, Track};
use serde_json::{Value, json};

use crate::{Random, content, reader};

fn value(belief: &Belief) -> Value {
    let Belief { place, velocity, pp, pv, vv } = belief;
    json!({ "place": place, "velocity": velocity, "pp": pp, "pv": pv, "vv": vv })
}

#[test]
fn tracks_are_what_filterpy_makes_of_the_same_fixes() {
    let Some(mut script) = reader("track.py") else { return };
    let mut random = Random(1960);
    let (mut cases, mut strayed) = (String::new(), 0);
    for number in 0..60 {
        // Everywhere on earth, both poles and the antimeridian among it.
        let lat = [24.8, -17.0, 70.0, 89.9999, -90.0][number % 5];
        let lon = [-81.6, 180.0, 5.0, -179.9999][number % 4];
        let origin = gunwale_protocol::place::Plane::new(LatLon::new(lat, lon).unwrap());
        let (mut track, mut steps, mut parts, mut t) = (Track::default(), Vec::new(), Vec::new(), 0);
        let (mut at, mut speed, mut course) = ([0.0, 0.0], 3.0, random.unit() * 360.0);
        let sd_m = 0.5 + 6.0 * random.unit();
        for fix in 0..200 {
            let pause = 50_000 + random.below(if number % 3 == 0 { 150_000 } else { 2_900_000 }) as i64;
            t += pause;
            let dt_s = pause as f64 / SECOND as f64;
            course = (course + 20.0 * (random.unit() - 0.5)).rem_euclid(360.0);
            speed = (speed + dt_s * (random.unit() - 0.5)).clamp(0.0, 5.0);
            let (x, y) = f64::to_radians(course).sin_cos();
            at = [at[0] + speed * dt_s * x, at[1] + speed * dt_s * y];
            // Now and then a fix goes astray, never for long.
            let far = if fix % 23 == 7 { 40.0 } else { 1.0 };
            let seen = origin.from_xy(at.map(|m| m + far * (random.unit() - 0.5))).unwrap();
            let [east, north] = origin.to_local(seen, [x, y]);
            let over_ground = east.atan2(north).to_degrees().rem_euclid(360.0);
            let told = |value: f64, random: &mut Random| (random.below(4) > 0).then_some(value);
            let fix = Fix {
                t: Mono(t),
                line_t: Mono(t),
                spot: Spot { lat: seen.lat(), lon: seen.lon(), sd_m },
                speed_m_s: told(speed, &mut random),
                course_deg: told(over_ground, &mut random),
            };
            let weight = track.take(&fix).unwrap();
            strayed += usize::from(far > 1.0 && weight.place_m2 > 2.0 * (0.3 * sd_m).powi(2).max(0.09));
            if weight.dt_s.is_none() {
                // At first, and when fixes have been far off for so long that they are true: a case of its own.
                parts.push(steps.len());
            }
            let (velocity, velocity_m2) = weight.velocity.unzip();
            steps.push(json!({
                "dt": weight.dt_s,
                "place": track.plane().unwrap().to_xy(seen),
                "place_m2": weight.place_m2,
                "velocity": velocity,
                "velocity_m2": velocity_m2,
                "known": value(track.belief().unwrap()),
            }));
        }
        for (step, (_, belief)) in steps.iter_mut().zip(track.hindsight()) {
            step["hindsight"] = value(&belief);
        }
        while let Some(from) = parts.pop() {
            let steps = steps.split_off(from);
            cases += &format!("{}\n", json!({ "acceleration": ACCELERATION, "steps": steps }));
        }
    }
    assert!(strayed > 60, "{strayed} fixes taken for strayed");
    println!("{}", content(&mut script, &cases));
}
