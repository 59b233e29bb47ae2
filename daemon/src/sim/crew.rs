//! What the crew says at a trap and lays on the scale, in short plain English, and what it should be counted as.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use super::rng::Rng;

/// Seconds a claw lies on the scale, and until the next one does.
pub const CLAW_S: (f64, f64) = (4.0, 2.5);

/// All that is said and weighed at one stop. Seconds count from alongside.
#[derive(Debug, Clone, Default)]
pub struct Words {
    /// What is said while she lies there: when, and the words.
    pub said: Vec<(f64, String)>,
    /// What is said after leaving: seconds after leaving, and the words.
    pub late: Option<(f64, String)>,
    /// What it should be counted as: tally key and value.
    pub tally: BTreeMap<String, Value>,
    /// The claws weighed one by one, grams.
    pub weights_g: Vec<f64>,
    /// When the first claw is laid on the scale.
    pub weigh_from_s: f64,
}

/// What is said and weighed at a trap that is lifted after `catch_s` and worked for `haul_s` seconds.
pub fn words(
    trap: &str,
    registered: bool,
    (catch_s, haul_s): (f64, f64),
    may_be_late: bool,
    rng: &mut Rng,
) -> Words {
    let mut tally = BTreeMap::new();
    let mut say = |key: &str, value: Value, text: String| {
        tally.insert(key.to_string(), value);
        text
    };
    let crabs = if rng.chance(0.12) { 0 } else { 1 + rng.below(8) as u32 };
    let keepers = rng.of(crabs, 0.55);
    let claws = keepers + rng.of(keepers, 0.3);
    let shorts = rng.of(crabs - keepers, 0.6);
    let berried = u32::from(crabs > keepers + shorts && rng.chance(0.5));

    // Three mouthfuls: the catch, what went back, and the trap itself.
    let mut catch = Vec::new();
    if crabs == 0 {
        catch.push(say("crabs", json!(0), rng.pick(&["empty", "nothing", "no crabs"]).into()));
    } else {
        catch.push(say("crabs", json!(crabs), count(crabs, "crab", "crabs")));
        catch.push(say("keepers", json!(keepers), count(keepers, "keeper", "keepers")));
        if claws > 0 && rng.chance(0.7) {
            catch.push(say("claws", json!(claws), count(claws, "claw", "claws")));
        }
    }
    let mut back = Vec::new();
    if shorts > 0 && rng.chance(0.8) {
        back.push(say("shorts", json!(shorts), count(shorts, "short", "shorts")));
    }
    if berried > 0 {
        back.push(say("berried", json!(berried), "one egg bearing".into()));
    }
    let mut gear = Vec::new();
    match rng.below(10) {
        0..3 => {
            gear.push(say("bait_left", json!(0.0), "bait gone".into()));
            gear.push(say("bait_added", json!(true), "fresh bait".into()));
        }
        3..5 => gear.push(say("bait_left", json!(0.5), "half bait".into())),
        5 => gear.push(say("bait_left", json!(1.0), "full bait".into())),
        6 => gear.push(say("bait_added", json!(true), "fresh bait".into())),
        _ => {}
    }
    if rng.chance(0.08) {
        gear.push(say("tie", json!("broken"), "tie broken".into()));
    }

    let mut said = Vec::new();
    if !registered || rng.chance(0.6) {
        said.push((rng.between(2.0, catch_s), format!("trap {}", number(trap))));
    }
    for (part, parts) in [(catch, (0.45, 0.6)), (back, (0.68, 0.76)), (gear, (0.84, 0.92))] {
        if !part.is_empty() {
            let at = catch_s + rng.between(parts.0, parts.1) * haul_s;
            said.push((at, part.join(rng.pick(&[" ", ", "]))));
        }
    }
    let late = if may_be_late && said.len() > 2 && rng.chance(0.2) { said.pop() } else { None };
    let late = late.map(|(_, text)| (rng.between(4.0, 10.0), text));

    let weighed = if rng.chance(0.6) { claws } else { 0 };
    let weights_g = (0..weighed).map(|_| (135.0 * (0.3 * rng.normal()).exp()).clamp(70.0, 320.0)).collect();
    let weigh_from_s = catch_s + rng.between(20.0, 25.0);
    Words { said, late, tally, weights_g, weigh_from_s }
}

fn count(n: u32, one: &str, many: &str) -> String {
    match n {
        0 => format!("no {many}"),
        1 => format!("one {one}"),
        _ => format!("{} {many}", number(&n.to_string())),
    }
}

/// A number below a hundred as spoken; anything else as it is.
pub fn number(text: &str) -> String {
    const ONES: [&str; 20] = [
        "zero",
        "one",
        "two",
        "three",
        "four",
        "five",
        "six",
        "seven",
        "eight",
        "nine",
        "ten",
        "eleven",
        "twelve",
        "thirteen",
        "fourteen",
        "fifteen",
        "sixteen",
        "seventeen",
        "eighteen",
        "nineteen",
    ];
    const TENS: [&str; 10] =
        ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];
    let Ok(n) = text.parse::<usize>() else { return text.into() };
    match (ONES.get(n), TENS.get(n / 10), ONES.get(n % 10)) {
        (Some(one), ..) => (*one).into(),
        (None, Some(ten), Some(_)) if n.is_multiple_of(10) => (*ten).into(),
        (None, Some(ten), Some(one)) => format!("{ten} {one}"),
        _ => text.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_spoken() {
        for (n, spoken) in [
            ("0", "zero"),
            ("7", "seven"),
            ("19", "nineteen"),
            ("20", "twenty"),
            ("42", "forty two"),
            ("104", "104"),
        ] {
            assert_eq!(number(n), spoken);
        }
    }

    #[test]
    fn what_is_said_is_possible_and_in_time() {
        let mut rng = Rng::new(3, 0);
        let (mut late, mut weighed) = (0, 0);
        for _ in 0..2_000 {
            let (catch_s, haul_s) = (rng.between(5.0, 15.0), rng.between(90.0, 180.0));
            let words = words("7", true, (catch_s, haul_s), true, &mut rng);
            let count = |key| words.tally.get(key).and_then(Value::as_u64).unwrap_or(0);
            assert!(count("keepers") + count("shorts") + count("berried") <= count("crabs"));
            assert!(count("claws") <= 2 * count("keepers"));
            assert!(words.tally.contains_key("crabs"));
            assert!(words.said.is_sorted_by(|a, b| a.0 + 4.0 < b.0), "{:?}", words.said);
            assert!(!words.said.is_empty() && words.said.iter().all(|(t, _)| *t < catch_s + haul_s));
            let over = words.weigh_from_s + (CLAW_S.0 + CLAW_S.1) * words.weights_g.len() as f64;
            assert!(words.weights_g.is_empty() || over < catch_s + haul_s + 40.0);
            late += usize::from(words.late.is_some());
            weighed += usize::from(!words.weights_g.is_empty());
        }
        assert!(late > 50 && weighed > 500, "{late} late, {weighed} weighed");
    }
}
