//! Files of every form that is read, cut ones and wrong ones.

use std::io::Cursor;

use proptest::prelude::*;

use super::super::SPEC;
use super::super::testing::{note, speech};
use super::*;

fn read(bytes: &[u8]) -> Result<Vec<i16>> {
    let mut sound = Sound::new(Path::new("a.wav"), bytes)?;
    let mut all = Vec::new();
    while let Some(piece) = sound.piece()? {
        assert!(!piece.is_empty());
        all.extend_from_slice(piece);
    }
    assert!(sound.piece()?.is_none(), "it stays at its end");
    Ok(all)
}

/// A file as hound writes it; integers are given, floating point ones are them over 2³¹.
fn written(spec: WavSpec, samples: &[i32]) -> Vec<u8> {
    let mut file = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut file, spec).unwrap();
    for sample in samples {
        match spec.sample_format {
            SampleFormat::Int => writer.write_sample(*sample).unwrap(),
            SampleFormat::Float => writer.write_sample(*sample as f32 / 2f32.powi(31)).unwrap(),
        }
    }
    writer.finalize().unwrap();
    file.into_inner()
}

#[test]
fn a_note_comes_out_sample_for_sample() {
    let dir = tempfile::tempdir().unwrap();
    for samples in [0, 1, 16_383, 16_384, 16_385, 50_000] {
        let path = note(&dir.path().join(format!("{samples}.wav")), &speech(samples));
        let mut sound = Sound::open(&path).unwrap();
        let mut all = Vec::new();
        while let Some(piece) = sound.piece().unwrap() {
            assert!(piece.len() <= PIECE / 2);
            all.extend_from_slice(piece);
        }
        assert!(all == speech(samples));
    }
}

#[test]
fn every_form_of_samples_is_read() {
    let spec = |channels, bits_per_sample, sample_format| WavSpec {
        channels,
        bits_per_sample,
        sample_format,
        ..SPEC
    };
    use SampleFormat::{Float, Int};
    // What 16 bits it comes to: by the definition of the forms, two's complement of full scale 2^(bits − 1).
    let cases: [(WavSpec, &[i32], &[i16]); 9] = [
        (spec(1, 8, Int), &[0, 1, -128, 127], &[0, 256, -32_768, 32_512]),
        (spec(1, 16, Int), &[0, 1, -32_768, 32_767], &[0, 1, -32_768, 32_767]),
        (spec(1, 24, Int), &[0, 256, -8_388_608, 8_388_607, 127], &[0, 1, -32_768, 32_767, 0]),
        (spec(1, 32, Int), &[0, 65_536, i32::MIN, i32::MAX], &[0, 1, -32_768, 32_767]),
        (spec(1, 32, Float), &[0, 65_536, i32::MIN, i32::MAX, 1 << 30], &[0, 1, -32_768, 32_767, 16_384]),
        (spec(2, 16, Int), &[100, 200, -32_768, -32_768, 32_767, -32_767], &[150, -32_768, 0]),
        (spec(3, 24, Int), &[256, 512, 768, 0, 0, 2_560], &[2, 3]),
        (spec(4, 32, Int), &[1 << 20, 0, 0, 0], &[4]),
        (spec(2, 32, Float), &[i32::MAX, 0], &[16_384]),
    ];
    for (spec, samples, expected) in cases {
        assert_eq!(read(&written(spec, samples)).unwrap(), expected, "{spec:?}");
    }
}

#[test]
fn what_is_no_number_is_silence() {
    let spec = WavSpec { bits_per_sample: 32, sample_format: SampleFormat::Float, ..SPEC };
    for rate in [16_000, 48_000] {
        let mut file = written(WavSpec { sample_rate: rate, ..spec }, &[0; 3_000]);
        for (n, value) in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY].into_iter().enumerate() {
            let at = file.len() - 4_000 + 4 * n;
            file[at..at + 4].copy_from_slice(&value.to_le_bytes());
        }
        assert!(read(&file).unwrap().into_iter().all(|sample| sample == 0), "{rate}");
    }
}

#[test]
fn another_rate_is_heard_as_it_was() {
    for (rate, channels) in [(8_000, 1), (44_100, 2), (48_000, 1), (48_000, 6), (96_000, 2)] {
        let spec = WavSpec { sample_rate: rate, channels, ..SPEC };
        let tone = |n: f64, rate: f64| 10_000.0 * (n * 440.0 * std::f64::consts::TAU / rate).sin();
        let samples: Vec<i32> = (0..rate * u32::from(channels))
            .map(|n| tone(f64::from(n / u32::from(channels)), f64::from(rate)).round() as i32)
            .collect();
        let all = read(&written(spec, &samples)).unwrap();
        assert_eq!(all.len(), 16_000);
        for (n, sample) in all.iter().enumerate().take(15_900).skip(100) {
            let off = f64::from(*sample) - tone(n as f64, 16_000.0);
            assert!(off.abs() < 5.0, "{rate}, {channels} channels: sample {n} is off by {off}");
        }
    }
}

/// A file from its chunks.
fn riff(chunks: &[(&[u8; 4], &[u8])]) -> Vec<u8> {
    let mut file = b"RIFF\0\0\0\0WAVE".to_vec();
    for (id, content) in chunks {
        file.extend(*id);
        file.extend((content.len() as u32).to_le_bytes());
        file.extend(*content);
        file.resize(file.len().next_multiple_of(2), 0);
    }
    file
}

const FMT: (&[u8; 4], &[u8]) = (b"fmt ", b"\x01\0\x01\0\x80\x3e\0\0\x00\x7d\0\0\x02\0\x10\0");

#[test]
fn chunks_of_odd_length_and_unknown_ones_are_passed_over() {
    let file =
        riff(&[(b"bext", &[7; 641]), FMT, (b"LIST", b"odd"), (b"data", &[1, 0, 2, 0]), (b"LIST", b"after")]);
    assert_eq!(read(&file).unwrap(), [1, 2]);
}

#[test]
fn a_recording_that_was_never_closed_gives_what_is_there() {
    let whole = riff(&[FMT, (b"data", &[1, 0, 2, 0, 3, 0])]);
    for size in [6, 7, 8, 0x7fff_ffff, 0xffff_ffff_u32] {
        let mut file = whole.clone();
        file[40..44].copy_from_slice(&size.to_le_bytes());
        for (cut, expected) in [(0, &[1, 2, 3][..]), (1, &[1, 2]), (2, &[1, 2]), (5, &[]), (6, &[])] {
            assert_eq!(read(&file[..file.len() - cut]).unwrap(), expected, "{size} less {cut}");
        }
    }
}

#[test]
fn what_is_no_sound_is_told() {
    let fmt = |at: usize, value: u8| {
        let mut fmt = FMT.1.to_vec();
        fmt[at] = value;
        riff(&[(b"fmt ", &fmt), (b"data", &[0; 8])])
    };
    let text =
        |why: &str| format!("a.wav cannot be read as sound: {why}: give a WAV file of plain samples (PCM)");
    for (file, why) in [
        (Vec::new(), "it ends before any sound"),
        (vec![0; 100], "it is no RIFF/WAVE file"),
        (riff(&[FMT]), "it ends before any sound"),
        (riff(&[(b"data", &[0; 8])]), "its format is not stated before its sound"),
        (riff(&[(b"fmt ", &[0; 300]), (b"data", &[])]), "its format cannot be understood"),
        (riff(&[(b"fmt ", &[0; 10]), (b"data", &[])]), "invalid fmt chunk size"),
        (fmt(0, 17), "its samples are of an unknown form"),
        (fmt(2, 0), "file contains zero channels"),
        (fmt(4, 0x81), "inconsistent fmt chunk"),
        (written(WavSpec { sample_rate: 44_101, ..SPEC }, &[0; 8]), "it has 44101 samples a second"),
    ] {
        assert_eq!(read(&file).unwrap_err().to_string(), text(why));
    }
}

/// A source that fails after some bytes.
struct Bad(Vec<u8>);

impl Read for Bad {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let n = into.len().min(self.0.len());
        into.iter_mut().zip(self.0.drain(..n)).for_each(|(slot, byte)| *slot = byte);
        if n == 0 { Err(ErrorKind::ConnectionReset.into()) } else { Ok(n) }
    }
}

#[test]
fn a_source_that_fails_is_not_taken_for_the_end() {
    let file = riff(&[FMT, (b"data", &[1, 0, 2, 0, 3, 0])]);
    for length in [5, 40, file.len() - 1] {
        let bad = Sound::new(Path::new("a.wav"), Bad(file[..length].to_vec()));
        let error = bad.and_then(|mut sound| sound.piece().map(drop)).unwrap_err();
        assert_eq!(error.to_string(), "cannot read a.wav: connection reset: check the name and the disk");
    }
}

proptest! {
    #[test]
    fn arbitrary_headers_and_bytes_never_panic(
        fmt in prop::collection::vec(any::<u8>(), 0..60), data in prop::collection::vec(any::<u8>(), 0..300),
    ) {
        let _ = read(&riff(&[(b"fmt ", &fmt), (b"data", &data)]));
        let _ = read(&data);
    }

    #[test]
    fn near_formats_never_panic(
        tag in prop::sample::select(vec![1u16, 3, 0xfffe]), channels in 0u16..9, rate in 0u32..100_000,
        bytes in 0u16..6, bits in 0u16..40, valid in 0u16..40, float in any::<bool>(),
        size in prop::sample::select(vec![16usize, 18, 40]), data in prop::collection::vec(any::<u8>(), 0..300),
    ) {
        let block = bytes * channels;
        let mut fmt = [&tag.to_le_bytes()[..], &channels.to_le_bytes(), &rate.to_le_bytes()].concat();
        fmt.extend((rate * u32::from(block)).to_le_bytes());
        fmt.extend([block.to_le_bytes(), bits.to_le_bytes(), [22, 0], valid.to_le_bytes()].concat());
        fmt.extend([0, 0, 0, 0, if float { 3 } else { 1 }]);
        // The rest of the sub-format's GUID: Microsoft's KSDATAFORMAT_SUBTYPE_PCM and _IEEE_FLOAT.
        fmt.extend(b"\0\0\0\0\0\x10\0\x80\0\0\xaa\0\x38\x9b\x71");
        fmt.truncate(size);
        let _ = read(&riff(&[(b"fmt ", &fmt), (b"data", &data)]));
    }
}
