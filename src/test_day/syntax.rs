//! A text that is not TOML: where, and what people mostly did there.

use super::faults::Faults;
use toml_edit::TomlError;

pub(super) fn report(text: &str, error: &TomlError, faults: &Faults) {
    let start = error.span().map_or(0, |span| span.start).min(text.len());
    let line_start = text
        .get(..start)
        .and_then(|before| before.rfind('\n'))
        .map_or(0, |at| at + 1);
    let column = 1 + text
        .get(line_start..start)
        .map_or(0, |before| before.chars().count());
    let line = text
        .get(line_start..)
        .and_then(|rest| rest.lines().next())
        .unwrap_or_default();
    let message = error.message().lines().collect::<Vec<_>>().join("; ");
    faults.add(
        faults.line_of(start),
        &format!("column {column}"),
        format!("this is not TOML: {message}"),
        way_out(line, &message),
    );
}

fn way_out(line: &str, message: &str) -> &'static str {
    let value = line.split_once('=').map_or("", |(_, value)| value.trim());
    let mut letters = value.chars();
    let first = letters.next();
    let decimal_comma = value.split_once(',').is_some_and(|(whole, rest)| {
        !whole.is_empty()
            && whole.trim_start_matches('-').chars().all(|c| c.is_ascii_digit())
            && rest.starts_with(|c: char| c.is_ascii_digit())
    });
    if message.contains("duplicate") {
        "Keep one of the two; tables that may repeat, such as [[setup]], take double brackets."
    } else if decimal_comma {
        "Write numbers with a decimal point: 82.5."
    } else if line.contains(['\u{201C}', '\u{201D}', '\u{201E}', '\u{2019}', '\u{2018}', '«']) {
        "Use straight quotes: \"…\"."
    } else if first.is_some_and(|c| c.is_ascii_digit() || c == '-') && value.contains(char::is_alphabetic) {
        "Write the number alone: its unit stands in the name of the key."
    } else if first.is_some_and(|c| c.is_alphabetic()) {
        "Put text between straight quotes: key = \"text\"."
    } else {
        "A line is key = value, [table] or # remark; text stands between straight quotes."
    }
}
