//! How likely a pull at a spot is a certain trap: the distance between them, and a name said.
//!
//! All likelihoods are natural logarithms of densities per square metre of where the pull would be found, so those of
//! one pull's traps and of `none` compare, and evidence from elsewhere is added.

use std::f64::consts::TAU;

/// No spot is known better than this, metres per axis: an aerial, a hauler and a gaff lie further apart.
pub const LEAST_SPREAD_M: f64 = 1.0;

/// Share of traps that dragged, or that someone moved a little, since they were last set. Assumed: seldom enough that
/// the nearest trap wins wherever there is one, often enough that a lone trap some way off is not ruled out.
pub const DRAGGED_SHARE: f64 = 0.02;

/// How far a dragged trap went, metres: the scale of a density that falls exponentially with distance, whose mean
/// distance is twice this. Assumed: about as far as the next trap or two of a close string.
pub const DRAGGED_SCALE_M: f64 = 30.0;

/// A trap is a candidate up to this distance, metres, and [`REACH_SPREADS`] more: with a spread of 5 m, three in four
/// of those that dragged.
pub const REACH_M: f64 = 60.0;

/// Standard deviations added to [`REACH_M`]: beyond four, a Gaussian leaves 1 in 3,000 of its area.
pub const REACH_SPREADS: f64 = 4.0;

/// Registered traps that a trip leaves unpulled, per square metre of the ground it fishes: traps lie about one to a
/// square of 100 m, and a trip leaves a third. Assumed, no source.
pub const LEFT_PER_M2: f64 = 3e-5;

/// Share of pulls that are of a trap not in the register: one in a hundred, assumed for a register in use. It also
/// makes a lone trap that nothing else claims likelier than `none` as far as about the reach.
pub const UNREGISTERED_SHARE: f64 = 0.01;

/// Share of traps moved right out of reach without a word, for a trap that is named where the register has none.
/// Assumed, no source.
pub const MOVED_SHARE: f64 = 0.01;

/// Where a trap may have gone that was moved out of reach, square metres: a square of 500 m, the same ground.
pub const MOVED_AREA_M2: f64 = 2.5e5;

/// How often the name said is the trap's own: people say a wrong number about once in fifty.
/// Assumed, no source.
pub const NAME_RIGHT: f64 = 0.98;

/// How often the register has the trap that is named mixed up with another near by: two set in each other's place, or
/// paired the wrong way round before. Assumed, no source.
pub const MIXED_UP_SHARE: f64 = 0.003;

/// Share of pulls, hours after a trap was pulled, that are of the same trap again and not of one of its neighbours.
/// Assumed, no source.
pub const AGAIN_SHARE: f64 = 0.3;

/// How often a trap that nobody has named is one the register has elsewhere, moved without a word. Assumed, no source.
pub const UNNAMED_MOVED_SHARE: f64 = 0.1;

/// Standard deviation per axis, metres, of the distance between a pull's spot and its trap's registered position.
///
/// `spot_sd_m` and `trap_sd_m` are per axis. `scope_m` is how far the buoy lies from the trap at most: a tide holds it
/// near the end of its line, in a direction unknown, which is scope²/2 per axis.
pub fn spread_m(spot_sd_m: f64, trap_sd_m: f64, scope_m: f64) -> f64 {
    (spot_sd_m.powi(2) + trap_sd_m.powi(2) + scope_m.powi(2) / 2.0).sqrt().max(LEAST_SPREAD_M)
}

/// How far from a pull a trap may be to be a candidate, metres, for a spread from [`spread_m`].
pub fn reach_m(spread_m: f64) -> f64 {
    REACH_M + REACH_SPREADS * spread_m
}

/// Log-likelihood of a pull `distance_m` from where the register has the trap, for a spread from [`spread_m`]; `None`
/// out of reach.
///
/// A two-dimensional Gaussian for a trap that lies where it was set, and a small tail for one that dragged, widened by
/// the spread since that blurs it too.
pub fn ln_near(distance_m: f64, spread_m: f64) -> Option<f64> {
    if distance_m.is_nan() || distance_m > reach_m(spread_m) {
        return None;
    }
    let gauss = -0.5 * (distance_m / spread_m).powi(2) - (TAU * spread_m.powi(2)).ln();
    let scale = DRAGGED_SCALE_M.hypot(spread_m);
    let dragged = -distance_m / scale - (TAU * scale.powi(2)).ln();
    Some(ln_add((1.0 - DRAGGED_SHARE).ln() + gauss, DRAGGED_SHARE.ln() + dragged))
}

/// Log-likelihood of a pull anywhere for a trap that is named but not within reach: moved without a word. Far below
/// `none` until [`ln_said`] is added.
pub fn ln_moved() -> f64 {
    (MOVED_SHARE / MOVED_AREA_M2).ln()
}

/// Log-likelihood of a pull for a trap that is not in the register: anywhere alike. Other traps weigh a whole density
/// each, so this one weighs its share times the density of those it is told from.
pub fn ln_none() -> f64 {
    (UNREGISTERED_SHARE * LEFT_PER_M2).ln()
}

/// Log-likelihood of a name said at a pull, to be added to that of each possibility: whether this one bears that name
/// (for `none`: whether the register lacks it), and how many possibilities the pull has, `none` included. Wrong names
/// are shared out among these and not the whole register: who errs takes a trap for its neighbour. Of a pull without
/// a position this is all there is.
pub fn ln_said(is_it: bool, possibilities: usize) -> f64 {
    if is_it {
        NAME_RIGHT.ln()
    } else {
        ((1.0 - NAME_RIGHT) / possibilities.saturating_sub(1).max(1) as f64).ln()
    }
}

/// Log-likelihood to be added for a trap pulled earlier the same trip and now again.
pub fn ln_again() -> f64 {
    AGAIN_SHARE.ln()
}

/// Log-likelihood of a pull for a trap that is named and lies in reach, where the likeliest trap by place alone has
/// `ln_place`: the register may have the two mixed up.
pub fn ln_mixed_up(ln_place: f64) -> f64 {
    MIXED_UP_SHARE.ln() + ln_place
}

/// Log-likelihood of the name said at a pull, for a trap that nobody has named yet: it is the one of this name, unless
/// another trap of that name is known to lie in the water.
pub fn ln_unnamed(name_afloat: bool) -> f64 {
    if name_afloat { UNNAMED_MOVED_SHARE.ln() } else { NAME_RIGHT.ln() }
}

/// ln(eᵃ + eᵇ).
fn ln_add(a: f64, b: f64) -> f64 {
    let (great, small) = (a.max(b), a.min(b));
    great + (small - great).exp().ln_1p()
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::super::testing::{Random, haul, line};
    use super::super::{Answer, Grade, Row, solve};
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_density_adds_up_to_one() {
        // ∫ 2πr f(r) dr by steps, out to the reach; what is missing is the dragged share beyond it.
        for spread in [1.0, 3.0, 8.0, 25.0] {
            let (mut sum, step) = (0.0, 0.001);
            let mut r = step / 2.0;
            while let Some(ln) = ln_near(r, spread) {
                sum += TAU * r * ln.exp() * step;
                r += step;
            }
            let x = reach_m(spread) / DRAGGED_SCALE_M.hypot(spread);
            let gauss = (-0.5 * (reach_m(spread) / spread).powi(2)).exp();
            let beyond = DRAGGED_SHARE * (1.0 + x) * (-x).exp() + (1.0 - DRAGGED_SHARE) * gauss;
            assert!((sum + beyond - 1.0).abs() < 1e-6, "{spread}: {sum} and {beyond}");
        }
    }

    #[test]
    fn reach_ends_where_it_says() {
        assert_eq!(reach_m(5.0), 80.0);
        assert!(
            ln_near(80.0, 5.0).is_some()
                && ln_near(80.001, 5.0).is_none()
                && ln_near(f64::NAN, 5.0).is_none()
        );
    }

    #[test]
    fn spreads_add_as_squares() {
        for (spot, trap, scope, want) in
            [(3.0, 4.0, 0.0, 5.0), (0.0, 0.0, 0.0, 1.0), (0.1, 0.2, 0.1, 1.0), (2.0, 2.0, 4.0, 4.0)]
        {
            assert!((spread_m(spot, trap, scope) - want).abs() < 1e-12);
        }
    }

    /// The answer for a pull with traps at these distances (m), all at one spread, and the name of one of them said.
    fn one(distances: &[f64], spread: f64, said: Option<usize>) -> Answer {
        let near = distances.iter().enumerate();
        let name = |trap| said.map_or(0.0, |said| ln_said(said == trap, distances.len() + 1));
        let candidates = near.filter_map(|(t, d)| Some((t, ln_near(*d, spread)? + name(t)))).collect();
        solve(&[Row { candidates, none: ln_none() + name(usize::MAX) }]).remove(0)
    }

    #[test]
    fn what_a_skipper_would_say() {
        use Grade::{Doubtful, Likely, None as NoTrap, Sure};
        // Distances of the traps, spread, name said, trap chosen, grade.
        type Case<'a> = (&'a [f64], f64, Option<usize>, Option<usize>, Grade);
        let table: &[Case] = &[
            (&[3.0], 4.0, None, Some(0), Sure),
            (&[6.0, 34.0], 4.0, None, Some(0), Sure),
            (&[12.0, 23.0], 4.0, None, Some(0), Sure),
            (&[17.0, 18.0], 5.0, None, Some(0), Doubtful),
            (&[17.0, 18.0], 5.0, Some(1), Some(1), Sure),
            // A name does not outweigh standing right over another trap a good way off.
            (&[2.0, 70.0], 4.0, Some(1), Some(0), Sure),
            // A lone trap far off may have dragged; further off it is no longer the same.
            (&[30.0], 4.0, None, Some(0), Likely),
            (&[55.0], 4.0, None, Some(0), Doubtful),
            (&[76.0], 4.0, None, None, NoTrap),
            (&[76.0], 4.0, Some(0), Some(0), Sure),
            (&[], 4.0, None, None, NoTrap),
            (&[500.0], 4.0, None, None, NoTrap),
        ];
        for (distances, spread, said, choice, grade) in table {
            let answer = one(distances, *spread, *said);
            assert_eq!(
                (answer.choice, Grade::of(answer.choice.is_some(), answer.probability())),
                (*choice, *grade),
                "{distances:?}: {answer:?}"
            );
        }
    }

    #[test]
    fn a_name_out_of_reach_finds_its_trap_only_on_empty_ground() {
        let far = ln_moved() + ln_said(true, 2);
        let empty =
            solve(&[Row { candidates: vec![(14, far)], none: ln_none() + ln_said(false, 2) }]).remove(0);
        assert_eq!(
            (empty.choice, Grade::of(empty.choice.is_some(), empty.probability())),
            (Some(14), Grade::Likely)
        );
        let (far, none) = (ln_moved() + ln_said(true, 3), ln_none() + ln_said(false, 3));
        let over = ln_near(2.0, 4.0).unwrap() + ln_said(false, 3);
        let over = solve(&[Row { candidates: vec![(14, far), (15, over)], none }]).remove(0);
        assert_eq!(
            (over.choice, Grade::of(over.choice.is_some(), over.probability())),
            (Some(15), Grade::Sure)
        );
    }

    #[test]
    fn a_name_alone_is_enough_without_a_position() {
        let answer =
            solve(&[Row { candidates: vec![(14, ln_said(true, 2))], none: ln_said(false, 2) }]).remove(0);
        assert_eq!(
            (answer.choice, Grade::of(answer.choice.is_some(), answer.probability())),
            (Some(14), Grade::Sure)
        );
    }

    #[test]
    fn names_said_add_up_to_one() {
        for possibilities in [2, 3, 100] {
            let wrong = (possibilities - 1) as f64 * ln_said(false, possibilities).exp();
            assert!((ln_said(true, possibilities).exp() + wrong - 1.0).abs() < 1e-12);
        }
        assert!(ln_said(false, 0).is_finite() && ln_said(false, 1).is_finite());
    }

    #[test]
    fn probabilities_mean_what_they_say() {
        // Close strings hauled under the model's own assumptions: per class of probability, pulls and how many of
        // them were right. A class of n is allowed four standard deviations.
        let mut classes: BTreeMap<Grade, (f64, f64, f64)> = BTreeMap::new();
        for seed in 0..60 {
            let (rows, truth) = haul(&mut Random(seed), &line(120, 32.0), 80, 5.0);
            for (answer, truth) in solve(&rows).iter().zip(truth) {
                let (n, right, expected) =
                    classes.entry(Grade::of(answer.choice.is_some(), answer.probability())).or_default();
                *n += 1.0;
                *right += f64::from(answer.choice == truth);
                *expected += answer.probability();
            }
        }
        for (grade, (n, right, expected)) in &classes {
            println!("{grade:?}: {right} of {n} right, {expected} expected");
            let sd = (expected * (1.0 - expected / n)).max(1.0).sqrt();
            assert!(
                (right - expected).abs() < 4.0 * sd,
                "{grade:?}: {right} of {n} right, {expected} expected"
            );
        }
        let (n, right, _) = classes[&Grade::Sure];
        assert!(n > 0.9 * 60.0 * 80.0 && right / n >= 0.995, "{right} of {n} sure ones right");
    }

    proptest! {
        #[test]
        fn nearer_is_likelier(a in 0.0..200.0f64, b in 0.0..200.0f64, spread in 1.0..60.0f64) {
            let (near, far) = (ln_near(a.min(b), spread), ln_near(a.max(b), spread));
            if let Some(far) = far {
                prop_assert!(far.is_finite() && near.is_some_and(|near| near >= far));
            }
        }
    }
}
