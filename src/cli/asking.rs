//! Questions at a terminal, and answers as people type them.

use std::io::{BufRead, Write};

pub fn ranged(text: &str, range: std::ops::RangeInclusive<f64>, what: &str) -> Result<f64, String> {
    let number: f64 = text
        .trim()
        .parse()
        .map_err(|_| format!("\"{text}\" is not a number"))?;
    if range.contains(&number) {
        Ok(number)
    } else {
        Err(format!("{what} is {} to {}", range.start(), range.end()))
    }
}

pub fn drag_area(text: &str) -> Result<f64, String> {
    ranged(text, 0.1..=1.0, "a drag area in m²")
}

/// `40km`, `40 km`, `1500m`, `25mi`.
pub fn length_m(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let split = text.find(|c: char| c.is_ascii_alphabetic()).unwrap_or(text.len());
    let (digits, unit) = text.split_at(split);
    let metres = match unit {
        "km" => 1000.0,
        "m" => 1.0,
        "mi" => crate::units::M_PER_MILE,
        "" => return Err("a length takes its unit: 40km, 1500m or 25mi".to_string()),
        other => {
            return Err(format!(
                "\"{other}\" is no unit of length here: write 40km, 1500m or 25mi"
            ));
        }
    };
    let number: f64 = digits
        .trim()
        .parse()
        .map_err(|_| format!("\"{digits}\" is not a number"))?;
    let length_m = number * metres;
    if (100.0..=1_000_000.0).contains(&length_m) {
        Ok(length_m)
    } else {
        Err("a road is 100 m to 1000 km long".to_string())
    }
}

/// `90min`, `1.5 h`, `45s`.
pub fn minutes_s(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let split = text.find(|c: char| c.is_ascii_alphabetic()).unwrap_or(text.len());
    let (digits, unit) = text.split_at(split);
    let seconds = match unit {
        "h" => 3600.0,
        "min" => 60.0,
        "s" => 1.0,
        "" => return Err("a time takes its unit: 90min, 1.5h or 20s".to_string()),
        other => {
            return Err(format!(
                "\"{other}\" is no unit of time here: write 90min, 1.5h or 20s"
            ));
        }
    };
    let number: f64 = digits
        .trim()
        .parse()
        .map_err(|_| format!("\"{digits}\" is not a number"))?;
    let time_s = number * seconds;
    if (0.0..=86_400.0).contains(&time_s) {
        Ok(time_s)
    } else {
        Err("a time here is zero to a day".to_string())
    }
}

pub fn mass_kg(text: &str) -> Result<f64, String> {
    let kg: f64 = text
        .trim()
        .trim_end_matches("kg")
        .trim_end()
        .replace(',', ".")
        .parse()
        .map_err(|_| format!("\"{text}\" is not a mass in kg, such as 82.4"))?;
    if (35.0..=250.0).contains(&kg) {
        Ok(kg)
    } else {
        Err("rider, bike and bottles together have 35 to 250 kg".to_string())
    }
}

pub fn names(text: &str) -> Result<Vec<String>, String> {
    let names: Vec<String> = text
        .split(',')
        .map(|name| name.trim().to_string())
        .filter(|name| !name.is_empty())
        .collect();
    match names.iter().find(|name| *name == "none") {
        Some(_) => Err("\"none\" is kept for blocks that belong to no set-up".to_string()),
        None if names.len() > 26 => Err("26 set-ups at most".to_string()),
        None => Ok(names),
    }
}

/// Asks until the answer can be used; an empty one, or the end of the input, leaves it open.
pub fn answer<T>(
    question: &str,
    input: &mut dyn BufRead,
    output: &mut dyn Write,
    read: impl Fn(&str) -> Result<T, String>,
) -> Option<T> {
    loop {
        write!(output, "{question}").and_then(|()| output.flush()).ok()?;
        let mut text = String::new();
        if input.read_line(&mut text).ok()? == 0 || text.trim().is_empty() {
            return None;
        }
        match read(text.trim()) {
            Ok(value) => return Some(value),
            Err(why) => writeln!(output, "  {why}.").ok()?,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_read_with_their_unit() {
        assert_eq!(length_m("40km"), Ok(40_000.0));
        assert_eq!(length_m(" 1500 m "), Ok(1500.0));
        assert_eq!(length_m("25mi"), Ok(40_233.6));
        for wrong in ["40", "40 leagues", "km", "1km2", "-4km", "5m"] {
            assert!(length_m(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn times_are_read_with_their_unit() {
        assert_eq!(minutes_s("90min"), Ok(5400.0));
        assert_eq!(minutes_s(" 1.5 h"), Ok(5400.0));
        assert_eq!(minutes_s("20s"), Ok(20.0));
        for wrong in ["90", "h", "2 weeks", "-1h", "30h"] {
            assert!(minutes_s(wrong).is_err(), "{wrong}");
        }
    }
}
