//! How well notes are found in the noise of a small boat: a table, and the figures it must reach.
//!
//! Notes are spoken into generated noise (`listen/noise.rs`), each by a synthetic voice or by a recorded person
//! (`listen/speech.rs`), with 4 to 7 s of noise alone between them; then there is noise with nobody speaking at all, as
//! loud. Speech is at −26 dBFS, the noise 20, 10, 5 or 0 dB below it: both as root mean square between 200 Hz and 4 kHz,
//! speech while it is spoken, noise over two minutes. Every two minutes another boat, another day and another detector begin.
//! The detector's thresholds were chosen on other noise of these kinds, made from other seeds, and on some of these voices.
//!
//! - **found**: notes cover at least nine tenths of what was said, from its first sound to its last. Half a note is none.
//! - **clipped**: what of the start of something said no note has, ms; wherever a note has any part of it, found or not.
//! - **false**: notes in which nobody spoke, and the hours with nobody speaking: noise alone, and the pauses.
//! - **told**: from the first sound until the note is told as opened, ms.
//! - **cpu**: processor seconds for an hour of sound, of this thread alone. Only a release build tells what it costs.
//!
//! Of clipped and told the median and the 95th percentile. Without espeak-ng, or without recordings, it is skipped;
//! `tests/all` brings both. `GUNWALE_LONG=1` takes all synthetic notes and every other recording, each in every noise, and
//! an hour of each noise alone at each level: half an hour's work for a release build.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use std::io::Write;
use std::sync::Mutex;
use std::time::Duration;

use gunwale_protocol::listen::{By, Event, Listener};
use rustix::time::{ClockId, clock_gettime};

#[path = "listen/noise.rs"]
mod noise;
#[path = "listen/speech.rs"]
mod speech;

use noise::{NOISES, Noise, RATE, Rng};
use speech::Clip;

/// Root mean square of the speech in the band of speech: −26 dBFS.
const SPEECH: f32 = 1642.0;
/// How far the noise lies below, dB.
const RATIOS: [i32; 4] = [20, 10, 5, 0];
/// One boat and one detector last so long, samples.
const STREAM: usize = RATE * 120;

/// Sound in which notes are to be found, and where they are.
struct Stream {
    kind: Noise,
    ratio: i32,
    sound: Vec<i16>,
    spoken: Vec<(u64, u64)>,
}

/// What came of the streams of one kind.
#[derive(Default, Clone)]
struct Score {
    notes: usize,
    found: usize,
    clipped_ms: Vec<f64>,
    told_ms: Vec<f64>,
    falsely: usize,
    quiet_s: f64,
    sound_s: f64,
    cpu: Duration,
}

impl Score {
    fn add(&mut self, other: &Score) {
        self.notes += other.notes;
        self.found += other.found;
        self.clipped_ms.extend(&other.clipped_ms);
        self.told_ms.extend(&other.told_ms);
        self.falsely += other.falsely;
        self.quiet_s += other.quiet_s;
        self.sound_s += other.sound_s;
        self.cpu += other.cpu;
    }

    fn found_percent(&self) -> f64 {
        100.0 * self.found as f64 / self.notes as f64
    }

    fn row(&self) -> String {
        let (clipped, told) = (&self.clipped_ms, &self.told_ms);
        format!(
            "{:5} {:6.1} {:4.0} {:4.0} {:6} {:5.2} {:5.0} {:5.0} {:6.1}",
            self.notes,
            self.found_percent(),
            quantile(clipped, 0.5),
            quantile(clipped, 0.95),
            self.falsely,
            self.quiet_s / 3600.0,
            quantile(told, 0.5),
            quantile(told, 0.95),
            self.cpu.as_secs_f64() * 3600.0 / self.sound_s,
        )
    }
}

const HEAD: &str = "noise    SNR notes found %  clipped  false  in h       told    cpu";

#[test]
fn notes_are_found_in_noise_and_noise_is_not_taken_for_notes() {
    let long = std::env::var_os("GUNWALE_LONG").is_some();
    let (Some(synthetic), Some(recorded)) =
        (speech::synthetic(if long { 1 } else { 4 }), speech::recorded(if long { 2 } else { 16 }))
    else {
        assert!(
            std::env::var_os("GUNWALE_ALL").is_none(),
            "no espeak-ng or no recordings: tests/all installs them"
        );
        // Past the test's capture, so that it is seen.
        let _ = writeln!(
            std::io::stderr(),
            "skipped, nobody to speak the notes (espeak-ng, recordings): run tests/all"
        );
        return;
    };
    let say = |line: &str| drop(writeln!(std::io::stderr(), "{line}"));
    say(&format!("{} synthetic notes, {} recorded", synthetic.len(), recorded.len()));
    let clips: Vec<&Clip> = synthetic.iter().chain(&recorded).collect();
    let cells: Vec<(usize, usize)> =
        (0..NOISES.len()).flat_map(|n| (0..RATIOS.len()).map(move |r| (n, r))).collect();
    let scores = side_by_side(&cells, |&(n, r)| {
        // In a short run every cell has other notes, and every other one noise alone.
        let (each, alone) = if long { (1, 30) } else { (5, (n + r + 1) % 2) };
        let mine: Vec<&Clip> = clips.iter().copied().skip((n + r) % each).step_by(each).collect();
        cell(NOISES[n].0, RATIOS[r], &mine, alone)
    });

    say(HEAD);
    let (mut by_kind, mut by_ratio) =
        (vec![Score::default(); NOISES.len()], vec![Score::default(); RATIOS.len()]);
    for (&(n, r), score) in cells.iter().zip(&scores) {
        say(&format!("{:8} {:3} {}", NOISES[n].1, RATIOS[r], score.row()));
        by_kind[n].add(score);
        by_ratio[r].add(score);
    }
    for (score, (_, name)) in by_kind.iter().zip(NOISES) {
        say(&format!("{name:8} any {}", score.row()));
    }
    for (score, ratio) in by_ratio.iter().zip(RATIOS) {
        say(&format!("any      {ratio:3} {}", score.row()));
    }

    for (score, (_, name)) in by_kind.iter().zip(NOISES) {
        let hours = score.quiet_s / 3600.0;
        assert!(score.falsely as f64 <= hours, "{name}: {} false notes in {hours:.2} h", score.falsely);
    }
    for ((score, ratio), least) in by_ratio.iter().zip(RATIOS).zip([99.0, 99.0, 97.0, 0.0]) {
        let found = score.found_percent();
        assert!(found >= least, "{found:.1} % found at {ratio} dB, wanted {least} %");
        let (half, most) = (quantile(&score.clipped_ms, 0.5), quantile(&score.clipped_ms, 0.95));
        assert!(half == 0.0 && most <= 60.0, "clipped at {ratio} dB: median {half} ms, 95 % {most} ms");
    }
}

/// All notes in one noise, then so many times two minutes of it alone.
fn cell(kind: Noise, ratio: i32, clips: &[&Clip], alone: usize) -> Score {
    let mut score = Score::default();
    let mut left = clips;
    let mut seed = (ratio as u64 + 1) << 24;
    while !left.is_empty() {
        seed += 1;
        let (stream, taken) = Stream::new(kind, ratio, seed, left);
        score.add(&judge(&stream));
        left = &left[taken..];
    }
    for _ in 0..alone {
        seed += 1;
        score.add(&judge(&Stream::new(kind, ratio, seed, &[]).0));
    }
    score
}

impl Stream {
    /// As many of these notes as go into a stream, and how many those are.
    fn new(kind: Noise, ratio: i32, seed: u64, clips: &[&Clip]) -> (Stream, usize) {
        let mut rng = Rng::new(seed);
        let mut sound = noise::noise(kind, seed, STREAM);
        let below = 10.0_f32.powf(-ratio as f32 / 20.0);
        sound.iter_mut().for_each(|x| *x *= below);
        let mut spoken = Vec::new();
        let mut at = pause(&mut rng);
        for clip in clips {
            if at + clip.sound.len() > STREAM {
                break;
            }
            sound[at..].iter_mut().zip(&clip.sound).for_each(|(x, said)| *x += said);
            spoken.push(((at + clip.onset) as u64, (at + clip.end) as u64));
            at += clip.sound.len() + pause(&mut rng);
        }
        if !clips.is_empty() {
            sound.truncate(at);
        }
        let taken = spoken.len();
        assert!(taken > 0 || clips.is_empty(), "a note longer than a stream");
        let sound = sound.into_iter().map(|x| (x * SPEECH).round() as i16).collect();
        (Stream { kind, ratio, sound, spoken }, taken)
    }
}

fn pause(rng: &mut Rng) -> usize {
    (rng.between(4.0, 7.0) * RATE as f32) as usize
}

/// What a detector makes of a stream.
fn judge(stream: &Stream) -> Score {
    let mut listener = Listener::new();
    let mut events = Vec::new();
    let (mut told, mut cpu) = (Vec::new(), Duration::ZERO);
    // As a microphone would give it: a tenth of a second at a time.
    for chunk in stream.sound.chunks(RATE / 10) {
        let before = cpu_time();
        let new = listener.hear(chunk);
        cpu += cpu_time() - before;
        told.extend(
            new.iter().filter(|e| matches!(e, Event::Opened { by: By::Voice, .. })).map(|_| listener.heard()),
        );
        events.extend(new);
    }
    events.extend(listener.finish());

    let mut score = Score {
        notes: stream.spoken.len(),
        cpu,
        sound_s: seconds(stream.sound.len() as u64),
        ..Score::default()
    };
    let (mut from, mut notes) = (0, Vec::new());
    for event in &events {
        match event {
            Event::Opened { from: first, .. } => from = *first,
            Event::Closed { to, kept, .. } => {
                assert!(kept, "a file written in vain");
                notes.push((from, *to));
            }
            Event::Audio { .. } => {}
        }
    }
    for &(onset, end) in &stream.spoken {
        let shared = |&(from, to): &(u64, u64)| to.min(end).saturating_sub(from.max(onset));
        let covered: u64 = notes.iter().map(shared).sum();
        score.found += usize::from(covered * 10 >= (end - onset) * 9);
        if let Some((from, _)) = notes.iter().find(|note| shared(note) > 0) {
            score.clipped_ms.push(1000.0 * seconds(from.saturating_sub(onset)));
        }
        if let Some(told) = told.iter().find(|&&told| told > onset && told < end + 2 * RATE as u64) {
            score.told_ms.push(1000.0 * seconds(told - onset));
        }
    }
    let nobody =
        |&(from, to): &(u64, u64)| stream.spoken.iter().all(|&(onset, end)| to <= onset || from >= end);
    for (from, to) in notes.iter().filter(|note| nobody(note)) {
        score.falsely += 1;
        let (kind, ratio) = (stream.kind, stream.ratio);
        let _ = writeln!(
            std::io::stderr(),
            "false: {kind:?} {ratio} dB, {:.1} to {:.1} s",
            seconds(*from),
            seconds(*to)
        );
    }
    let talk: u64 = stream.spoken.iter().map(|(onset, end)| end - onset).sum();
    score.quiet_s = score.sound_s - seconds(talk);
    score
}

fn seconds(samples: u64) -> f64 {
    samples as f64 / RATE as f64
}

fn cpu_time() -> Duration {
    let now = clock_gettime(ClockId::ThreadCPUTime);
    Duration::new(now.tv_sec as u64, now.tv_nsec as u32)
}

/// 0 of nothing.
fn quantile(values: &[f64], q: f64) -> f64 {
    let mut values = values.to_vec();
    values.sort_by(f64::total_cmp);
    values.get((values.len() as f64 * q) as usize).copied().unwrap_or_default()
}

/// Does all tasks on as many threads as the machine has, results in order.
fn side_by_side<T: Sync, R: Send>(tasks: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let next = Mutex::new(tasks.iter().enumerate());
    let done = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(2, usize::from) {
            scope.spawn(|| {
                loop {
                    let Some((i, task)) = next.lock().unwrap().next() else { return };
                    let result = work(task);
                    done.lock().unwrap().push((i, result));
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap();
    done.sort_by_key(|(i, _)| *i);
    done.into_iter().map(|(_, result)| result).collect()
}
