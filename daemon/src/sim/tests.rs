//! The day as a whole: the same each time, right in form, true to what happened; and played through real devices.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::mpsc::sync_channel;

use super::chart::tests::metres;
use super::*;
use crate::clock::{Clock, ScaledClock, Stop};
use crate::device::{self, Event, State};

fn day(options: Options) -> Day {
    Day::new(options)
}

fn tape(day: &Day) -> String {
    let mut out = Vec::new();
    day.tape(&mut out).unwrap();
    String::from_utf8(out).unwrap()
}

#[test]
fn a_day_is_told_by_its_seed() {
    let of = |seed| tape(&day(Options { seed, pulls: 2, ..Options::default() }));
    assert_eq!(of(1), of(1));
    assert_ne!(of(1), of(2));
}

#[test]
fn a_tape_is_in_order_and_every_line_is_json_with_a_right_checksum() {
    for (gps_hz, gst, layout) in
        [(1.0, false, Layout::Line), (10.0, true, Layout::Scattered), (0.2, false, Layout::Grid)]
    {
        let day = day(Options { gps_hz, gst, layout, pulls: 4, ..Options::default() });
        let mut last = 0.0;
        let mut types = BTreeSet::new();
        for text in tape(&day).lines() {
            let line: Value = serde_json::from_str(text).unwrap();
            let t = line["t"].as_f64().unwrap();
            assert!(t >= last, "{text} after {last}");
            last = t;
            let Some(gps) = line["gps"].as_str() else { continue };
            let (body, sum) = gps[1..].split_once('*').unwrap();
            assert_eq!(format!("{:02X}", body.bytes().fold(0, |x, b| x ^ b)), sum, "{gps}");
            assert!(gps.len() <= 80, "{gps}");
            types.insert(body[2..5].to_string());
        }
        assert!((last - day.seconds()).abs() < 6.0, "{last} of {}", day.seconds());
        assert_eq!(types.contains("GST"), gst);
        assert!(["RMC", "GGA", "GSA", "VTG", "DPT", "MTW"].iter().all(|t| types.contains(*t)), "{types:?}");
    }
}

#[test]
fn sentences_tell_the_truth_within_the_receivers_error_and_on_time() {
    let day = day(Options { pulls: 12, ..Options::default() });
    let mut fixes = 0;
    for line in day.lines().filter(|l| l.kind == Kind::Gps && l.text.starts_with("$GPRMC")) {
        let fields: Vec<&str> = line.text.split(',').collect();
        assert_eq!(fields.len(), 13);
        if fields[2] == "V" {
            assert!(line.t_s() < 91.0 && fields[3].is_empty() && fields[9].is_empty(), "{}", line.text);
            continue;
        }
        fixes += 1;
        assert_eq!(fields[9], "090227");
        let clock: f64 = fields[1][..2].parse::<f64>().unwrap() * 3_600.0
            + fields[1][2..4].parse::<f64>().unwrap() * 60.0
            + fields[1][4..].parse::<f64>().unwrap();
        let late = line.t_s() - (clock - (12.0 * 3_600.0 + 20.0 * 60.0));
        assert!((0.08..0.25).contains(&late), "{late} s late: {}", line.text);
        let angle = |text: &str, whole: usize| {
            text[..whole].parse::<f64>().unwrap() + text[whole..].parse::<f64>().unwrap() / 60.0
        };
        let at = Place { lat: angle(fields[3], 2), lon: -angle(fields[5], 3) };
        let utc = START + ((line.t_s() - late) * SECOND as f64) as i64;
        for pull in day.truth() {
            // A second after coming alongside she is still beside the buoy.
            if (utc - pull.alongside_utc - SECOND / 2).abs() < SECOND {
                let off = metres(at, pull.pickup);
                assert!(off < 6.0 * day.options().receiver_sd_m, "{off} m off at trap {:?}", pull.trap);
            }
        }
    }
    assert!(fixes as f64 > day.seconds() - 95.0, "{fixes} in {}", day.seconds());
}

#[test]
fn the_truth_agrees_with_what_is_said_and_with_the_register() {
    let day = day(Options { pulls: 40, ..Options::default() });
    assert_eq!(day.traps().len(), 40);
    assert_eq!(day.truth().len(), 41);
    let said: Vec<Line> = day.lines().filter(|l| l.kind == Kind::Said).collect();
    assert_eq!(said.len(), day.truth().iter().map(|p| p.notes).sum::<usize>());
    let traps = day.traps();
    let mut far = 0;
    for (n, pull) in day.truth().iter().enumerate() {
        let (from, to) = (pull.alongside_utc - START, pull.left_utc - START);
        let here = said.iter().filter(|l| (from..to).contains(&l.t_us)).count();
        assert_eq!(here + usize::from(pull.late), pull.notes, "{pull:?}");
        if let Some(next) = day.truth().get(n + 1) {
            assert!(next.alongside_utc - pull.left_utc > 12 * SECOND);
            let late = said.iter().find(|l| (to..next.alongside_utc - START).contains(&l.t_us));
            assert_eq!(late.is_some(), pull.late);
            assert!(late.is_none_or(|l| l.t_us - to < 30 * SECOND));
        }
        let row = traps.iter().find(|row| Some(&row.trap) == pull.trap.as_ref());
        assert_eq!(row.is_some(), pull.registered);
        if let Some(row) = row {
            let off = metres(Place { lat: row.lat, lon: row.lon }, pull.pickup);
            far += usize::from(off >= 15.0);
            assert!(off < 30.0, "{off} m from the register");
            let set_at = Utc::parse(&row.set_at).unwrap();
            assert!((40..60).contains(&((pull.alongside_utc - set_at) / (3_600 * SECOND))), "{}", row.set_at);
        }
    }
    assert!(far <= 1, "only the trap that dragged is far from the register");
    assert_eq!(day.truth().iter().filter(|p| p.notes == 0).count(), 1, "one stop where nothing is said");
    assert!(day.truth().iter().any(|p| p.late) && day.truth().iter().any(|p| !p.weights_g.is_empty()));
}

#[test]
fn a_day_can_be_as_long_and_dense_as_wanted() {
    // The sizes that throughput and memory are measured with.
    for (options, hours, lines) in [
        (Options::forty_traps(), 2.15..2.25, 31_000..33_000),
        (Options::ten_hours(), 9.8..10.2, 1_050_000..1_150_000),
    ] {
        let day = Day::new(options);
        let took = day.seconds() / 3_600.0;
        assert!(hours.contains(&took), "{took} h");
        let count = day.lines().count();
        assert!(lines.contains(&count), "{count} lines");
    }
}

#[test]
fn a_day_played_through_real_devices_arrives_whole_and_on_time() {
    let dir = tempfile::tempdir().unwrap();
    let day = Day::new(Options { pulls: 1, ..Options::default() });
    let mut ports = Ports::new(dir.path()).unwrap();
    let clock: Arc<dyn Clock> = Arc::new(ScaledClock::new(60.0, scenario::START));
    let stop = Stop::new();
    let (to, from) = sync_channel(16_384);
    let start = |name, path: &std::path::Path, kind| {
        let (described, ask) = Default::default();
        let spec = device::Spec { name, path: path.into(), baud: None, kind, described, ask };
        device::spawn(spec, clock.clone(), to.clone(), stop.clone()).unwrap()
    };
    let threads =
        [start("gps", ports.gps(), device::Kind::Gps), start("scale", ports.scale(), device::Kind::Scale)];
    drop(to);
    let zero = clock.now();
    let mut said = Vec::new();
    let unplug = Unplug::midday(&day);
    let played =
        play(&day, &mut ports, Some(unplug), &*clock, &stop, |_, text| said.push(text.to_string())).unwrap();
    assert!(played.ended, "{played:?}");
    std::thread::sleep(std::time::Duration::from_millis(60));
    stop.set();
    for thread in threads {
        assert_eq!(thread.join().unwrap().dropped, 0);
    }

    let words: Vec<String> = day.lines().filter(|l| l.kind == Kind::Said).map(|l| l.text).collect();
    assert_eq!(said, words);
    let events: Vec<Event> = from.iter().collect();
    let states: Vec<&State> = events
        .iter()
        .filter_map(|e| match e {
            Event::Device { name: "scale", state } => Some(state),
            _ => None,
        })
        .collect();
    let open = State::Open { baud: 9_600 };
    assert_eq!(states.first(), Some(&&open));
    assert_eq!(states.last(), Some(&&open));
    assert!(states.iter().any(|s| matches!(s, State::Lost { .. })), "{states:?}");

    let heard = |name| -> Vec<(i64, String)> {
        events
            .iter()
            .filter_map(|e| match e {
                Event::Line { device, t, text, .. } if *device == name => {
                    Some((*t - zero, String::from_utf8(text.clone()).unwrap()))
                }
                _ => None,
            })
            .collect()
    };
    let sent = |kind| -> Vec<Line> { day.lines().filter(|l| l.kind == kind).collect() };
    // Sixty times the speed on a busy machine, a device may be kept from reading for seconds of its time: a few lines
    // may be lost, but none is changed, out of order, or early.
    let (gps, sent_gps) = (heard("gps"), sent(Kind::Gps));
    assert!(20 * gps.len() > 19 * sent_gps.len(), "{} of {}", gps.len(), sent_gps.len());
    let mut rest = sent_gps.iter();
    let mut lags = Vec::new();
    for (t, text) in &gps {
        let line = rest.find(|line| line.text == *text).expect("sent, and in this order");
        assert!(*t >= line.t_us, "never before it was said");
        lags.push(t - line.t_us);
    }
    lags.sort_unstable();
    assert!(lags[lags.len() / 2] < 2 * SECOND, "half within 33 ms of real time: {} us", lags[lags.len() / 2]);

    let cut = |t: i64| (unplug.at_s + 1.0..unplug.at_s + unplug.for_s).contains(&(t as f64 / SECOND as f64));
    let (scale, sent_scale) = (heard("scale"), sent(Kind::Scale));
    assert!(!scale.iter().any(|(t, _)| cut(*t - SECOND)), "nothing while the cable is out");
    assert!(scale.len() + 600 > sent_scale.len(), "{} of {}", scale.len(), sent_scale.len());
    drop(ports);
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 0, "the links are gone");
}

#[test]
fn a_player_nobody_listens_to_goes_on_and_stops_when_told() {
    let dir = tempfile::tempdir().unwrap();
    let day = Day::new(Options { pulls: 1, ..Options::default() });
    let mut ports = Ports::new(dir.path()).unwrap();
    let clock = ScaledClock::new(1_000.0, scenario::START);
    let played = play(&day, &mut ports, None, &clock, &Stop::new(), |_, _| ()).unwrap();
    assert!(played.ended && played.lost > 1_000, "{played:?}");

    let (clock, stop) = (ScaledClock::new(1.0, scenario::START), Stop::new());
    let teller = stop.clone();
    let telling = std::thread::spawn(move || {
        std::thread::sleep(std::time::Duration::from_millis(200));
        teller.set();
    });
    let began = std::time::Instant::now();
    let played = play(&day, &mut ports, None, &clock, &stop, |_, _| ()).unwrap();
    telling.join().unwrap();
    assert!(!played.ended && began.elapsed().as_secs() < 5);
}
