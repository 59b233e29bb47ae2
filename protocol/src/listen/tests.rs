//! What is a note and what is not, sample by sample.

use proptest::prelude::*;

use super::*;

#[path = "../../../tests/support/babble.rs"]
mod babble;

use babble::{babble, hiss};

/// A note as it came out: its beginning, its speech, what opened it, its samples, its end, and whether it is kept.
type Note = (u64, u64, By, Vec<i16>, u64, bool);

/// The notes in some events, which must be well formed: one at a time, every sample of each in order.
fn notes(events: Vec<Event>) -> Vec<Note> {
    let (mut notes, mut open): (Vec<Note>, Option<Note>) = (Vec::new(), None);
    for event in events {
        match event {
            Event::Opened { from, speech, by } => {
                assert!(open.is_none(), "one at a time");
                assert!(from <= speech);
                open = Some((from, speech, by, Vec::new(), 0, false));
            }
            Event::Audio { at, samples } => {
                let note = open.as_mut().expect("a note is open");
                assert_eq!(at, note.0 + note.3.len() as u64, "no gap");
                note.3.extend(samples);
            }
            Event::Closed { to, kept, level } => {
                let mut note = open.take().expect("a note is open");
                assert_eq!(to, note.0 + note.3.len() as u64);
                assert_eq!(level.samples, note.3.len() as u64);
                (note.4, note.5) = (to, kept);
                notes.push(note);
            }
        }
    }
    assert!(open.is_none(), "every note ends");
    notes
}

/// What is found in a sound given at once, and at its end.
fn heard(sound: &[i16]) -> Vec<Note> {
    let mut listener = Listener::new();
    let mut events = listener.hear(sound);
    events.extend(listener.finish());
    notes(events)
}

#[test]
fn a_voice_is_a_note_from_just_before_its_beginning_to_just_after_its_end() {
    let sound = [hiss(3.0), babble(2.0), hiss(3.0), babble(1.0), hiss(2.0)].concat();
    let found = heard(&sound);
    assert_eq!(found.len(), 2);
    for ((from, speech, by, samples, to, kept), (begins, ends)) in
        found.into_iter().zip([(3.0, 5.0), (8.0, 9.0)])
    {
        assert_eq!((by, kept), (By::Voice, true));
        assert_eq!(samples, &sound[from as usize..to as usize]);
        let s = |position: u64| position as f32 / RATE as f32;
        assert!((s(speech) - begins).abs() < 0.1, "speech at {}", s(speech));
        assert!((s(speech) - s(from) - 0.8).abs() < 0.001);
        assert!((s(to) - ends - 1.2).abs() < 0.2, "to {}", s(to));
    }
    assert!(heard(&hiss(20.0)).is_empty());
}

#[test]
fn talk_past_the_longest_note_goes_on_in_the_next_without_a_gap() {
    let sound = [hiss(1.0), babble(70.0), hiss(3.0)].concat();
    let found = heard(&sound);
    let lengths: Vec<u64> = found.iter().map(|note| note.3.len() as u64).collect();
    assert_eq!(lengths[..2], [480_000; 2]);
    assert_eq!(found.len(), 3);
    assert_eq!([found[0].2, found[1].2, found[2].2], [By::Voice, By::Cap, By::Cap]);
    assert_eq!((found[1].0, found[2].0), (found[0].4, found[1].4));
    let all: Vec<i16> = found.iter().flat_map(|note| note.3.clone()).collect();
    assert_eq!(all, &sound[found[0].0 as usize..found[2].4 as usize]);
    assert!(found.iter().all(|note| note.5));
}

#[test]
fn the_button_opens_and_closes_at_once_and_its_note_is_kept() {
    for listening in [true, false] {
        let mut listener = Listener::new();
        listener.listen(listening);
        let mut events = listener.hear(&hiss(2.0));
        events.extend(listener.button(true));
        events.extend(listener.hear(&hiss(1.003)));
        events.extend(listener.button(false));
        events.extend(listener.hear(&hiss(2.0)));
        let found = notes(events);
        assert_eq!(found.len(), 1, "listening: {listening}");
        let (from, speech, by, samples, to, kept) = &found[0];
        assert_eq!((*by, *kept, *speech, *to), (By::Button, true, 32_000, 48_048));
        // What nobody listened to is not taken either.
        assert_eq!(*from, if listening { 32_000 - 12_800 } else { 32_000 });
        assert_eq!(samples.len() as u64, to - from);
    }
}

#[test]
fn a_note_that_the_button_takes_over_ends_with_the_button() {
    let mut listener = Listener::new();
    let mut events = listener.hear(&[hiss(1.0), babble(1.0)].concat());
    events.extend(listener.button(true));
    events.extend(listener.hear(&hiss(4.0)));
    events.extend(listener.button(false));
    events.extend(listener.hear(&hiss(2.0)));
    let found = notes(events);
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].2, found[0].4), (By::Voice, 6 * 16_000));
}

#[test]
fn what_was_not_listened_to_is_in_no_note() {
    let mut listener = Listener::new();
    listener.listen(false);
    let mut events = listener.hear(&[hiss(1.0), babble(2.0)].concat());
    assert!(events.is_empty());
    listener.listen(true);
    events.extend(listener.hear(&[babble(1.0), hiss(2.0)].concat()));
    let found = notes(events);
    assert_eq!(found.len(), 1);
    assert!(found[0].0 >= 3 * 16_000);
}

#[test]
fn a_shout_too_loud_for_the_microphone_shows() {
    let loud: Vec<i16> =
        babble(2.0).iter().map(|&x| (i32::from(x) * 20).clamp(-32_768, 32_767) as i16).collect();
    let mut listener = Listener::new();
    let events = listener.hear(&[hiss(1.0), loud, hiss(2.0)].concat());
    let clipped = events.iter().find_map(|event| match event {
        Event::Closed { level, .. } => Some(level.clipped()),
        _ => None,
    });
    assert_eq!(clipped, Some(true));
    let sound = listener.sound();
    assert!(sound.level.clipped() && sound.level.peak_dbfs() > Some(-0.1), "{sound:?}");
    assert!(sound.noise_dbfs.is_some_and(|dbfs| (-82.0..-70.0).contains(&dbfs)), "{sound:?}");
    // Asked again, it speaks of what came since.
    assert_eq!(listener.sound().level, Level::default());
    listener.hear(&hiss(1.0));
    assert!(!listener.sound().level.clipped());
}

#[test]
fn an_unplugged_microphone_has_no_noise() {
    let mut listener = Listener::new();
    listener.hear(&[0; 16_000]);
    assert_eq!((listener.sound().noise_dbfs, listener.sound().level.peak_dbfs()), (None, None));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 6, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn how_the_sound_is_cut_makes_no_difference(
        cuts in prop::collection::vec(1..9_000_usize, 1..80),
        pause in 0.2..2.0_f32,
    ) {
        let sound = [hiss(1.0), babble(1.3), hiss(pause), babble(0.4), hiss(2.0)].concat();
        let mut listener = Listener::new();
        let (mut events, mut rest) = (Vec::new(), &sound[..]);
        for cut in cuts.iter().cycle() {
            let (now, later) = rest.split_at((*cut).min(rest.len()));
            events.extend(listener.hear(now));
            rest = later;
            if rest.is_empty() {
                break;
            }
        }
        events.extend(listener.finish());
        prop_assert_eq!(notes(events), heard(&sound));
    }

    #[test]
    fn any_sound_is_borne(sound in prop::collection::vec(any::<i16>(), 0..20_000), presses in prop::collection::vec(any::<bool>(), 0..6)) {
        let mut listener = Listener::new();
        let mut events = Vec::new();
        for (n, piece) in sound.chunks(4_001).enumerate() {
            events.extend(listener.hear(piece));
            if let Some(down) = presses.get(n) {
                events.extend(listener.button(*down));
            }
        }
        events.extend(listener.finish());
        notes(events);
    }
}
