//! What the microphone hears all day: the noise on deck, louder under way, and the crew's speech at its times.

use std::collections::VecDeque;
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};

use gunwale_protocol::time::SECOND;

use super::Day;
use super::deck::{Deck, LOOP};
use super::lines::said_us;
use super::motion::{Happened, Motion, TICK_S};
use super::scenario::Scenario;
use super::speech::{RATE, speech};

/// Samples in a step of the day.
pub const BLOCK: usize = RATE as usize / 10;
// Steps are a tenth of a second, and whole ones make a loop.
const _: () = assert!(TICK_S == 0.1 && LOOP.is_multiple_of(BLOCK));

/// Up to this speed, metres a second, the engine sounds as when lying; so much faster, as under way.
const IDLE_M_S: f64 = 1.0;
const FASTER_M_S: f64 = 1.5;
/// How much of the way to its new sound the engine goes in a step.
const SPOOL: f32 = 0.1;

/// The sound of a day, step by step; it ends with the day. Sample `k` belongs to `k` / 16,000 s of the day.
#[derive(Debug, Clone)]
pub struct Sound<'a> {
    plan: &'a Scenario,
    motion: Motion<'a>,
    deck: Deck,
    /// What is being said or will be soon: its first sample, and its samples.
    speaking: VecDeque<(u64, Vec<i16>)>,
    /// The first sample of the next step.
    at: u64,
    /// How much of the noise is that of being under way.
    share: f32,
}

impl Day {
    /// What the microphone hears, from the beginning of the day on.
    pub(super) fn sound(&self) -> Sound<'_> {
        Sound {
            plan: &self.plan,
            motion: Motion::new(&self.plan, self.options.seed),
            deck: Deck::new(self.options.seed),
            speaking: VecDeque::new(),
            at: 0,
            share: 0.0,
        }
    }

    /// Writes what the microphone hears all day into `mic.wav` in a directory (115 MB an hour), and the day's tape beside
    /// it, [as spoken](Day::spoken_tape). Returns the tape's path.
    ///
    /// # Errors
    /// When a file cannot be written, or the day is longer than a WAV file can be (37 h).
    pub fn write_sound(&self, dir: &Path) -> io::Result<PathBuf> {
        let trouble = |error| match error {
            hound::Error::IoError(error) => error,
            other => io::Error::other(other),
        };
        let format = hound::WavSpec {
            channels: 1,
            sample_rate: RATE,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut wav = hound::WavWriter::create(dir.join("mic.wav"), format).map_err(trouble)?;
        let mut sound = self.sound();
        let mut block = Vec::with_capacity(BLOCK);
        while sound.hear(&mut block) {
            let mut writer = wav.get_i16_writer(BLOCK as u32);
            block.drain(..).for_each(|sample| writer.write_sample(sample));
            writer.flush().map_err(trouble)?;
        }
        wav.finalize().map_err(trouble)?;

        let tape = dir.join("tape.jsonl");
        let mut out = BufWriter::new(std::fs::File::create(&tape)?);
        self.spoken_tape("mic.wav", &mut out)?;
        out.into_inner().map_err(io::IntoInnerError::into_error)?;
        Ok(tape)
    }
}

impl Sound<'_> {
    /// Appends the samples of the next step, [`BLOCK`] of them; says whether there was one.
    pub fn hear(&mut self, out: &mut Vec<i16>) -> bool {
        let (from, before) = (self.at, self.share);
        if !self.skip() {
            return false;
        }
        let mut heard: Vec<f32> = self
            .deck
            .stretch(from, BLOCK)
            .enumerate()
            .map(|(i, (lying, under_way))| {
                let share = before + (self.share - before) * (i as f32 / BLOCK as f32);
                lying + (under_way - lying) * share
            })
            .collect();
        for (start, said) in &self.speaking {
            // Either it began before this step, or somewhere in it, or it comes later.
            let (into, after) = (from.saturating_sub(*start) as usize, start.saturating_sub(from) as usize);
            for (x, said) in heard.iter_mut().skip(after).zip(said.iter().skip(into)) {
                *x += f32::from(*said);
            }
        }
        out.extend(heard.into_iter().map(|x| x as i16));
        true
    }

    /// Goes past the next step unheard; says whether there was one.
    pub fn skip(&mut self) -> bool {
        let Some(step) = self.motion.next() else { return false };
        let step_s = step.tick as f64 * TICK_S;
        match step.happened.map(|happened| (happened, self.plan)) {
            Some((Happened::Alongside(at), plan)) => {
                let said = plan.stops.get(at).map(|stop| &stop.words.said);
                said.into_iter().flatten().for_each(|(after_s, text)| self.say(step_s, *after_s, text));
            }
            Some((Happened::Left(at), plan)) => {
                let late = plan.stops.get(at).and_then(|stop| stop.words.late.as_ref());
                late.into_iter().for_each(|(after_s, text)| self.say(step_s, *after_s, text));
            }
            Some((Happened::Set(..), _)) | None => {}
        }
        let goal = ((step.moves.len() - IDLE_M_S) / FASTER_M_S).clamp(0.0, 1.0) as f32;
        self.share += (goal - self.share) * SPOOL;
        let from = self.at;
        self.speaking.retain(|(start, said)| start + said.len() as u64 > from);
        self.at += BLOCK as u64;
        true
    }

    fn say(&mut self, step_s: f64, after_s: f64, text: &str) {
        let start = said_us(step_s, after_s) * i64::from(RATE) / SECOND;
        self.speaking.push_back((u64::try_from(start).unwrap_or(0), speech(text)));
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Kind, Options};
    use super::*;

    fn day() -> Day {
        Day::new(Options { pulls: 12, ..Options::default() })
    }

    fn level_db(sound: &[i16]) -> f64 {
        let sum: f64 = sound.iter().map(|x| (f64::from(*x) / 32_768.0).powi(2)).sum();
        10.0 * (sum / sound.len() as f64).log10()
    }

    #[test]
    fn speech_is_where_it_should_be_and_nowhere_else() {
        let day = day();
        let (mut sound, mut all) = (day.sound(), Vec::new());
        while sound.hear(&mut all) {}
        let mut quiet = all.clone();
        let mut said = 0;
        for line in day.lines().filter(|line| line.kind == Kind::Said) {
            let start = (line.t_us * i64::from(RATE) / SECOND) as usize;
            let length = speech(&line.text).len();
            let before = level_db(&all[start - 16_000..start]);
            let spoken = level_db(&all[start..start + length]);
            assert!(spoken - before > 6.0, "{}: {spoken} dB after {before}", line.text);
            // From the very sample on: what is left without the speech is noise again.
            for (x, said) in quiet[start..start + length].iter_mut().zip(speech(&line.text)) {
                *x -= said;
            }
            said += 1;
        }
        assert!(said > 30);
        let loudest = quiet.chunks(1_600).map(level_db).fold(f64::MIN, f64::max);
        assert!(loudest < -22.0, "{loudest} dB where nobody speaks");
    }

    #[test]
    fn it_is_louder_under_way() {
        let day = day();
        let truth = day.truth();
        let (mut sound, mut all) = (day.sound(), Vec::new());
        while sound.hear(&mut all) {}
        let at = |utc: gunwale_protocol::time::Utc, after_s: f64| {
            (((utc - super::super::scenario::START) as f64 / 1e6 + after_s) * f64::from(RATE)) as usize
        };
        for pull in truth.iter().filter(|pull| !pull.late) {
            let lying = level_db(&all[at(pull.left_utc, -3.0)..at(pull.left_utc, 0.0)]);
            let under_way = level_db(&all[at(pull.left_utc, 7.0)..at(pull.left_utc, 10.0)]);
            assert!((2.0..14.0).contains(&(under_way - lying)), "{under_way} dB after {lying}");
        }
    }

    #[test]
    fn the_whole_day_goes_into_a_wav_file_and_its_tape_names_it() {
        let day = Day::new(Options { pulls: 1, ..Options::default() });
        let dir = tempfile::tempdir().unwrap();
        let tape = std::fs::read_to_string(day.write_sound(dir.path()).unwrap()).unwrap();
        let (first, rest) = tape.split_once('\n').unwrap();
        assert_eq!(first, r#"{"t":0.000,"audio":"mic.wav"}"#);
        let mut typed = Vec::new();
        day.tape(&mut typed).unwrap();
        let typed = String::from_utf8(typed).unwrap();
        let silent: Vec<&str> = typed.lines().filter(|line| !line.contains("\"said\"")).collect();
        assert!(silent.len() < typed.lines().count());
        assert_eq!(rest.lines().collect::<Vec<_>>(), silent);

        let mut wav = hound::WavReader::open(dir.path().join("mic.wav")).unwrap();
        assert_eq!(
            (wav.spec().channels, wav.spec().sample_rate, wav.spec().bits_per_sample),
            (1, 16_000, 16)
        );
        let (mut sound, mut all) = (day.sound(), Vec::new());
        while sound.hear(&mut all) {}
        assert!(wav.samples::<i16>().map(Result::unwrap).eq(all));
    }
}
