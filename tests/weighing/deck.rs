//! A deck at sea and a scale on it: what is put on, when, and what the scale sends.

use std::f64::consts::TAU;

use gunwale_protocol::scale::{Reading, State};
use gunwale_protocol::time::Mono;

use crate::chance::Chance;

/// Standard gravity, metres a second squared (NIST SP 811, appendix B.8).
pub const G: f64 = 9.806_65;
/// The simulation's own step, seconds.
const DT: f64 = 0.01;

/// How the deck moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sea {
    /// Two swings whose frequency and size change slowly.
    Two,
    /// A broad band: heave with the spectrum of Hasselmann et al. 1973 (JONSWAP, γ = 3.3), of random size and phase in
    /// each of some 240 lines; a hull of seven metres follows waves shorter than itself less and less (assumed).
    Broad,
}

/// What the scale is like.
#[derive(Debug, Clone, Copy)]
pub struct Scale {
    pub rate_hz: f64,
    pub step_g: f64,
    pub noise_g: f64,
    /// Time constant with which it settles, seconds.
    pub lag_s: f64,
}

/// What lies on it from a time on, grams.
pub type Loads = Vec<(f64, f64)>;

/// Upward acceleration over gravity, one value a step, of peak `peak_m_s2` (of a broad sea: as much energy).
pub fn lift(sea: Sea, peak_m_s2: f64, seconds: f64, chance: &mut Chance) -> Vec<f64> {
    let count = (seconds / DT) as usize + 1;
    let mut lift = vec![0.0; count];
    match sea {
        Sea::Two => {
            let first = chance.between(0.5, 0.8);
            for share in [first, 1.0 - first] {
                let hz = chance.between(0.15, 0.5);
                let (a, b) = (chance.between(0.0, TAU), chance.between(0.0, TAU));
                let mut phase = chance.between(0.0, TAU);
                for (n, lift) in lift.iter_mut().enumerate() {
                    let t = n as f64 * DT;
                    phase += TAU * hz * (1.0 + 0.03 * (TAU * t / 47.0 + a).sin()) * DT;
                    *lift += share * peak_m_s2 / G * (1.0 + 0.25 * (TAU * t / 61.0 + b).sin()) * phase.sin();
                }
            }
        }
        Sea::Broad => {
            let peak_hz = chance.between(0.18, 0.4);
            let mut lines = Vec::new();
            let mut hz = 0.05 + chance.between(0.0, 0.004);
            while hz < 1.0 {
                let sigma = if hz < peak_hz { 0.07 } else { 0.09 };
                let bulge =
                    (-(hz - peak_hz) * (hz - peak_hz) / (2.0 * sigma * sigma * peak_hz * peak_hz)).exp();
                // Heave f⁻⁵, so acceleration f⁻¹; in deep water a wave of seven metres has 0.47 Hz.
                let hull = 1.0 / (1.0 + (hz / 0.47).powi(6));
                let spectrum = hull / hz * (-1.25 * (peak_hz / hz).powi(4)).exp() * 3.3f64.powf(bulge);
                let size = (-(1.0 - chance.unit()).ln()).sqrt();
                lines.push((hz, spectrum, spectrum.sqrt() * size, chance.between(0.0, TAU)));
                hz += 0.004;
            }
            let energy: f64 = lines.iter().map(|line| line.1).sum();
            let rms = 0.54 * peak_m_s2 / G;
            for (n, lift) in lift.iter_mut().enumerate() {
                let t = n as f64 * DT;
                let sum: f64 =
                    lines.iter().map(|(hz, _, size, phase)| size * (TAU * hz * t + phase).sin()).sum();
                *lift = sum * rms / energy.sqrt();
            }
        }
    }
    lift
}

/// What the scale sends.
pub fn readings(scale: &Scale, loads: &Loads, lift: &[f64], chance: &mut Chance) -> Vec<(Mono, Reading)> {
    let mut shown = 0.0;
    let mut next_s = chance.between(0.0, 1.0 / scale.rate_hz);
    let mut load = 0.0;
    let mut coming = loads.iter().peekable();
    let mut sent = Vec::new();
    for (n, lift) in lift.iter().enumerate() {
        let t = n as f64 * DT;
        while let Some((_, g)) = coming.next_if(|(at, _)| *at <= t) {
            load = *g;
        }
        shown += (load * (1.0 + lift) - shown) * (1.0 - (-DT / scale.lag_s).exp());
        if t >= next_s {
            next_s += 1.0 / scale.rate_hz;
            let g = ((shown + scale.noise_g * chance.normal()) / scale.step_g).round() * scale.step_g;
            sent.push((
                Mono((t * 1e6) as i64),
                Reading { g: Some(g), state: State::Moving, net: Some(false) },
            ));
        }
    }
    sent
}
