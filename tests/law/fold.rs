//! The law inside the first fold, on invented trips: how time is told, where the state was stored, lines given twice
//! and lines refused change nothing, and what was found at a stop stays as it is a minute after the boat left.

use gunwale_protocol::finding::{Finding, Flag};
use gunwale_protocol::haul::{Event, Haul};
use gunwale_protocol::input::{Input, JOURNAL_SCHEMA, Run, Stamped, Voice};
use gunwale_protocol::sizes::Sizes;
use gunwale_protocol::time::{Mono, SECOND};
use proptest::prelude::*;

use crate::support::rmc;

/// What can be said, and lines of the scale, one of them noise.
const SAID: [&str; 4] = ["seven crabs, four keepers", "empty", "trap four", "half bait"];
const SCALE: [&str; 3] = ["ST,GS,+  0.182kg", "US,GS,+  0.000kg", "\u{1}~~noise"];

/// A part of a trip at one speed.
#[derive(Debug, Clone)]
struct Leg {
    speed_m_s: f64,
    seconds: i64,
    /// Whether the receiver is heard.
    gps: bool,
    /// What the scale says four times a second, grams, if it is on.
    scale_g: Option<i64>,
    /// Milliseconds into the leg, and what happens then.
    happens: Vec<(i64, Input)>,
}

fn leg() -> impl Strategy<Value = Leg> {
    let speed = prop_oneof![Just(0.2), Just(0.2), Just(4.0), Just(4.0), Just(1.4)];
    let happening = prop_oneof![
        4 => (0..SAID.len()).prop_map(|i| Input::Said(SAID[i].into())),
        3 => (0..SCALE.len()).prop_map(|i| Input::Scale(SCALE[i].into())),
        1 => any::<bool>().prop_map(Input::Button),
        1 => Just(Input::Gone),
        // Odd microseconds, so that no note ends with a line.
        4 => (0..32_000i64, 0..8_000i64).prop_map(|(ms, speech)| {
            let (length_us, speech_us) = (ms * 1_000 + 501, speech.min(ms) * 1_000);
            Input::Note(Voice { file: format!("notes/{ms}.wav"), length_us, speech_us })
        }),
    ];
    let happens = prop::collection::vec((0..90_000i64, happening), 0..3);
    let scale_g = prop_oneof![3 => Just(None), 1 => Just(Some(0)), 2 => (20..900i64).prop_map(Some)];
    (speed, 3..90i64, prop::bool::weighted(0.75), scale_g, happens).prop_map(
        |(speed_m_s, seconds, gps, scale_g, mut happens)| {
            happens.iter_mut().for_each(|(ms, _)| *ms %= seconds * 1_000);
            Leg { speed_m_s, seconds, gps, scale_g, happens }
        },
    )
}

/// A segment's inputs; shown as tape lines when a test fails.
#[derive(Clone)]
struct Trip(Vec<Stamped>);

impl std::fmt::Debug for Trip {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mut text = String::new();
        for stamped in &self.0 {
            text.push('\n');
            gunwale_protocol::tape::write(stamped, &mut text);
        }
        f.write_str(&text)
    }
}

/// The inputs of a trip, in order of time; the receiver has no fix in the first `void` seconds.
fn trip(legs: &[Leg], void: i64) -> Trip {
    let (mut inputs, mut second, mut north) = (Vec::new(), 0, 0.0);
    let mut add = |ms: i64, input| inputs.push(Stamped { t: Mono(ms * 1_000), input });
    for leg in legs {
        for (ms, input) in &leg.happens {
            add(second * 1_000 + ms, input.clone());
        }
        for _ in 0..leg.seconds {
            if leg.gps {
                let fix = (second >= void).then_some((24.7 + north / 110_800.0, -81.6));
                add(second * 1_000 + 120, Input::Gps(rmc(43_200 + second, fix, leg.speed_m_s)));
                if second % 5 == 0 {
                    add(second * 1_000 + 200, Input::Gps(crate::support::sentence("SDDPT,3.1,0.2")));
                }
            }
            for quarter in (0..4).filter(|_| leg.scale_g.is_some()) {
                // The deck moves.
                let g = leg.scale_g.unwrap_or_default() * (100 + (second + quarter) % 3) / 100;
                let frame = format!("US,GS,+{}.{:03}kg", g / 1_000, g % 1_000);
                add(second * 1_000 + quarter * 250 + 10, Input::Scale(frame));
            }
            north += leg.speed_m_s;
            second += 1;
        }
    }
    inputs.sort_by_key(|input| input.t);
    Trip(inputs)
}

fn any_trip() -> impl Strategy<Value = Trip> {
    (prop::collection::vec(leg(), 1..14), 0..200i64).prop_map(|(legs, void)| trip(&legs, void))
}

/// As [`any_trip`], with some lines up to 5 s and more out of order and some given again.
fn untidy_trip() -> impl Strategy<Value = Trip> {
    let moves = prop::collection::vec((any::<prop::sample::Index>(), 0..20usize, any::<bool>()), 0..30);
    (any_trip(), moves).prop_map(|(Trip(mut inputs), moves)| {
        for (from, by, again) in moves {
            if inputs.is_empty() {
                break;
            }
            let from = from.index(inputs.len());
            let to = (from + by).min(inputs.len() - 1);
            let input = if again { inputs[from].clone() } else { inputs.remove(from) };
            inputs.insert(to, input);
        }
        Trip(inputs)
    })
}

fn fold() -> Haul {
    let run = Run {
        id: "a".into(),
        boat: "boat".into(),
        timezone: "UTC".into(),
        program: "test".into(),
        schema: JOURNAL_SCHEMA,
        system: None,
        rules: None,
        words: Default::default(),
        sizes: Sizes::default(),
    };
    Haul::new(run, Mono(0))
}

fn found(haul: &mut Haul) -> Vec<Finding> {
    let mut found = Vec::new();
    while let Some(event) = haul.poll() {
        if let Event::Found(finding) = event {
            found.push(finding);
        }
    }
    found
}

fn feed(haul: &mut Haul, inputs: &[Stamped]) -> Vec<Finding> {
    for input in inputs {
        let _ = haul.take(input);
    }
    found(haul)
}

/// Everything found in a whole segment, and the state before its end.
fn whole(inputs: &[Stamped]) -> (Vec<Finding>, Haul) {
    let mut haul = fold();
    let mut all = feed(&mut haul, inputs);
    let before = haul.clone();
    haul.finish();
    all.extend(found(&mut haul));
    (all, before)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_state_that_was_stored_goes_on_as_if_it_had_not(Trip(inputs) in untidy_trip(), cut in any::<prop::sample::Index>()) {
        let cut = cut.index(inputs.len() + 1);
        let mut haul = fold();
        let mut all = feed(&mut haul, &inputs[..cut]);
        let text = serde_json::to_string(&haul).unwrap();
        let mut resumed: Haul = serde_json::from_str(&text).unwrap();
        prop_assert_eq!(&resumed, &haul);
        all.extend(feed(&mut resumed, &inputs[cut..]));
        let (expected, state) = whole(&inputs);
        prop_assert_eq!(&resumed, &state);
        resumed.finish();
        all.extend(found(&mut resumed));
        prop_assert_eq!(all, expected);
    }

    #[test]
    fn how_often_time_is_told_changes_nothing(
        Trip(inputs) in untidy_trip(),
        mut told in prop::collection::vec(0..1_200_000_000i64, 0..60),
        after in prop::collection::vec(0..300_000_000i64, 1..6),
    ) {
        told.sort_unstable();
        let mut told = told.into_iter().peekable();
        let mut probe = fold();
        let inputs: Vec<Stamped> = inputs.into_iter().filter(|input| probe.take(input).is_ok()).collect();
        let (mut haul, mut now) = (fold(), Mono(0));
        let mut all = Vec::new();
        for input in &inputs {
            while let Some(t) = told.next_if(|t| *t <= input.t.0) {
                haul.advance(Mono(t).max(now));
            }
            // What comes in may be late; then it is told no time that lies ahead of it.
            now = now.max(input.t);
            let _ = haul.take(input);
            all.extend(found(&mut haul));
        }
        let (expected, mut state) = whole(&inputs);
        prop_assert_eq!(&haul, &state);
        let mut after = after;
        after.sort_unstable();
        let end = now + *after.last().unwrap_or(&0);
        after.iter().for_each(|step| haul.advance(now + *step));
        state.advance(end);
        prop_assert_eq!(found(&mut haul), found(&mut state));
        prop_assert_eq!(&haul, &state);
        prop_assert!(expected.starts_with(&all));
    }

    #[test]
    fn a_line_given_twice_adds_nothing(Trip(inputs) in untidy_trip()) {
        let twice: Vec<Stamped> = inputs.iter().flat_map(|input| [input.clone(), input.clone()]).collect();
        prop_assert_eq!(whole(&twice).0, whole(&inputs).0);
    }

    #[test]
    fn what_was_refused_leaves_no_trace(Trip(inputs) in untidy_trip()) {
        // Only what is taken is journaled, and the journal must make the same records.
        let mut haul = fold();
        let taken: Vec<Stamped> = inputs.iter().filter(|input| haul.take(input).is_ok()).cloned().collect();
        let (all, state) = whole(&inputs);
        let (again, same) = whole(&taken);
        prop_assert_eq!(again, all);
        prop_assert_eq!(same.provisional(true), state.provisional(true));
    }

    #[test]
    fn a_note_written_down_at_its_end_is_the_same_as_one_known_from_its_beginning(Trip(tape) in any_trip()) {
        let mut live: Vec<(Mono, Stamped)> = Vec::new();
        for input in &tape {
            let comes = match &input.input {
                Input::Note(voice) => input.t + voice.length_us,
                _ => input.t,
            };
            live.push((comes, input.clone()));
        }
        live.sort_by_key(|(comes, _)| *comes);
        let live: Vec<Stamped> = live.into_iter().map(|(_, input)| input).collect();
        let last = |inputs: &[Stamped]| inputs.iter().map(|input| input.t).max();
        // A tape that ends within a note is cut there.
        prop_assume!(live.last().is_none_or(|end| !matches!(end.input, Input::Note(_))));
        prop_assert_eq!(last(&live), last(&tape));
        prop_assert_eq!(whole(&live).0, whole(&tape).0);
    }

    #[test]
    fn a_stop_is_settled_a_minute_after_she_left(Trip(inputs) in any_trip(), shift in 1..5_000i64) {
        let (all, _) = whole(&inputs);
        for finding in &all {
            let Finding::Stop(stop) = finding else { continue };
            let Some(ended) = stop.ended.filter(|_| !stop.flags.contains(&Flag::Cut)) else { continue };
            let until = ended.t + 60 * SECOND;
            let known: Vec<Stamped> = inputs.iter().filter(|input| input.t <= until).cloned().collect();
            let mut haul = fold();
            let mut early = feed(&mut haul, &known);
            if haul.utc_at(until).is_none() {
                continue; // Taken before any date was known, and dated when one was.
            }
            haul.advance(until + shift * 1_000);
            early.extend(found(&mut haul));
            let settled = early.iter().rfind(|f| matches!(f, Finding::Stop(s) if s.id == stop.id));
            prop_assert_eq!(settled, Some(finding));
        }
    }
}

/// Lines of one leg after the other, each at one speed for so many seconds, with or without fixes.
fn legs(legs: &[(f64, i64, bool)], said: &[i64]) -> Trip {
    let legs: Vec<Leg> = legs
        .iter()
        .map(|(speed_m_s, seconds, gps)| Leg {
            speed_m_s: *speed_m_s,
            seconds: *seconds,
            gps: *gps,
            scale_g: None,
            happens: Vec::new(),
        })
        .collect();
    let Trip(mut inputs) = trip(&legs, 0);
    inputs.extend(said.iter().map(|s| Stamped { t: Mono(s * SECOND), input: Input::Said(SAID[0].into()) }));
    inputs.sort_by_key(|input| input.t);
    Trip(inputs)
}

#[test]
fn what_ends_a_stop() {
    // Legs, when something is said, and of each stop when it ends (with fixes: at the last slow one, 120 ms late) and
    // its flags.
    type Case = (&'static [(f64, i64, bool)], &'static [i64], &'static [(f64, &'static [Flag])]);
    let cases: &[Case] = &[
        (&[(4.0, 20, true), (0.2, 60, true), (4.0, 90, true)], &[40], &[(79.12, &[])]),
        // Said after the last slow fix, though before the next shows that she is leaving.
        (&[(4.0, 20, true), (0.2, 60, true), (4.0, 90, true)], &[80], &[(79.12, &[Flag::LateNote])]),
        // A quarter of a minute without fixes, when nothing has been said for three minutes, is no end.
        (
            &[(4.0, 20, true), (0.2, 180, true), (0.2, 15, false), (0.2, 60, true), (4.0, 90, true)],
            &[25, 230],
            &[(274.12, &[Flag::GpsGap])],
        ),
        // Two minutes are; the last that is known of it is a minute older than the judgement.
        (
            &[(4.0, 20, true), (0.2, 60, true), (4.0, 300, false), (4.0, 30, true)],
            &[40],
            &[(139.12, &[Flag::GpsGap])],
        ),
        // Seen far off after 100 s: she left at most 55 s before.
        (
            &[(4.0, 20, true), (0.2, 60, true), (4.0, 100, false), (4.0, 90, true)],
            &[40],
            &[(125.12, &[Flag::GpsGap])],
        ),
        (&[(4.0, 20, true), (0.2, 60, true)], &[40], &[(79.12, &[Flag::Cut])]),
    ];
    for (n, (shape, said, expected)) in cases.iter().enumerate() {
        let Trip(inputs) = legs(shape, said);
        let stops: Vec<(f64, Vec<Flag>)> = whole(&inputs)
            .0
            .into_iter()
            .filter_map(|finding| match finding {
                Finding::Stop(stop) => Some((stop.ended?.t.s(), stop.flags.into_iter().collect())),
                Finding::Loose(_) => None,
            })
            .collect();
        let expected: Vec<(f64, Vec<Flag>)> =
            expected.iter().map(|(end, flags)| (*end, flags.to_vec())).collect();
        assert_eq!(stops, expected, "case {n}");
    }
}

#[test]
fn a_note_that_goes_on_past_the_minute_is_not_the_stops_even_at_the_end_of_the_tape() {
    let Trip(mut inputs) = legs(&[(4.0, 20, true), (0.2, 60, true), (4.0, 45, true)], &[40]);
    let voice = Voice { file: "notes/a.wav".into(), length_us: 30 * SECOND, speech_us: 0 };
    inputs.push(Stamped { t: Mono(124_500_000), input: Input::Note(voice) });
    let first = |found: &[Finding]| match &found[0] {
        Finding::Stop(stop) => stop.notes.len(),
        Finding::Loose(_) => 0,
    };
    let (all, mut told) = whole(&inputs);
    told.advance(Mono(300 * SECOND));
    assert_eq!((first(&all), first(&found(&mut told))), (1, 1));
}

#[test]
fn a_segment_ends_with_its_last_line_not_when_it_was_last_looked_at() {
    let Trip(inputs) = legs(&[(4.0, 20, true), (0.2, 60, true)], &[40]);
    let (_, mut state) = whole(&inputs);
    let expected = state.provisional(false);
    state.advance(Mono(83 * SECOND));
    assert_eq!(state.provisional(false), expected);
}
