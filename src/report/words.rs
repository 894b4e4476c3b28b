//! Numbers and sentences as people read them.

/// With a sign, a real minus, and no sign on what rounds to nothing: `−4.6`, `+1.2`, `0.0`.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{:.decimals$}", value.abs());
    let nothing = !text.contains(|c: char| ('1'..='9').contains(&c));
    match (nothing, value < 0.0) {
        (true, _) => text,
        (false, true) => format!("−{text}"),
        (false, false) => format!("+{text}"),
    }
}

/// Both ends with a sign: `−9.2 to −4.6`.
pub fn signed_range([low, high]: [f64; 2], decimals: usize) -> String {
    format!("{} to {}", signed(low, decimals), signed(high, decimals))
}

/// The sizes of both ends, the smaller first: `4.6 to 9.2`. For an interval on one side of zero.
pub fn size_range([low, high]: [f64; 2], decimals: usize) -> String {
    let (near, far) = (low.abs().min(high.abs()), low.abs().max(high.abs()));
    format!("{near:.decimals$} to {far:.decimals$}")
}

/// The minus of a number as `signed` writes it. What stands in brackets is left as `test.toml` takes it.
pub fn real_minus(text: &str) -> String {
    let mut inside = 0usize;
    let mut before = ' ';
    let mut letters = text.chars().peekable();
    let mut out = String::new();
    while let Some(letter) = letters.next() {
        match letter {
            '[' => inside += 1,
            ']' => inside = inside.saturating_sub(1),
            _ => {}
        }
        let number = letters.peek().is_some_and(char::is_ascii_digit);
        let minus = letter == '-' && number && inside == 0 && (before == ' ' || before == '(');
        out.push(if minus { '−' } else { letter });
        before = letter;
    }
    out
}

/// A number of things, with an s where it is not one.
pub fn count(number: usize, noun: &str) -> String {
    match number {
        1 => format!("1 {noun}"),
        _ if noun.ends_with("ss") => format!("{number} {noun}es"),
        _ => format!("{number} {noun}s"),
    }
}

/// A remark as a sentence: its first word begins with a capital, unless it is a name or a number.
pub fn sentence(text: &str) -> String {
    let first = text.split_whitespace().next().unwrap_or_default();
    let mut letters = text.chars();
    match letters.next() {
        Some(letter) if first.chars().all(|c| c.is_ascii_lowercase() || c == '-') => {
            letter.to_uppercase().chain(letters).collect()
        }
        _ => text.to_string(),
    }
}

/// One item of a list; its further lines stand below its first word.
pub fn listed(text: &str, width: usize) -> String {
    marked("- ", text, width)
}

/// As `listed`, with another mark.
pub fn marked(mark: &str, text: &str, width: usize) -> String {
    let indent = mark.chars().count();
    let body = wrapped(text, width.saturating_sub(indent));
    format!(
        "{mark}{}",
        body.replace('\n', &format!("\n{}", " ".repeat(indent)))
    )
}

/// Broken into lines of at most `width` characters, where no single word is longer than that. A number
/// stays with its unit and its uncertainty, a latitude with its longitude.
pub fn wrapped(text: &str, width: usize) -> String {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in units_kept(text) {
        if !line.is_empty() && line.chars().count() + 1 + word.chars().count() > width {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(&word);
    }
    lines.push(line);
    lines.join("\n")
}

const UNITS: [&str; 14] = [
    "%", "m", "m²", "s", "W", "km", "m/s", "km/h", "kg", "kg/m³", "hPa", "°C", "K", "UTC",
];

/// The words of a text, a number and what belongs to it being one.
fn units_kept(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let bare = word.trim_matches(|c: char| "().,;:".contains(c));
        match words.last_mut() {
            Some(last)
                if word == "±"
                    || (last.starts_with('[') && !last.contains(']'))
                    || last.ends_with('±')
                    || (UNITS.contains(&bare) && last.ends_with(|c: char| c.is_ascii_digit())) =>
            {
                last.push(' ');
                last.push_str(word);
            }
            _ => words.push(word.to_string()),
        }
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signs_are_real_and_nothing_has_none() {
        assert_eq!(signed(-4.56, 1), "−4.6");
        assert_eq!(signed(4.56, 1), "+4.6");
        assert_eq!(signed(-0.04, 1), "0.0");
        assert_eq!(signed_range([-9.2, 0.3], 1), "−9.2 to +0.3");
        assert_eq!(size_range([-9.2, -4.6], 1), "4.6 to 9.2");
        assert_eq!(signed(f64::NAN, 1), "NaN");
    }

    #[test]
    fn a_minus_is_told_from_a_hyphen_and_from_a_position() {
        assert_eq!(real_minus("is -1.4 % off (-2)"), "is −1.4 % off (−2)");
        let kept = "ride-12.fit of 2016-08-20 at [-38.2, -25.4]";
        assert_eq!(real_minus(kept), kept);
    }

    #[test]
    fn things_are_counted_in_english() {
        let said = [
            count(1, "pass"),
            count(2, "pass"),
            count(0, "block"),
            count(1, "block"),
        ];
        assert_eq!(said, ["1 pass", "2 passes", "0 blocks", "1 block"]);
    }

    #[test]
    fn sentences_begin_with_a_capital_and_names_stay_as_they_are() {
        assert_eq!(sentence("all passes are"), "All passes are");
        assert_eq!(sentence("out-and-back is"), "Out-and-back is");
        assert_eq!(sentence("ride.fit: it is"), "ride.fit: it is");
        assert_eq!(sentence("[[exclude]] names"), "[[exclude]] names");
        assert_eq!(sentence(""), "");
    }

    #[test]
    fn lines_are_as_long_as_they_may_be_and_keep_numbers_whole() {
        assert_eq!(wrapped("one two three", 7), "one two\nthree");
        assert_eq!(wrapped("it is 14 W ± 3 W, so", 11), "it is\n14 W ± 3 W,\nso");
        assert_eq!(wrapped("between 9.2 %, and", 12), "between\n9.2 %, and");
        assert_eq!(wrapped("unbreakable", 4), "unbreakable");
        assert_eq!(wrapped("at [-38.2, -25.4] it", 14), "at\n[-38.2, -25.4]\nit");
        assert_eq!(wrapped("", 4), "");
        assert_eq!(listed("one two three", 9), "- one two\n  three");
    }
}
