//! The section `[rules]`: the keys of the fishery's rules, each checked.

use gunwale_protocol::rules::{MonthDay, Rules, Window};
use serde::{Deserialize, Deserializer};

/// The fishery's rules as they are typed: what is misspelt or cannot be is an error here, as everywhere in the settings.
#[derive(Deserialize)]
#[serde(remote = "Rules", deny_unknown_fields, default = "Rules::default")]
pub(super) struct Keys {
    #[serde(deserialize_with = "season")]
    season: Vec<Window>,
    set_days_before: u8,
    out_days_after: u8,
    daylight_only: bool,
    #[serde(deserialize_with = "minutes")]
    daylight_allowance_min: u16,
    #[serde(deserialize_with = "amount")]
    smallest_claw_mm: Option<f64>,
    #[serde(deserialize_with = "number")]
    people: Option<u16>,
    #[serde(deserialize_with = "amount")]
    claw_g_per_person: Option<f64>,
    #[serde(deserialize_with = "amount")]
    claw_g_per_boat: Option<f64>,
    #[serde(deserialize_with = "amount")]
    claw_l_per_person: Option<f64>,
    #[serde(deserialize_with = "amount")]
    claw_l_per_boat: Option<f64>,
    #[serde(deserialize_with = "amount")]
    claw_g_per_l: Option<f64>,
    #[serde(deserialize_with = "number")]
    traps_per_person: Option<u16>,
}

fn season<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<Window>, D::Error> {
    /// A window with no other keys than its own.
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Typed {
        from: MonthDay,
        to: MonthDay,
    }
    let windows = Vec::<Typed>::deserialize(from)?;
    Ok(windows.into_iter().map(|typed| Window { from: typed.from, to: typed.to }).collect())
}

fn minutes<'de, D: Deserializer<'de>>(from: D) -> Result<u16, D::Error> {
    let half_a_day = 12 * 60;
    let minutes = u16::deserialize(from)?;
    let problem = || format!("{minutes} minutes are no allowance: give a number from 0 to {half_a_day}");
    if minutes <= half_a_day { Ok(minutes) } else { Err(serde::de::Error::custom(problem())) }
}

fn amount<'de, D: Deserializer<'de>>(from: D) -> Result<Option<f64>, D::Error> {
    let amount = f64::deserialize(from)?;
    let problem = || format!("{amount} is no amount: give a number above 0, or leave the key out");
    let good = amount.is_finite() && amount > 0.0;
    if good { Ok(Some(amount)) } else { Err(serde::de::Error::custom(problem())) }
}

fn number<'de, D: Deserializer<'de>>(from: D) -> Result<Option<u16>, D::Error> {
    let number = u16::deserialize(from)?;
    let problem = "give a whole number from 1, or leave the key out";
    if number > 0 { Ok(Some(number)) } else { Err(serde::de::Error::custom(problem)) }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use crate::settings::Settings;
    use crate::settings::tests::problem;

    #[test]
    fn rules_are_taken_whole_or_their_line_is_named() {
        let text = "[rules]\nseason = [{ from = \"10-15\", to = \"05-01\" }]\ndaylight_only = true\n\
                    claw_l_per_person = 3.785\npeople = 2\n";
        let rules = Settings::parse(text, Path::new("gunwale.toml")).unwrap().rules;
        let expected = r#"{"season":[{"from":"10-15","to":"05-01"}],"daylight_only":true,"people":2,"claw_l_per_person":3.785}"#;
        assert_eq!(serde_json::to_string(&rules).unwrap(), expected);
        for (line, problem_said) in [
            (
                "season = [{ from = \"10/15\", to = \"05-01\" }]",
                "\"10/15\" is no day of a year: give month and day, such as \"10-15\"",
            ),
            ("season = [{ from = \"10-15\" }]", "missing field `to`"),
            (
                "season = [{ from = \"10-15\", to = \"05-01\", till = 1 }]",
                "unknown field `till`, expected `from` or `to`",
            ),
            ("people = 0", "give a whole number from 1, or leave the key out"),
            ("claw_g_per_boat = 0", "0 is no amount: give a number above 0, or leave the key out"),
            ("claw_g_per_boat = nan", "NaN is no amount: give a number above 0, or leave the key out"),
            ("daylight_allowance_min = 721", "721 minutes are no allowance: give a number from 0 to 720"),
            ("set_days_before = -1", "invalid value: integer `-1`, expected a whole number from 0 to 255"),
        ] {
            let expected =
                format!("settings gunwale.toml line 3: {problem_said}: mend that line or leave it out");
            assert_eq!(problem(&format!("[rules]\nout_days_after = 5\n{line}\n")), expected);
        }
        let unknown = problem("[rules]\nbag = 1\n");
        assert!(
            unknown
                .starts_with("settings gunwale.toml line 2: unknown field `bag`, expected one of `season`, "),
            "{unknown}"
        );
    }
}
