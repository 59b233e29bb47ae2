//! Names of boats, days and traps as names of files.

use std::fmt::Write;

/// What stands for no value at all; query engines read it as null.
pub const NULL: &str = "__HIVE_DEFAULT_PARTITION__";

/// A name as part of a file's: percent-encoded (RFC 3986) but for unreserved characters, and those beyond ASCII, which
/// engines that read folders as columns do not all decode.
pub fn encoded(name: &str) -> String {
    let mut safe = String::with_capacity(name.len());
    for c in name.chars() {
        match c {
            'A'..='Z' | 'a'..='z' | '0'..='9' | '-' | '.' | '_' | '~' => safe.push(c),
            c if !c.is_ascii() => safe.push(c),
            // Writing to a String cannot fail.
            c => drop(write!(safe, "%{:02X}", u32::from(c))),
        }
    }
    safe
}

/// A name as the value of a folder `key=value`. One that engines would take for null is given another form of itself.
pub fn value(name: Option<&str>) -> String {
    let Some(name) = name.filter(|name| !name.is_empty()) else { return NULL.to_owned() };
    match (encoded(name), name.chars().next()) {
        (safe, Some(first)) if safe == NULL || safe.eq_ignore_ascii_case("null") => {
            format!("%{:02X}{}", u32::from(first), safe.get(1..).unwrap_or_default())
        }
        (safe, _) => safe,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_become_parts_of_paths_and_stay_themselves() {
        for (name, expected) in [
            (Some("Second Helping"), "Second%20Helping"),
            (Some("2027-02-09"), "2027-02-09"),
            (Some("../a/b=c%20\\:*?\"<>|"), "..%2Fa%2Fb%3Dc%2520%5C%3A%2A%3F%22%3C%3E%7C"),
            (Some("tab\tline\n"), "tab%09line%0A"),
            (Some("Näh 🦀 سلطعون"), "Näh%20🦀%20سلطعون"),
            (Some("null"), "%6Eull"),
            (Some("NULL"), "%4EULL"),
            (Some("nullify"), "nullify"),
            (Some("__HIVE_DEFAULT_PARTITION__"), "%5F_HIVE_DEFAULT_PARTITION__"),
            (Some(""), NULL),
            (None, NULL),
        ] {
            assert_eq!(value(name), expected, "{name:?}");
        }
    }
}
