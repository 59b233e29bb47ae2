//! Stops on simulated days, and on made ones.

use super::sea::{Arrival, Score, Sea, at_share, mean};

/// Days of these kinds, each from its own seeds.
fn days() -> Vec<(&'static str, Sea)> {
    let any = Sea::default();
    let walk = Sea { walk_m: Some((12.0, 20.0)), silent: 0.0, ..any.clone() };
    vec![
        ("creeping up", Sea { arrival: Arrival::Creep, sd_m: 1.0, ..any.clone() }),
        ("slowing evenly", Sea { arrival: Arrival::Brisk, sd_m: 1.0, ..any.clone() }),
        ("a burst of reverse", Sea { arrival: Arrival::Reverse, sd_m: 1.0, ..any.clone() }),
        ("long at 1 m/s", Sea { arrival: Arrival::Long, sd_m: 1.0, ..any.clone() }),
        ("any", any.clone()),
        ("5 m, 60 s", Sea { sd_m: 5.0, tau_s: 60.0, ..any.clone() }),
        ("5 m, 600 s", Sea { sd_m: 5.0, tau_s: 600.0, ..any.clone() }),
        ("1 m, 10 Hz", Sea { sd_m: 1.0, hz: 10.0, ..any.clone() }),
        ("2 m, 5 Hz, GST", Sea { hz: 5.0, gst: true, ..any.clone() }),
        ("2 m, 0.5 Hz", Sea { hz: 0.5, ..any.clone() }),
        ("no speed told", Sea { doppler: false, ..any.clone() }),
        ("no speed, 1 m, 5 Hz", Sea { doppler: false, sd_m: 1.0, hz: 5.0, ..any.clone() }),
        ("chop, 1 m", Sea { chop_m_s: 0.3, sd_m: 1.0, ..any.clone() }),
        ("chop, 1 m, 5 Hz", Sea { chop_m_s: 0.3, sd_m: 1.0, hz: 5.0, ..any.clone() }),
        ("15 m apart", Sea { spacing_m: 15.0, ..any.clone() }),
        ("80 m apart", Sea { spacing_m: 80.0, ..any.clone() }),
        ("always shifting", Sea { shifts: (1.0, 6.5), ..any.clone() }),
        ("antimeridian", Sea { at: (-17.0, 179.9995), ..any.clone() }),
        ("70° N", Sea { at: (70.0, 20.0), ..any.clone() }),
        ("89.995° N", Sea { at: (89.995, 20.0), ..any.clone() }),
        ("drift 0.7…1 m/s", Sea { drift_m_s: (0.7, 1.0), sd_m: 1.0, ..any.clone() }),
        ("that in a chop", Sea { drift_m_s: (0.7, 1.0), chop_m_s: 0.3, sd_m: 1.0, ..any }),
        ("walks of 12…20 m", walk.clone()),
        ("5 m, 60 s, chop", Sea { sd_m: 5.0, tau_s: 60.0, chop_m_s: 0.3, ..walk }),
    ]
}

fn score(sea: &Sea, seeds: std::ops::Range<u64>) -> Score {
    let mut score = Score::default();
    seeds.for_each(|seed| score.add(&Sea { seed, ..sea.clone() }));
    score
}

/// `GUNWALE_SEEDS=1000..1040 cargo test --release -p gunwale-protocol stops_of_many -- --ignored --nocapture`: median and
/// 95 % of the errors by kind of day.
#[test]
#[ignore = "a table for eyes"]
fn stops_of_many_days() {
    let seeds = std::env::var("GUNWALE_SEEDS").unwrap_or("1000..1008".into());
    let (from, to) = seeds.split_once("..").expect("FROM..TO");
    for (name, sea) in days() {
        println!("{name:20} {}", score(&sea, from.parse().unwrap()..to.parse().unwrap()).line());
    }
}

#[test]
fn stops_are_found_where_and_when_they_were() {
    // A few days of each kind, short ones; the bounds leave room for so few.
    for (name, sea) in days().into_iter().filter(|(_, sea)| sea.drift_m_s.1 < 0.7) {
        let sea = Sea { pulls: 8, ..sea };
        let score = score(&sea, 1..3);
        assert!(score.missed + score.invented <= 1, "{name}: {}", score.line());
        assert!((score.ratio() - 1.0).abs() < 0.7, "{name}: {}", score.line());
        assert!(
            at_share(&score.set_s, 0.5) < 6.0 && at_share(&score.left_s, 0.5) < 3.0,
            "{name}: {}",
            score.line()
        );
        // The receiver's error hardly changes within a day, so that a mean over days says little more than two figures.
        assert!(mean(&score.squares) < 4.0, "{name}: {}", score.line());
    }
}
