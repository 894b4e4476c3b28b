//! `test.toml` of a rehearsed day: what was typed, with the air and the gates of the day.

use super::Rehearsed;
use crate::error::{Fault, Result};
use crate::simulate::TrueDay;
use toml_edit::{DocumentMut, Item};

impl Rehearsed {
    /// Both the analysis in memory and `--write` take this text, so that they see the same day.
    pub(super) fn test_toml(&self, ridden: &TrueDay) -> Result<String> {
        let mut typed = self.document(&self.text)?;
        // What a careful rider knows of this day: air read at the start, gates where the road is known.
        let of_day = self.document(&ridden.test_toml(true))?;
        let take = |typed: &mut DocumentMut, table: &str| {
            if let Some(item) = of_day.get(table) {
                typed.insert(table, last(item.clone()));
            }
        };
        take(&mut typed, "air");
        // Remarks below the last block stay with it: they are not the air's.
        let below = typed.trailing().as_str().unwrap_or_default().to_string();
        if let Some(first) = typed
            .get_mut("air")
            .and_then(Item::as_array_of_tables_mut)
            .and_then(|air| air.get_mut(0))
        {
            let own = first
                .decor()
                .prefix()
                .and_then(|own| own.as_str())
                .unwrap_or_default();
            let both = format!("{below}{own}");
            first.decor_mut().set_prefix(both);
            typed.set_trailing("");
        }
        if self.place.is_some() {
            take(&mut typed, "course");
        } else if let Some(course) = typed.get_mut("course").and_then(Item::as_table_like_mut) {
            // The place is made up, and gates elsewhere would find nothing.
            course.remove("start");
            course.remove("finish");
        }
        // What is written down of times of another day means nothing here.
        for table in ["exclude", "window", "cut"] {
            typed.remove(table);
        }
        Ok(typed.to_string())
    }

    fn document(&self, text: &str) -> Result<DocumentMut> {
        text.parse().map_err(|cause: toml_edit::TomlError| {
            Fault::new(cause.message().to_string(), "Mend this line.")
                .in_file(&self.folder.join("test.toml"))
                .into()
        })
    }
}

/// Tables remember where they stood in their own file: behind everything else they stand in no other table's way.
fn last(mut item: Item) -> Item {
    if let Some(table) = item.as_table_mut() {
        table.set_position(None);
    }
    if let Some(tables) = item.as_array_of_tables_mut() {
        for table in tables.iter_mut() {
            table.set_position(None);
        }
    }
    item
}
