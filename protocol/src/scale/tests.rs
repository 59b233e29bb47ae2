//! Every dialect: its frames, what is refused, and streams that are cut, noisy, or anything at all.

use proptest::prelude::*;

use super::State::*;
use super::*;

/// 1 lb and 1 oz in grams (NIST SP 811, appendix B).
const LB: f64 = 453.592_37;
const OZ: f64 = 28.349_523_125;

type Case<'a> = (&'a str, Option<f64>, State, Option<bool>);

fn check(dialect: Dialect, cases: &[Case<'_>]) {
    for (line, g, state, net) in cases {
        let (found, reading) = recognise(line).unwrap_or_else(|fault| panic!("{line}: {fault}"));
        assert_eq!((found, reading.state, reading.net), (dialect, *state, *net), "{line}");
        match (reading.g, g) {
            (Some(read), Some(g)) => assert!((read - g).abs() <= 1e-9 * g.abs(), "{line}: {read} is not {g}"),
            (read, g) => assert_eq!(read, *g, "{line}"),
        }
    }
}

#[test]
fn comma_separated_frames() {
    let (gross, net) = (Some(false), Some(true));
    check(
        Dialect::Commas,
        &[
            // Frames as public scale manuals print them.
            ("ST,GS,+ 12.34kg", Some(12_340.0), Steady, gross),
            ("US,NT,-  0.182kg", Some(-182.0), Moving, net),
            ("ST,+00123.45  g", Some(123.45), Steady, None),
            ("OL,+9999999.9  g", None, Over, None),
            ("01ST,GS,     0.0,kg", Some(0.0), Steady, gross),
            ("OL,GS,  ------kg", None, Over, gross),
            ("OL,GS,-", None, Over, gross),
            ("US,GS,+01234.56  lb", Some(1_234.56 * LB), Moving, gross),
            ("ST,GS    20.7g", Some(20.7), Steady, gross),
            // The same in other widths, units and cases of the same rule.
            ("US,GS,+  0.182kg\r\n", Some(182.0), Moving, gross),
            ("ST,GS,   1.0000lb", Some(LB), Steady, gross),
            ("ST,NT,+     3 oz", Some(3.0 * OZ), Steady, net),
            ("ST,GS,+ 1:03.0 lb:oz", Some(LB + 3.0 * OZ), Steady, gross),
            ("ST , GS , + 5 , g", Some(5.0), Steady, gross),
            ("ST,GS,+ 0,182kg", Some(182.0), Steady, gross),
            ("ST,+ 0,182,kg", Some(182.0), Steady, None),
            ("QT,GS,+ 12 g", Some(12.0), Steady, gross),
            ("UL,GS,-  0.5kg", None, Under, gross),
            ("TL,GS,+  0.5kg", None, Tilted, gross),
            ("OL", None, Over, None),
        ],
    );
}

#[test]
fn sics_replies() {
    check(
        Dialect::Sics,
        &[
            ("S S     100.00 g", Some(100.0), Steady, None),
            ("S D      -0.182 kg", Some(-182.0), Moving, None),
            ("S D       0,182 kg", Some(182.0), Moving, None),
            ("S S 1 lb", Some(LB), Steady, None),
            ("S S 0 lb 6.4 oz", Some(6.4 * OZ), Steady, None),
            ("S I", None, Busy, None),
            ("S +", None, Over, None),
            ("S -", None, Under, None),
        ],
    );
}

#[test]
fn continuous_frames() {
    let (gross, net) = (Some(false), Some(true));
    check(
        Dialect::Continuous,
        &[
            // Form 1 with a state that needs no unit; its places are those of Sensors 10 (2010) 9337, table 1.
            ("\u{2} 9999.99O\u{3}", None, Over, None),
            ("\u{2}-  0.182U\u{3}", None, Under, None),
            ("\u{2}   ------E\u{3}", None, Busy, None),
            // Form 2.
            ("\u{2}   0.182G  - kg\u{3}", Some(182.0), Steady, gross),
            ("\u{2}-  0.182N Z1 kg\u{3}", Some(-182.0), Steady, net),
            ("\u{2}   0.182GM 2 lb\u{3}", Some(0.182 * LB), Moving, gross),
            ("\u{2}   9.999O  - kg\u{3}", None, Over, None),
            // Form 3.
            ("\u{2}   0.182KG \r\n", Some(182.0), Steady, gross),
            ("\u{2}-  0.182KNM\r\n", Some(-182.0), Moving, net),
            ("\u{2}     182GGM\r\n", Some(182.0), Moving, gross),
            ("\u{2}    0.40LG\r\n", Some(0.4 * LB), Steady, gross),
            ("\u{2}   9.999KGO\r\n", None, Over, gross),
            ("\u{2}   9.999KGI\r\n", None, Busy, gross),
        ],
    );
}

#[test]
fn plain_lines() {
    let (gross, net) = (Some(false), Some(true));
    check(
        Dialect::Plain,
        &[
            // Lines as public scale manuals print them.
            ("        0.00 g     ", Some(0.0), Steady, None),
            ("       12.73 g    ?", Some(12.73), Moving, None),
            ("      0.4500 oz    ", Some(0.45 * OZ), Steady, None),
            ("       0.211 kg ?", Some(211.0), Moving, None),
            ("+  123.56 g  ", Some(123.56), Steady, None),
            ("N     +  123.56 g  ", Some(123.56), Steady, net),
            ("   0.40lbGR", Some(0.4 * LB), Steady, gross),
            ("-  0.182kgNT", Some(-182.0), Steady, net),
            ("0000.40lb", Some(0.4 * LB), Steady, None),
            ("   0.182 KG NT M", Some(182.0), Moving, net),
            ("   9.999 LB GR O", None, Over, gross),
            ("^^^^^^^^^kgGR", None, Over, None),
            ("_________kgGR", None, Under, None),
            ("? -     0.182 kg", Some(-182.0), Moving, None),
            // The same rules elsewhere.
            ("0,182 kg", Some(182.0), Steady, None),
            ("182g", Some(182.0), Steady, None),
            ("182 G", Some(182.0), Steady, None),
            ("0.182kg?", Some(182.0), Moving, None),
            ("0.182 kg ? NET", Some(182.0), Moving, net),
            ("Gross 0.182 kg", Some(182.0), Steady, gross),
            ("1 lb 3.0 oz ?", Some(LB + 3.0 * OZ), Moving, None),
            ("-0:06.4 lb:oz", Some(-6.4 * OZ), Steady, None),
            ("1lb 3oz", Some(LB + 3.0 * OZ), Steady, None),
            ("0.4 lbs", Some(0.4 * LB), Steady, None),
        ],
    );
}

#[test]
fn refused_lines_say_why() {
    let unknown = |line: &str| {
        format!(
            "the scale's line \"{line}\" is of no known kind: set it to send weight and unit, or describe its lines \
             with pattern in [scale]"
        )
    };
    let value = |value: &str| format!("the scale's weight \"{value}\" is no number: the line is left out");
    let unit = |unit: &str| {
        format!("the scale's unit \"{unit}\" is none of g, kg, lb, oz: set the scale to one of them")
    };
    let no_unit = |value: &str| {
        format!(
            "the scale's weight \"{value}\" has no unit: set the scale to send it, or say it with unit in [scale]"
        )
    };
    let no_load = |line: &str| format!("the scale's line \"{line}\" tells no load: nothing to do");
    let empty = "the scale sent an empty line: nothing to do".to_owned();
    let noise = "the scale's line holds bytes that are no text: check its baud rate and parity".to_owned();
    for (line, text) in [
        ("", empty.clone()),
        (" \r\n", empty),
        ("ST,GS,+ 1\u{b2}.34kg", noise.clone()),
        ("12\u{1}g", noise),
        ("hello", unknown("hello")),
        ("S X 1 g", unknown("S X 1 g")),
        ("kg", unknown("kg")),
        ("1.2.3 kg", unknown("1.2.3 kg")),
        ("1 2 kg", unknown("1 2 kg")),
        ("2027-02-09 12:30", unknown("2027-02-09 12:30")),
        ("ST,GS,+ 1.2.3kg", value("+ 1.2.3kg")),
        ("ST,GS,+ 1,234.5kg", value("+ 1,234.5kg")),
        ("ST,GS,+ 1 2kg", value("+ 1 2kg")),
        ("ST,GS,  ------kg", value("------kg")),
        ("ST,GS,nankg", value("nankg")),
        ("ST,GS", value("")),
        ("S S", value("")),
        ("1:16.0 lb:oz", value("1:16.0")),
        ("ST,GS,+ 12 PC", unit("PC")),
        ("3 PCS ?", unit("PCS")),
        ("0.5 ozt", unit("ozt")),
        ("   0.182TG", unit("t")),
        ("ST,GS,+ 12", no_unit("+ 12")),
        ("S S 12", no_unit("12")),
        ("0.182", no_unit("0.182")),
        // Form 1's "gross", not a gram.
        ("   0.182G", no_unit("0.182")),
        ("   0.182GM -", no_unit("0.182")),
        ("ST,TR,+012.3456  kg", no_load("ST,TR,+012.3456  kg")),
        ("Z A", no_load("Z A")),
        ("T S    100.00 g", no_load("T S    100.00 g")),
        ("TA A   100.00 g", no_load("TA A   100.00 g")),
        ("I4 A \"123\"", no_load("I4 A \"123\"")),
    ] {
        assert_eq!(read(line).unwrap_err().to_string(), text, "{line}");
    }
    for line in ["ES", "ET", "EL"] {
        let text = format!(
            "the scale answered {line}, it does not understand what it is asked: correct ask in [scale]"
        );
        assert_eq!(read(line).unwrap_err().to_string(), text);
    }
}

/// A reading as the pages in `hardware-notes/` say it.
fn as_on_a_page(frame: &str) -> String {
    let text = |reading: Reading| {
        let g = reading.g.map_or("no weight".into(), |g| format!("{g:.3} g"));
        let state = format!("{:?}", reading.state).to_lowercase();
        let net = reading.net.map_or("", |net| if net { ", net" } else { ", gross" });
        format!("{g}, {state}{net}")
    };
    match read(frame) {
        Ok(reading) => text(reading),
        Err(Fault::NoWeight { .. }) => "no load".into(),
        Err(Fault::Refused { .. }) => "not understood".into(),
        Err(Fault::Unit { .. }) => "another unit".into(),
        Err(Fault::NoUnit { .. }) => {
            let kg = Described { pattern: None, unit: Some(Unit::Kg) };
            format!("no unit; with kg {}", text(read(&kg.plain(frame).unwrap()).unwrap()))
        }
        Err(fault) => fault.to_string(),
    }
}

#[test]
fn every_byte_on_the_pages_is_read_as_they_say() {
    let mut rows = 0;
    for page in [
        include_str!("../../../hardware-notes/scale-commas.md"),
        include_str!("../../../hardware-notes/scale-sics.md"),
        include_str!("../../../hardware-notes/scale-plain.md"),
        include_str!("../../../hardware-notes/scale-continuous.md"),
    ] {
        for row in page.lines().filter(|row| row.starts_with("| `")) {
            let cells: Vec<&str> = row.split(" | ").map(|cell| cell.trim_matches([' ', '|', '`'])).collect();
            let [bytes, text, said] = cells[..] else { continue };
            let Ok(bytes) =
                bytes.split(' ').map(|hex| u8::from_str_radix(hex, 16)).collect::<Result<Vec<u8>, _>>()
            else {
                continue;
            };
            let (mut frames, mut found) = (Frames::new(64), Vec::new());
            for byte in &bytes {
                frames
                    .take(&[*byte], |frame| found.push(String::from_utf8(frame.unwrap().to_vec()).unwrap()));
            }
            assert_eq!(found, [text], "{row}");
            assert_eq!(as_on_a_page(text), said, "{row}");
            rows += 1;
        }
    }
    assert_eq!(rows, 53, "every row was found");
}

/// Frames as a dialect sends them, with all their bytes.
#[derive(Debug, Clone, Copy)]
enum Sends {
    Commas,
    Sics,
    Fixed,
    FixedUnit,
    Plain,
    PlainEtx,
    Comma,
    PoundsOunces,
}

const SENDS: [Sends; 8] = [
    Sends::Commas,
    Sends::Sics,
    Sends::Fixed,
    Sends::FixedUnit,
    Sends::Plain,
    Sends::PlainEtx,
    Sends::Comma,
    Sends::PoundsOunces,
];

impl Sends {
    /// The bytes for this many thousandths of a unit, and what they weigh, grams.
    fn bytes(self, milli: i64, unit: Unit, moving: bool) -> (Vec<u8>, f64) {
        let sign = if milli < 0 { '-' } else { ' ' };
        let value = format!("{:.3}", milli.unsigned_abs() as f64 / 1000.0);
        let signed = format!("{sign}{value}");
        let symbol = unit.symbol();
        let g = milli as f64 / 1000.0 * unit.grams();
        let text = match self {
            Sends::Commas => {
                format!("{},GS,{sign}{value:>8}{symbol}\r\n", if moving { "US" } else { "ST" })
            }
            Sends::Sics => format!("S {} {signed:>10} {symbol}\r\n", if moving { 'D' } else { 'S' }),
            Sends::Fixed if unit != Unit::Oz => {
                let letter = symbol.as_bytes()[0].to_ascii_uppercase() as char;
                format!("\u{2}{sign}{value:>7}{letter}G{}\r\n", if moving { 'M' } else { ' ' })
            }
            Sends::Fixed | Sends::FixedUnit => {
                format!("\u{2}{sign}{value:>7}G{} -{symbol:>3}\u{3}", if moving { 'M' } else { ' ' })
            }
            Sends::Plain => format!("{signed:>12} {symbol}{}\r\n", if moving { " ?" } else { "" }),
            Sends::PlainEtx => format!("\n{sign}{value:>8}{symbol}GR\r\u{3}"),
            Sends::Comma => format!("{} {symbol}\r\n", signed.replace('.', ",")),
            Sends::PoundsOunces => {
                let (lb, oz) = (milli.unsigned_abs() / 1000, milli.unsigned_abs() % 1000 % 16);
                let g = (lb * 16 + oz) as f64 * OZ;
                let text = format!("{sign}{lb:>3}:{oz:04.1} lb:oz\r\n", oz = oz as f64);
                return (text.into_bytes(), if milli < 0 { -g } else { g });
            }
        };
        (text.into_bytes(), g)
    }
}

/// Cuts bytes at these places and gives what can be read.
fn heard(bytes: &[u8], cuts: &[prop::sample::Index]) -> Vec<f64> {
    let mut at: Vec<usize> = cuts.iter().map(|cut| cut.index(bytes.len() + 1)).collect();
    at.extend([0, bytes.len()]);
    at.sort_unstable();
    let (mut frames, mut found) = (Frames::new(64), Vec::new());
    for cut in at.windows(2) {
        frames.take(&bytes[cut[0]..cut[1]], |frame| {
            let text = frame.ok().and_then(|frame| std::str::from_utf8(frame).ok());
            found.extend(text.and_then(|text| read(text).ok()).and_then(|reading| reading.g));
        });
    }
    found
}

fn parity(kind: u8, byte: u8) -> u8 {
    let odd = byte.count_ones() % 2 == 1;
    match kind {
        1 if odd => byte | 0x80,
        2 if !odd => byte | 0x80,
        3 => byte | 0x80,
        _ => byte,
    }
}

proptest! {
    #[test]
    fn every_dialect_is_heard_however_the_stream_is_cut(
        sends in prop::sample::select(SENDS.to_vec()),
        unit in prop::sample::select(vec![Unit::G, Unit::Kg, Unit::Lb, Unit::Oz]),
        said in prop::collection::vec((-999_999i64..=999_999, any::<bool>()), 1..12),
        kind in 0u8..4,
        cuts in prop::collection::vec(any::<prop::sample::Index>(), 0..40),
    ) {
        let (mut bytes, mut expected) = (Vec::new(), Vec::new());
        for (milli, moving) in said {
            let (frame, g) = sends.bytes(milli, unit, moving);
            bytes.extend(frame.iter().map(|byte| parity(kind, *byte)));
            expected.push(g);
        }
        let found = heard(&bytes, &cuts);
        prop_assert_eq!(found.len(), expected.len());
        for (found, expected) in found.iter().zip(&expected) {
            prop_assert!((found - expected).abs() <= 1e-9 * expected.abs(), "{} is not {}", found, expected);
        }
    }

    #[test]
    fn noise_between_frames_costs_no_frame(
        sends in prop::sample::select(SENDS.to_vec()),
        said in prop::collection::vec((-999_999i64..=999_999, any::<bool>(), prop::collection::vec(any::<u8>(), 0..100)), 1..8),
        cuts in prop::collection::vec(any::<prop::sample::Index>(), 0..40),
    ) {
        let (mut bytes, mut expected) = (Vec::new(), Vec::new());
        for (milli, moving, noise) in said {
            let (frame, g) = sends.bytes(milli, Unit::Kg, moving);
            bytes.extend(noise);
            // A frame that begins with STX needs no end of what was before it.
            if !frame.starts_with(b"\x02") {
                bytes.push(b'\n');
            }
            bytes.extend(frame);
            expected.push(g);
        }
        let found = heard(&bytes, &cuts);
        let mut rest = found.iter();
        for g in expected {
            prop_assert!(rest.any(|found| (found - g).abs() <= 1e-9 * g.abs()), "{} was not heard: {:?}", g, found);
        }
    }

    #[test]
    fn any_text_is_survived(line in any::<String>()) {
        let _ = read(&line);
    }

    #[test]
    fn anything_after_a_known_beginning_is_survived(
        head in prop::sample::select(vec![
            "ST,GS,", "US,NT,", "OL,", "S S ", "S D ", "01ST,", "ST,", "T ", "1 lb ", "0.182", "   0.182G", "N ", "? ", "^",
        ]),
        tail in "[-+ .,:?0-9a-zA-Z]{0,30}",
    ) {
        if let Ok(reading) = read(&format!("{head}{tail}")) {
            prop_assert_eq!(reading.g.is_some(), matches!(reading.state, Steady | Moving));
            prop_assert!(reading.g.is_none_or(f64::is_finite));
        }
    }

    #[test]
    fn what_a_description_makes_can_be_read_and_means_the_same(
        milli in -999_999i64..=999_999,
        unit in prop::sample::select(vec![Unit::G, Unit::Kg, Unit::Lb, Unit::Oz]),
        moving in any::<bool>(),
    ) {
        let pattern = r"#(?<stable>S)?(?<sign>-)?(?<number>\d+\.\d+)(?<unit>\w+)";
        let described = Described { pattern: Some(Pattern::new(pattern).unwrap()), unit: None };
        let (stable, sign) = (if moving { "" } else { "S" }, if milli < 0 { "-" } else { "" });
        let value = milli.unsigned_abs() as f64 / 1000.0;
        let plain = described.plain(&format!("#{stable}{sign}{value:.3}{}", unit.symbol())).unwrap();
        let (dialect, reading) = recognise(&plain).unwrap();
        prop_assert_eq!((dialect, reading.state), (Dialect::Plain, if moving { Moving } else { Steady }));
        let expected = milli as f64 / 1000.0 * unit.grams();
        prop_assert!((reading.g.unwrap() - expected).abs() <= 1e-9 * expected.abs());
        prop_assert_eq!(described.plain(&plain), None, "made plain once");
    }

    #[test]
    fn an_overloaded_scale_has_no_weight(tail in "[ -~]{0,30}") {
        for head in ["OL,", "^"] {
            if let Ok(reading) = read(&format!("{head}{tail}")) {
                prop_assert_eq!((reading.g, reading.state), (None, Over));
            }
        }
    }
}
