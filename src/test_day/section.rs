//! One table of `test.toml`, read key by key; what is wrong goes to the faults, and reading goes on.

use super::faults::Faults;
use super::keys;
use super::moment::unix_seconds;
use super::quantity::{Quantity, plain};
use toml_edit::{Item, TableLike, Value};

#[derive(Clone, Copy)]
pub(super) struct Section<'a> {
    /// Name of the table, empty for the top of the file.
    name: &'static str,
    table: &'a dyn TableLike,
    /// Line where the table begins.
    pub line: usize,
    pub faults: &'a Faults<'a>,
}

/// A quantity as typed: either part may be missing.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Typed {
    pub value: Option<f64>,
    pub uncertainty: Option<f64>,
}

impl<'a> Section<'a> {
    pub fn top(table: &'a dyn TableLike, faults: &'a Faults<'a>) -> Self {
        let top = Section {
            name: "",
            table,
            line: 1,
            faults,
        };
        top.check_keys(keys::TOP);
        top
    }

    /// The table `[name]` inside this one.
    pub fn one(&self, name: &'static str, known: &[&str]) -> Option<Section<'a>> {
        let item = self.table.get(name)?;
        let Some(table) = item.as_table_like() else {
            let what = format!("{} where the table [{name}] is expected", kind(item));
            self.fault(
                name,
                what,
                format!("Write [{name}] on a line of its own, once, and its keys below it."),
            );
            return None;
        };
        let section = Section {
            name,
            table,
            line: self.line_of(name),
            faults: self.faults,
        };
        section.check_keys(known);
        Some(section)
    }

    /// The tables `[[name]]` inside this one, in the order written.
    pub fn many(&self, name: &'static str, known: &[&str]) -> Vec<Section<'a>> {
        let Some(item) = self.table.get(name) else {
            return Vec::new();
        };
        let tables: Vec<(&'a dyn TableLike, Option<usize>)> = match item {
            Item::ArrayOfTables(tables) => tables
                .iter()
                .map(|table| (table as &dyn TableLike, table.span().map(|span| span.start)))
                .collect(),
            Item::Value(Value::Array(array)) if array.iter().all(Value::is_inline_table) => array
                .iter()
                .filter_map(|value| value.as_inline_table())
                .map(|table| (table as &dyn TableLike, table.span().map(|span| span.start)))
                .collect(),
            _ => {
                let what = format!("{} where tables [[{name}]] are expected", kind(item));
                self.fault(
                    name,
                    what,
                    format!("Write [[{name}]], in double brackets, above each of them."),
                );
                return Vec::new();
            }
        };
        let sections: Vec<Section<'a>> = tables
            .into_iter()
            .map(|(table, start)| {
                let line = start.map_or(self.line, |start| self.faults.line_of(start));
                Section {
                    name,
                    table,
                    line,
                    faults: self.faults,
                }
            })
            .collect();
        for section in &sections {
            section.check_keys(known);
        }
        sections
    }

    fn check_keys(&self, known: &[&str]) {
        for (key, _) in self.table.iter() {
            if !known.contains(&key) {
                let what = match self.name {
                    "" => "an unknown name".to_string(),
                    name => format!("[{name}] has no key of this name"),
                };
                self.fault(key, what, keys::way_out(key, known));
            }
        }
    }

    pub fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    fn line_of(&self, key: &str) -> usize {
        let found = self.table.get_key_value(key);
        let span = found.and_then(|(key, item)| key.span().or_else(|| item.span()));
        span.map_or(self.line, |span| self.faults.line_of(span.start))
    }

    /// A fault at a key; at the table's own line where the key is absent.
    pub fn fault(&self, key: &str, what: impl Into<String>, next_step: impl Into<String>) {
        let path = match (self.name, key) {
            ("", key) => key.to_string(),
            (name, "") => name.to_string(),
            (name, key) => format!("{name}.{key}"),
        };
        self.faults.add(self.line_of(key), &path, what, next_step);
    }

    pub fn value(&self, key: &str, expected: &str, example: &str) -> Option<&'a Value> {
        let item = self.table.get(key)?;
        if item.as_value().is_none() {
            self.wrong_type(key, item, expected, example);
        }
        item.as_value()
    }

    pub fn wrong_type(&self, key: &str, item: &Item, expected: &str, example: &str) {
        let what = format!("{} where {expected} is expected", kind(item));
        self.fault(key, what, format!("Write {example}."));
    }

    pub fn number(&self, key: &str) -> Option<f64> {
        let value = self.value(key, "a number", &format!("{key} = and a number"))?;
        let number = match value {
            Value::Float(number) => *number.value(),
            Value::Integer(number) => *number.value() as f64,
            other => {
                let digits = other.as_str().map(|text| text.trim().replace(',', "."));
                let example = match digits.and_then(|digits| digits.parse::<f64>().ok()) {
                    Some(number) => format!("{key} = {}, without quotes", plain(number)),
                    None => format!("{key} = and a number"),
                };
                self.wrong_type(key, &Item::Value(other.clone()), "a number", &example);
                return None;
            }
        };
        if !number.is_finite() {
            self.fault(
                key,
                format!("{number} is not a finite number"),
                "Write an ordinary number, or remove the line.",
            );
            return None;
        }
        Some(number)
    }

    /// A number within a range, both ends included.
    pub fn number_within(&self, key: &str, low: f64, high: f64, advice: &str) -> Option<f64> {
        let number = self.number(key)?;
        if (low..=high).contains(&number) {
            return Some(number);
        }
        self.fault(
            key,
            format!("{} is outside {low} to {high}", plain(number)),
            advice,
        );
        None
    }

    pub fn quantity(&self, quantity: &Quantity) -> Typed {
        let value = self.number(quantity.key).filter(|value| {
            let fault = quantity.fault_of_value(*value);
            self.keep_unless(quantity.key, fault)
        });
        let uncertainty = self.number(quantity.uncertainty_key).filter(|value| {
            let fault = quantity.fault_of_uncertainty(*value);
            self.keep_unless(quantity.uncertainty_key, fault)
        });
        Typed { value, uncertainty }
    }

    fn keep_unless(&self, key: &str, fault: Option<(String, String)>) -> bool {
        match fault {
            Some((what, next_step)) => {
                self.fault(key, what, next_step);
                false
            }
            None => true,
        }
    }

    /// A number without a word about faults: for checks that follow the reading of it.
    pub fn number_quietly(&self, key: &str) -> Option<f64> {
        self.table.get(key)?.as_value().and_then(as_number)
    }

    /// A whole number from 1.
    pub fn count(&self, key: &str) -> Option<usize> {
        let number = self.number(key)?;
        if (1.0..=1e6).contains(&number) && number.fract() == 0.0 {
            return Some(number as usize);
        }
        self.fault(
            key,
            format!("{} is not a count", plain(number)),
            "Write a whole number, 1 or more.",
        );
        None
    }

    pub fn yes_or_no(&self, key: &str) -> Option<bool> {
        let value = self.value(key, "true or false", &format!("{key} = true"))?;
        let answer = value.as_bool();
        if answer.is_none() {
            self.wrong_type(
                key,
                &Item::Value(value.clone()),
                "true or false",
                &format!("{key} = true"),
            );
        }
        answer
    }

    pub fn text(&self, key: &str) -> Option<String> {
        let value = self.value(key, "text", &format!("{key} = \"…\", the text in quotes"))?;
        let Some(text) = value.as_str() else {
            self.wrong_type(
                key,
                &Item::Value(value.clone()),
                "text",
                &format!("{key} = \"…\", the text in quotes"),
            );
            return None;
        };
        if text.trim().is_empty() {
            self.fault(
                key,
                "the text is empty",
                "Write something between the quotes, or remove the line.",
            );
            return None;
        }
        if let Some(control) = text.chars().find(|c| c.is_control()) {
            let what = format!(
                "the text holds a control character (U+{:04X})",
                u32::from(control)
            );
            self.fault(
                key,
                what,
                "Keep to letters, digits, signs and spaces on one line.",
            );
            return None;
        }
        Some(text.to_string())
    }

    /// Text that may run over several lines; all white space becomes single spaces.
    pub fn long_text(&self, key: &str) -> Option<String> {
        let text = self.table.get(key)?.as_str();
        match text {
            Some(text) if !text.trim().is_empty() => {
                let joined = text.split_whitespace().collect::<Vec<_>>().join(" ");
                if joined.chars().any(char::is_control) {
                    return self.text(key);
                }
                Some(joined)
            }
            _ => self.text(key),
        }
    }

    /// One or several texts: `"crr"` or `["cda", "crr"]`.
    pub fn texts(&self, key: &str) -> Option<Vec<String>> {
        let example = format!("{key} = [\"…\"], each text in quotes");
        let value = self.value(key, "a list of texts", &example)?;
        let texts: Option<Vec<String>> = match value {
            Value::String(text) => Some(vec![text.value().clone()]),
            Value::Array(array) => array
                .iter()
                .map(|value| value.as_str().map(str::to_string))
                .collect(),
            _ => None,
        };
        if texts.is_none() {
            self.wrong_type(key, &Item::Value(value.clone()), "a list of texts", &example);
        }
        texts
    }

    /// Unix seconds.
    pub fn time(&self, key: &str) -> Option<f64> {
        let example = format!("{key} = 2026-05-02T08:10:00Z");
        let value = self.value(key, "a time", &example)?;
        let text = match value {
            Value::Datetime(stamp) => stamp.value().to_string(),
            Value::String(text) => text.value().clone(),
            other => {
                self.wrong_type(key, &Item::Value(other.clone()), "a time", &example);
                return None;
            }
        };
        match unix_seconds(&text) {
            Ok(time_s) => Some(time_s),
            Err((what, next_step)) => {
                self.fault(key, what, next_step);
                None
            }
        }
    }

    /// Latitude and longitude in degrees.
    pub fn position(&self, key: &str) -> Option<[f64; 2]> {
        let example = format!("{key} = [latitude, longitude] in degrees, such as [-43.90, 170.50]");
        let value = self.value(key, "a position", &example)?;
        let numbers: Option<Vec<f64>> = value
            .as_array()
            .and_then(|array| array.iter().map(as_number).collect());
        let Some([latitude, longitude]) = numbers
            .as_deref()
            .and_then(|numbers| numbers.first_chunk::<2>().copied().filter(|_| numbers.len() == 2))
        else {
            let what = format!(
                "{} where a latitude and a longitude are expected",
                kind(&Item::Value(value.clone()))
            );
            // [-43,9, 170,5] is a list of four.
            let commas = value
                .as_array()
                .is_some_and(|array| array.len() == 3 || array.len() == 4);
            let hint = if commas { " Decimals take a point." } else { "" };
            self.fault(key, what, format!("Write {example}.{hint}"));
            return None;
        };
        let swapped = latitude.abs() > 90.0 && latitude.abs() <= 180.0 && longitude.abs() <= 90.0;
        if swapped {
            let what = format!("latitude {latitude} is outside -90 to 90");
            let next_step =
                format!("Latitude comes first; these look swapped: write {key} = [{longitude}, {latitude}].");
            self.fault(key, what, next_step);
            return None;
        }
        if !(latitude.abs() <= 90.0 && longitude.abs() <= 180.0) {
            let what = format!(
                "[{latitude}, {longitude}] is not on Earth (latitude -90 to 90, longitude -180 to 180)"
            );
            self.fault(key, what, format!("Write {example}."));
            return None;
        }
        Some([latitude, longitude])
    }
}

fn as_number(value: &Value) -> Option<f64> {
    let number = value
        .as_float()
        .or_else(|| value.as_integer().map(|whole| whole as f64));
    number.filter(|number| number.is_finite())
}

/// What stands there, for a message.
fn kind(item: &Item) -> String {
    match item {
        Item::Value(Value::String(text)) => format!("the text \"{}\"", text.value().escape_debug()),
        Item::Value(Value::Integer(number)) => format!("the number {}", number.value()),
        Item::Value(Value::Float(number)) => format!("the number {}", number.value()),
        Item::Value(Value::Boolean(value)) => format!("{}", value.value()),
        Item::Value(Value::Datetime(stamp)) => format!("the time {}", stamp.value()),
        Item::Value(Value::Array(array)) => match array.len() {
            0 => "an empty list".to_string(),
            1 => "a list of one".to_string(),
            length => format!("a list of {length}"),
        },
        Item::Value(Value::InlineTable(_)) | Item::Table(_) => "a table".to_string(),
        Item::ArrayOfTables(_) => "a list of tables".to_string(),
        Item::None => "nothing".to_string(),
    }
}
