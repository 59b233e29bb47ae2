//! Distances are GeographicLib's, within a millimetre.

use gunwale_protocol::place::{LatLon, distance_m};

use crate::{content, reader};

#[test]
fn distances_are_geographiclibs() {
    let (Some(mut cases), Some(mut judge)) = (reader("geodesy.py"), reader("geodesy.py")) else { return };
    let mut found = String::new();
    for line in content(cases.arg("cases"), "").lines() {
        let case: [Option<f64>; 5] = serde_json::from_str(line).unwrap();
        let at = |lat: usize| LatLon::new(case[lat].unwrap(), case[lat + 1].unwrap()).unwrap();
        let [a, b] = [at(0), at(2)];
        let (there, back) = (distance_m(a, b), distance_m(b, a));
        assert!((there - back).abs() < 1e-6, "{line}: {there} m there, {back} m back");
        found += &format!("{},{there}]\n", line.trim_end_matches(']'));
    }
    println!("{}", content(judge.arg("judge"), &found));
}
