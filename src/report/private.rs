//! An answer without what tells where, when and by whom it was ridden.

use crate::study::{Compared, FileDigest};
use std::path::PathBuf;

/// Set-ups keep their names. Sentences lose positions, dates, times of day, masses and names of files; what the rider
/// wrote as a title goes, since nobody knows what it tells.
pub fn without_private(compared: &Compared, files: &[FileDigest]) -> Compared {
    let names = Names::of(compared, files);
    let mut open = compared.clone();
    let surveyed = &mut open.surveyed;
    surveyed.test_day.title = None;
    for setup in &mut surveyed.test_day.setups {
        names.take_from(&mut setup.name);
    }
    for fault in &mut surveyed.faults {
        if let Some(file) = &fault.file {
            let name = file
                .file_name()
                .map_or_else(String::new, |n| n.to_string_lossy().into());
            fault.file = Some(PathBuf::from(names.taken(&name)));
        }
        for text in fault
            .place
            .iter_mut()
            .chain([&mut fault.what, &mut fault.next_step])
        {
            names.take_from(text);
        }
    }
    for near in &mut surveyed.ridden.near_passes {
        names.take_from(&mut near.reason);
    }
    for result in &mut open.passes {
        result.flags.iter_mut().for_each(|flag| names.take_from(flag));
    }
    for setup in &mut open.setups {
        names.take_from(&mut setup.name);
    }
    for warning in &mut open.warnings {
        names.take_from(&mut warning.message);
        names.take_from(&mut warning.next_step);
    }
    open.assumptions.iter_mut().for_each(|text| names.take_from(text));
    names.take_from(&mut open.fit.sentence);
    open
}

/// Files under numbers.
pub fn numbered(files: &[FileDigest]) -> Vec<FileDigest> {
    files
        .iter()
        .enumerate()
        .map(|(index, file)| FileDigest {
            name: alias(index, &file.name),
            ..file.clone()
        })
        .collect()
}

fn alias(index: usize, name: &str) -> String {
    match name {
        "test.toml" => name.to_string(),
        _ => format!("recording {}", index + 1),
    }
}

/// What is to be replaced by name, the longest first.
struct Names(Vec<(String, String)>);

impl Names {
    fn of(compared: &Compared, files: &[FileDigest]) -> Names {
        let surveyed = &compared.surveyed;
        let mut names: Vec<(String, String)> = Vec::new();
        for (index, file) in files.iter().enumerate().filter(|(_, f)| f.name != "test.toml") {
            let alias = alias(index, &file.name);
            names.push((file.name.clone(), alias.clone()));
            // A sentence may name a recording without what follows the dot.
            let stem = file.name.split('.').next().unwrap_or_default();
            if stem.chars().count() > 3 && stem.chars().any(|c| c.is_ascii_digit()) {
                names.push((stem.to_string(), alias));
            }
        }
        for stream in &surveyed.streams {
            names.push((stream.name(), "a recording".into()));
            for unit in stream.joined.iter().filter_map(|unit| unit.file.file_name()) {
                names.push((unit.to_string_lossy().into_owned(), "a recording".into()));
            }
        }
        names.push((surveyed.folder.display().to_string(), "the folder".into()));
        names.extend(
            surveyed
                .test_day
                .air
                .iter()
                .filter_map(|air| Some((air.metar.clone()?, "the weather report".into()))),
        );
        names.retain(|(name, _)| name.chars().count() > 2);
        names.sort_by_key(|(name, _)| std::cmp::Reverse(name.len()));
        Names(names)
    }

    fn take_from(&self, text: &mut String) {
        *text = self.taken(text);
    }

    fn taken(&self, text: &str) -> String {
        let mut text = text.to_string();
        for (name, instead) in &self.0 {
            text = text.replace(name.as_str(), instead);
        }
        without_figures(&text)
    }
}

/// A sentence without positions, dates, times of day and masses.
fn without_figures(text: &str) -> String {
    let letters: Vec<char> = text.chars().collect();
    let mut out = String::new();
    let mut at = 0;
    while at < letters.len() {
        let begins = at == 0 || !letters[at - 1].is_alphanumeric();
        let found = [position, stamp, mass]
            .iter()
            .filter(|_| begins)
            .find_map(|rule| rule(&letters[at..]));
        match found {
            Some((length, instead)) => {
                out.push_str(instead);
                at += length;
            }
            None => {
                out.push(letters[at]);
                at += 1;
            }
        }
    }
    out
}

/// How many characters belong to it, and what stands in their place.
type Found = Option<(usize, &'static str)>;

/// As many characters as fit a pattern, in which `#` is a digit.
fn matched(letters: &[char], pattern: &str) -> Option<usize> {
    let wanted: Vec<char> = pattern.chars().collect();
    let fits = letters.len() >= wanted.len()
        && letters.iter().zip(&wanted).all(|(letter, wanted)| match wanted {
            '#' => letter.is_ascii_digit(),
            _ => letter == wanted,
        });
    fits.then_some(wanted.len())
}

fn digits(letters: &[char]) -> usize {
    letters
        .iter()
        .take_while(|letter| letter.is_ascii_digit())
        .count()
}

/// A number with sign and decimals, and how many of these.
fn decimal(letters: &[char]) -> Option<(usize, usize)> {
    let sign = usize::from(matches!(letters.first(), Some('-' | '−' | '+')));
    let whole = digits(&letters[sign..]);
    let mut length = sign + whole;
    let mut decimals = 0;
    if letters.get(length) == Some(&'.') {
        decimals = digits(&letters[length + 1..]);
        length += if decimals > 0 { 1 + decimals } else { 0 };
    }
    (whole > 0).then_some((length, decimals))
}

/// Latitude and longitude, in brackets or bare: two numbers of many decimals.
fn position(letters: &[char]) -> Found {
    let open = usize::from(letters.first() == Some(&'['));
    let (first, decimals) = decimal(&letters[open..])?;
    let between = matched(&letters[open + first..], ", ")?;
    let second_at = open + first + between;
    let (second, more) = decimal(&letters[second_at..])?;
    let close = usize::from(open == 1 && letters.get(second_at + second) == Some(&']'));
    (close == 1 || (decimals > 2 && more > 2)).then_some((second_at + second + close, "[a place]"))
}

/// A date, a time of day or both.
fn stamp(letters: &[char]) -> Found {
    let day = matched(letters, "####-##-##").unwrap_or(0);
    let mut length = day;
    if day > 0 && matches!(letters.get(day), Some('T' | ' ')) && clock(&letters[day + 1..]).is_some() {
        length += 1;
    }
    if day == 0 || length > day {
        match clock(&letters[length..]) {
            Some(clock) => length += clock,
            None if day == 0 => return None,
            None => {}
        }
    }
    if letters.get(length) == Some(&'Z') {
        length += 1;
    } else if length > day {
        length += ["+##:##", "-##:##", " UTC"]
            .iter()
            .find_map(|zone| matched(&letters[length..], zone))
            .unwrap_or(0);
    }
    Some((length, "[a time]"))
}

fn clock(letters: &[char]) -> Option<usize> {
    let mut length = matched(letters, "##:##")?;
    if let Some(seconds) = matched(&letters[length..], ":##") {
        length += seconds;
        if letters.get(length) == Some(&'.') {
            let decimals = digits(&letters[length + 1..]);
            length += if decimals > 0 { 1 + decimals } else { 0 };
        }
    }
    Some(length)
}

/// `82.0 kg` or `82.0 ± 0.3 kg`, but neither an inertia nor a loss in an hour.
fn mass(letters: &[char]) -> Found {
    let (mut length, _) = decimal(letters)?;
    if let Some(between) = matched(&letters[length..], " ± ") {
        length += between + decimal(&letters[length + between..])?.0;
    }
    length += matched(&letters[length..], " kg").or_else(|| matched(&letters[length..], "kg"))?;
    let rest = &letters[length..];
    let other = matched(rest, " m²").or_else(|| matched(rest, "/")).is_some();
    let goes_on = rest.first().is_some_and(|letter| letter.is_alphanumeric());
    (!other && !goes_on).then_some((length, "[a mass]"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sentences_lose_where_when_and_how_heavy() {
        for (text, open) in [
            (
                "Total mass 85.0 ± 2.0 kg, a default.",
                "Total mass [a mass], a default.",
            ),
            (
                "0.14 kg m² and 0.4 kg/h and 1.187 kg/m³",
                "0.14 kg m² and 0.4 kg/h and 1.187 kg/m³",
            ),
            ("pass 3 at 08:14:22; it", "pass 3 at [a time]; it"),
            (
                "from 2026-05-02T08:14:22.5Z to 08:20 UTC.",
                "from [a time] to [a time].",
            ),
            ("2026-05-02, 2026-05-02 08:00:00+02:00", "[a time], [a time]"),
            ("at [-43.90000, 170.50000].", "at [a place]."),
            ("near -43.9012, 170.5012 there", "near [a place] there"),
            (
                "yaw 3.2, 4.1 and 2.5 %, -0.2 ± 1.4 s",
                "yaw 3.2, 4.1 and 2.5 %, -0.2 ± 1.4 s",
            ),
            (
                "(smallest_difference_percent) ± 1 hPa",
                "(smallest_difference_percent) ± 1 hPa",
            ),
        ] {
            assert_eq!(without_figures(text), open);
        }
    }
}
