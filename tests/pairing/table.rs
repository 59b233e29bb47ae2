//! The tables as they are printed.

use crate::Cell;
use crate::score::{BINS, Score};
use crate::sea::Layout;

type Told = (usize, Cell, f64, Score);

/// Right answers, sureness and reliability.
pub fn pairing(head: &str, scores: &[&Told]) {
    println!("\n{head}");
    println!(
        "{:<20} {:>6} {:>7} {:>8} {:>7} {:>7} {:>11}",
        "%", "pulls", "right", "nearest", "limit", "sure", "sure wrong"
    );
    let mut all = Score::default();
    for layout in [Layout::Line, Layout::Grid, Layout::Scattered] {
        for jumbled in [false, true] {
            let mut sum = Score::default();
            scores.iter().filter(|(_, cell, ..)| *cell == (layout, jumbled)).for_each(|(.., s)| sum.add(s));
            let name = format!("{layout:?}, {}", if jumbled { "jumbled" } else { "in order" });
            line(&name.to_lowercase(), &sum);
            all.add(&sum);
        }
    }
    line("all", &all);
    println!("reliability: probability stated, pulls, share right");
    for (number, (pulls, p, right)) in all.bins.iter().enumerate().filter(|(_, bin)| bin.0 > 0) {
        let from = number.checked_sub(1).map_or(0.0, |n| BINS[n]);
        println!(
            "  from {from:<4} mean {:.3} {pulls:>6} {:.3}",
            p / *pulls as f64,
            *right as f64 / *pulls as f64
        );
    }
}

fn line(name: &str, s: &Score) {
    let of = |part: usize, whole: usize| 100.0 * part as f64 / whole.max(1) as f64;
    println!(
        "{name:<20} {:>6} {:>7.2} {:>8.2} {:>7.2} {:>7.1} {:>11.2}",
        s.pulls,
        of(s.right, s.pulls),
        of(s.nearest, s.pulls),
        of(s.limit, s.pulls),
        of(s.sure, s.found),
        of(s.sure_wrong, s.sure)
    );
}

/// Pulls found, and how well their places and times are known, by receiver.
pub fn places(scores: &[&Told]) {
    println!("\nplaces and times");
    println!(
        "{:<16} {:>6} {:>8} {:>9} {:>10} {:>12} {:>7} {:>6} {:>10} {:>10} {:>10}",
        "receiver",
        "pulls",
        "found %",
        "invented %",
        "pick-up m",
        "receiver m",
        "ratio",
        "chi²",
        "set.at s",
        "soak min",
        "soak most"
    );
    let mut sds: Vec<f64> = scores.iter().map(|(.., sd, _)| *sd).collect();
    sds.sort_by(f64::total_cmp);
    sds.dedup();
    let mut all = Score::default();
    for sd in sds {
        let mut sum = Score::default();
        scores.iter().filter(|(.., its, _)| *its == sd).for_each(|(.., s)| sum.add(s));
        place_line(&format!("{sd} m"), &sum);
        all.add(&sum);
    }
    place_line("all", &all);
}

fn place_line(name: &str, s: &Score) {
    let (up, receiver) = (median(&s.off_m), median(&s.receiver_off_m));
    let chi = s.chi.iter().sum::<f64>() / s.chi.len().max(1) as f64;
    println!(
        "{name:<16} {:>6} {:>8.2} {:>10.2} {up:>10.2} {receiver:>12.2} {:>7.2} {chi:>6.2} {:>10.1} {:>10.2} {:>10.2}",
        s.pulls,
        100.0 * s.found as f64 / s.pulls.max(1) as f64,
        100.0 * s.invented as f64 / s.records.max(1) as f64,
        up / receiver,
        median(&s.set_off_s),
        median(&s.soak_off_min),
        s.soak_off_min.iter().copied().fold(0.0, f64::max)
    );
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(f64::NAN)
}
