//! How cues sound, and how they are played by programs that behave and by others.

use std::collections::BTreeMap;
use std::f64::consts::TAU;
use std::os::unix::fs::PermissionsExt;

use super::*;

const LONGEST_WAIT: Duration = Duration::from_secs(10);

/// How much of a sound is at this pitch, 0 to 1 (Goertzel 1958).
fn share(sound: &[f64], hz: f64) -> f64 {
    let step = 2.0 * (TAU * hz / f64::from(CUE_RATE)).cos();
    let (a, b) = sound.iter().fold((0.0, 0.0), |(a, b), &x| (x + step * a - b, a));
    let at = a * a + b * b - step * a * b;
    2.0 * at / (sound.len() as f64 * sound.iter().map(|x| x * x).sum::<f64>())
}

#[test]
fn each_cue_is_short_soft_loud_and_of_its_pitches() {
    for cue in Cue::ALL {
        let sound = tones::samples(cue);
        let seconds = sound.len() as f64 / f64::from(CUE_RATE);
        assert!((0.15..=0.6).contains(&seconds), "{cue:?} lasts {seconds} s");
        let peak = sound.iter().fold(0.0_f64, |peak, x| peak.max(x.abs()));
        assert!((0.5..0.9).contains(&peak), "{cue:?} peaks at {peak}");
        let mut rest = &sound[..];
        let mut pitched = 0;
        for &(hz, ms) in cue.notes() {
            let (part, after) = rest.split_at((ms * CUE_RATE / 1_000) as usize);
            rest = after;
            if hz == 0 {
                assert!(part.iter().all(|&x| x == 0.0), "{cue:?} rests");
                continue;
            }
            pitched += 1;
            assert!((700..=2_500).contains(&hz), "{cue:?} {hz}");
            let share = share(part, f64::from(hz));
            assert!(share > 0.7, "{cue:?}: {share} of {hz} Hz is at its pitch");
            // The first and the last millisecond are nearly silent.
            let edge = CUE_RATE as usize / 1_000;
            let ends = part[..edge].iter().chain(&part[part.len() - edge..]);
            assert!(ends.fold(0.0_f64, |most, x| most.max(x.abs())) < 0.02, "{cue:?} clicks");
        }
        assert!((2..=3).contains(&pitched) && rest.is_empty(), "{cue:?}");
    }
}

#[test]
fn no_two_cues_have_one_rhythm_and_one_direction() {
    let mut seen = BTreeMap::new();
    for cue in Cue::ALL {
        let pitched: Vec<u32> = cue.notes().iter().map(|note| note.0).filter(|&hz| hz != 0).collect();
        let direction: Vec<_> = pitched.windows(2).map(|pair| pair[0].cmp(&pair[1])).collect();
        // Short or long, rests as well.
        let rhythm: Vec<_> = cue.notes().iter().map(|&(hz, ms)| (hz == 0, ms > 200)).collect();
        let twin = seen.insert((direction, rhythm), cue);
        assert_eq!(twin, None, "sounds like {cue:?}");
    }
}

#[test]
fn a_file_holds_what_it_should() {
    let dir = tempfile::tempdir().unwrap();
    for cue in Cue::ALL {
        let path = dir.path().join(cue.name());
        write(cue, &path).unwrap();
        let wav = hound::WavReader::open(&path).unwrap();
        let spec = wav.spec();
        assert_eq!((spec.channels, spec.sample_rate, spec.bits_per_sample), (1, 48_000, 16));
        let read: Vec<i16> = wav.into_samples().map(Result::unwrap).collect();
        let wanted = tones::samples(cue);
        assert_eq!(read.len(), wanted.len());
        let off = read.iter().zip(wanted).map(|(&a, b)| (f64::from(a) / 32_767.0 - b).abs());
        assert!(off.fold(0.0, f64::max) < 2e-5, "{cue:?}");
    }
    let nowhere = dir.path().join("no/such/folder");
    let why = Folder::make(&nowhere).err().unwrap();
    let CuesError::Files { path, .. } = &why else { panic!("{why:?}") };
    assert_eq!(
        why.to_string(),
        format!(
            "the cues cannot be made in {}: No such file or directory (os error 2): check that there is room and that \
             it may be written to",
            path.display()
        )
    );
    let why = CuesError::Thread(io::Error::other("no room"));
    assert_eq!(why.to_string(), "the cues' thread cannot be started: no room: stop other programs");
}

/// A player that notes what it plays in a file, one name a line, after some shell words.
fn notes(dir: &Path, words: &str) -> (Player, PathBuf) {
    let played = dir.join("played");
    let script = format!("basename \"$0\" .wav >> '{}'; {words}", played.display());
    (Player { command: vec!["sh".into(), "-c".into(), script] }, played)
}

fn lines(path: &Path) -> Vec<String> {
    std::fs::read_to_string(path).unwrap_or_default().lines().map(str::to_owned).collect()
}

fn wait_for(what: &str, mut holds: impl FnMut() -> bool) {
    let began = Instant::now();
    while !holds() {
        assert!(began.elapsed() < LONGEST_WAIT, "{what}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn cues_are_played_one_at_a_time_from_a_private_folder_that_goes_away() {
    let dir = tempfile::tempdir().unwrap();
    let where_from = dir.path().join("from");
    let words = format!(
        "dirname \"$0\" > '{}'; sleep 0.1; echo end >> '{}/played'",
        where_from.display(),
        dir.path().display()
    );
    let (player, played) = notes(dir.path(), &words);
    let stop = Stop::new();
    let (cues, thread) = Cues::start(player, stop.clone()).unwrap();
    for cue in [Cue::NoteOpened, Cue::PullLeft, Cue::NoFix] {
        cues.clone().play(cue);
    }
    wait_for("all are played", || lines(&played).len() == 6);
    assert_eq!(lines(&played), ["note-opened", "end", "pull-left", "end", "no-fix", "end"]);
    let folder = PathBuf::from(&lines(&where_from)[0]);
    assert_eq!(std::fs::metadata(&folder).unwrap().permissions().mode() & 0o777, 0o700);
    assert_eq!(std::fs::read_dir(&folder).unwrap().count(), Cue::ALL.len());
    stop.set();
    thread.join().unwrap();
    assert!(!folder.exists());
    cues.play(Cue::NoFix);
    Cues::quiet().play(Cue::NoFix);
}

#[test]
fn a_player_that_hangs_is_killed_and_a_stop_does_not_wait_for_it() {
    let dir = tempfile::tempdir().unwrap();
    let (player, played) = notes(dir.path(), "sleep 60");
    let stop = Stop::new();
    let (cues, thread) = Cues::start(player, stop.clone()).unwrap();
    cues.play(Cue::NoteOpened);
    cues.play(Cue::NoteKept);
    wait_for("the first is played", || lines(&played).len() == 1);
    let began = Instant::now();
    wait_for("the second is played", || lines(&played).len() == 2);
    let span = began.elapsed();
    println!("a hung player gave way to the next after {span:.1?}");
    assert!((2.5..4.5).contains(&span.as_secs_f64()), "{span:?}");
    let began = Instant::now();
    stop.set();
    thread.join().unwrap();
    assert!(began.elapsed() < Duration::from_secs(1), "ends when told");
}

#[test]
fn folders_of_killed_services_are_swept_and_no_others() {
    let dir = tempfile::tempdir().unwrap();
    let mut gone = std::process::Command::new("true").spawn().unwrap();
    gone.wait().unwrap();
    let own = Folder::make(dir.path()).unwrap();
    for name in
        [format!("{FOLDER}{}-0123", gone.id()), format!("{FOLDER}x-1"), format!("{FOLDER}7"), "other".into()]
    {
        std::fs::create_dir(dir.path().join(&name)).unwrap();
        std::fs::write(dir.path().join(&name).join("file"), "x").unwrap();
    }
    sweep(dir.path());
    sweep(&dir.path().join("nowhere"));
    assert!(own.file(Cue::NoFix).exists());
    let mut left: Vec<String> = std::fs::read_dir(dir.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| dir.path().join(name) != own.0)
        .collect();
    left.sort();
    assert_eq!(left, [format!("{FOLDER}7"), format!("{FOLDER}x-1"), "other".into()]);
}

#[test]
fn a_missing_player_ends_nothing() {
    let stop = Stop::new();
    let player = Player { command: vec!["no-such-player".into()] };
    let (cues, thread) = Cues::start(player, stop.clone()).unwrap();
    for _ in 0..10 {
        cues.play(Cue::NoFix);
        std::thread::sleep(Duration::from_millis(5));
    }
    assert!(!thread.is_finished());
    stop.set();
    thread.join().unwrap();
}
