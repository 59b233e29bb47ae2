//! Tracks of a boat on a straight way, with echoes and pauses.

use super::*;

/// A fix so many metres east and north of a point in the bay, each tenth of a second `n`.
fn fix(n: i64, at: [f64; 2], sd_m: f64) -> Fix {
    let plane = Plane::new(LatLon::new(24.8, -81.0).unwrap());
    let place = plane.from_xy(at).unwrap();
    let t = Mono(n * SECOND / 10);
    let spot = Spot { lat: place.lat(), lon: place.lon(), sd_m };
    Fix { t, line_t: t, spot, speed_m_s: None, course_deg: None }
}

/// Metres of a state from a point, east and north.
fn off(state: &State, at: [f64; 2]) -> f64 {
    let plane = Plane::new(LatLon::new(24.8, -81.0).unwrap());
    let [x, y] = plane.to_xy(LatLon::new(state.spot.lat, state.spot.lon).unwrap());
    (x - at[0]).hypot(y - at[1])
}

/// Noise of a known size, the same each time.
fn noise(n: i64) -> f64 {
    ((n * 7_919 % 1_000) as f64 / 1_000.0 - 0.5) * 1.2
}

#[test]
fn noise_is_smoothed_and_the_way_is_kept() {
    let mut track = Track::default();
    let at = |n: i64| [0.2 * n as f64, -0.1 * n as f64];
    let (mut raw, mut count) = (0.0, 0.0);
    for n in 0..150 {
        let seen = [at(n)[0] + noise(n), at(n)[1] + noise(n + 500)];
        raw += noise(n).hypot(noise(n + 500));
        count += 1.0;
        track.take(&fix(n, seen, 2.0)).unwrap();
    }
    let states = track.states();
    let middle = &states[50..100];
    let smoothed = middle.iter().zip(50..).map(|(state, n)| off(state, at(n))).sum::<f64>() / 50.0;
    assert!(smoothed < 0.5 * raw / count, "{smoothed} m of {}", raw / count);
    for state in middle {
        let [east, north] = state.velocity_m_s;
        assert!((east - 2.0).abs() < 0.3 && (north + 1.0).abs() < 0.3, "{state:?}");
    }
}

#[test]
fn an_echo_counts_little_and_a_place_found_again_counts_at_once() {
    // Metres the fixes are off, for how many tenths of a second, and how far the track may follow.
    for (off_m, tenths, least, most) in [(30.0, 30, 0.0, 3.0), (30.0, 80, 28.0, 32.0)] {
        let mut track = Track::default();
        for n in 0..200 + tenths {
            let strayed = if n < 200 { 0.0 } else { off_m };
            track.take(&fix(n, [strayed, 0.0], 2.0)).unwrap();
        }
        let states = track.states();
        let last = off(states.last().unwrap(), [0.0, 0.0]);
        assert!((least..most).contains(&last), "{off_m} m for {tenths}: {last}");
    }
}

#[test]
fn no_averaging_shrinks_what_wanders() {
    let mut track = Track::default();
    for n in 0..400 {
        track.take(&fix(n, [0.0, 0.0], 3.0)).unwrap();
        let least = (9.0_f64 - 0.9 * 0.9).sqrt();
        assert!(track.states().iter().all(|state| state.spot.sd_m >= least && state.spot.sd_m < 3.3));
    }
}

#[test]
fn a_track_taken_up_again_goes_on_the_same_and_stays_small() {
    let mut track = Track::default();
    let mut copy = None;
    for n in 0..1_500 {
        track.take(&fix(n, [0.1 * n as f64, noise(n)], 2.0)).unwrap();
        if n == 700 {
            let stored = serde_json::to_string(&track).unwrap();
            copy = Some(serde_json::from_str::<Track>(&stored).unwrap());
        } else if let Some(copy) = &mut copy {
            copy.take(&fix(n, [0.1 * n as f64, noise(n)], 2.0)).unwrap();
        }
    }
    assert_eq!(Some(&track), copy.as_ref());
    assert!(track.states().len() <= MOST);
}
