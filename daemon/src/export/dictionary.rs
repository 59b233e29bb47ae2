//! The data dictionary, `dictionary.md` beside this file: made from the lists of columns, and held to them by a test.

use std::fmt::Write;
use std::path::Path;

use gunwale_protocol::record::Record;

use super::days::Day;
use super::rows::{Fix, Note, Of, Row, Trap, Weighing};

const HEAD: &str = "\
# The tables and their columns

Made from `rows/` by a test (`GUNWALE_BLESS=1 cargo test -p gunwale --lib dictionary` writes it anew): change the columns there.

| type | CSV | JSON Lines, GeoJSON | GPX | Parquet |
|---|---|---|---|---|
| text | as it is, UTF-8 | string | text | STRING |
| whole | digits | number | digits | INT64 |
| number | decimal, no exponent | number | decimal, no exponent | DOUBLE |
| flag | `true`, `false` | true, false | `true`, `false` | BOOLEAN |
| time | RFC 3339, UTC, milliseconds | string | as CSV | TIMESTAMP, UTC, milliseconds |
| day | `YYYY-MM-DD` | string | as CSV | DATE |
| null | an empty field | null | no element | null |

A column without a word under *null when* is never null. `export jsonl` of the pulls is not this table but the whole pull record
(`gunwale-pull/1`), in which a key of the tally that was not stated is left out.
";

/// All tables.
fn dictionary() -> String {
    let mut text = HEAD.to_owned();
    table::<Record>(&mut text);
    table::<Note>(&mut text);
    table::<Weighing>(&mut text);
    table::<Fix>(&mut text);
    table::<Trap>(&mut text);
    table::<Day>(&mut text);
    text
}

fn table<R: Row>(text: &mut String) {
    let _ = write!(text, "\n## {}\n\nA row is {}.", R::TABLE, R::IS);
    if R::PLACED {
        *text += " Parquet adds `geometry`: the point of `lat` and `lon` in WKB, null without them.";
    }
    *text += "\n\n| column | type | unit or words | is | null when |\n|---|---|---|---|---|\n";
    for column in R::columns() {
        let of = match column.of {
            Of::Text(_) => "text",
            Of::Whole(_) => "whole",
            Of::Number(_) => "number",
            Of::Flag(_) => "flag",
            Of::Time(_) => "time",
            Of::Day(_) => "day",
        };
        let _ = writeln!(
            text,
            "| `{}` | {of} | {} | {} | {} |",
            column.name, column.unit, column.meaning, column.null
        );
    }
}

#[test]
fn the_dictionary_is_that_of_the_columns() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/export/dictionary.md");
    let made = dictionary();
    if std::env::var_os("GUNWALE_BLESS").is_some() {
        std::fs::write(&path, &made).unwrap();
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_default();
    for (made, kept) in made.lines().zip(kept.lines()) {
        assert_eq!(made, kept);
    }
    assert_eq!(made.len(), kept.len(), "columns came or went: see dictionary.rs");
}

#[test]
fn every_column_says_what_it_is_and_none_stands_there_twice() {
    fn check<R: Row>() {
        let columns = R::columns();
        for (at, column) in columns.iter().enumerate() {
            let name = column.name;
            assert!(!column.meaning.is_empty(), "{name}");
            assert!(name.bytes().all(|b| b.is_ascii_lowercase() || b == b'_'), "{name} is a name everywhere");
            assert!(columns.iter().skip(at + 1).all(|other| other.name != name), "{name} twice");
            assert!(!(column.meaning.contains('|') || column.unit.contains('|')), "{name} breaks the table");
        }
    }
    check::<Record>();
    check::<Note>();
    check::<Weighing>();
    check::<Fix>();
    check::<Trap>();
    check::<Day>();
}
