//! A table: named columns of equal length, each with its unit and its meaning.

/// One thing a row; every column has a value, or none, for each.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// Also that of its file.
    pub name: &'static str,
    pub columns: Vec<Column>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// With its unit, as in the JSON and in docs/names.md.
    pub name: &'static str,
    /// Empty: it has none.
    pub unit: &'static str,
    pub meaning: &'static str,
    pub values: Values,
}

/// `None`: there is none. Numbers are finite.
#[derive(Debug, Clone, PartialEq)]
pub enum Values {
    Text(Vec<Option<String>>),
    Number(Vec<Option<f64>>),
    Count(Vec<Option<i64>>),
    Flag(Vec<Option<bool>>),
}

impl Values {
    pub fn rows(&self) -> usize {
        match self {
            Values::Text(values) => values.len(),
            Values::Number(values) => values.len(),
            Values::Count(values) => values.len(),
            Values::Flag(values) => values.len(),
        }
    }
}

impl Table {
    pub fn rows(&self) -> usize {
        self.columns.first().map_or(0, |column| column.values.rows())
    }
}

/// Makes the columns of a table from what its rows are about.
pub(super) struct Columns<'a, T> {
    pub rows: &'a [T],
    pub made: Vec<Column>,
}

impl<'a, T> Columns<'a, T> {
    pub fn of(rows: &'a [T]) -> Self {
        Columns {
            rows,
            made: Vec::new(),
        }
    }

    fn add(mut self, name: &'static str, unit: &'static str, meaning: &'static str, values: Values) -> Self {
        self.made.push(Column {
            name,
            unit,
            meaning,
            values,
        });
        self
    }

    pub fn text(self, name: &'static str, meaning: &'static str, of: impl Fn(&T) -> Option<String>) -> Self {
        let values = Values::Text(self.rows.iter().map(of).collect());
        self.add(name, "", meaning, values)
    }

    pub fn number(
        self,
        name: &'static str,
        unit: &'static str,
        meaning: &'static str,
        of: impl Fn(&T) -> Option<f64>,
    ) -> Self {
        let finite = |row| of(row).filter(|value: &f64| value.is_finite());
        let values = Values::Number(self.rows.iter().map(finite).collect());
        self.add(name, unit, meaning, values)
    }

    pub fn count(self, name: &'static str, meaning: &'static str, of: impl Fn(&T) -> Option<usize>) -> Self {
        let whole = |row| of(row).and_then(|value: usize| i64::try_from(value).ok());
        let values = Values::Count(self.rows.iter().map(whole).collect());
        self.add(name, "", meaning, values)
    }

    pub fn flag(self, name: &'static str, meaning: &'static str, of: impl Fn(&T) -> Option<bool>) -> Self {
        let values = Values::Flag(self.rows.iter().map(of).collect());
        self.add(name, "", meaning, values)
    }

    pub fn table(self, name: &'static str) -> Table {
        Table {
            name,
            columns: self.made,
        }
    }
}

/// Every column of every table, a row each.
pub(super) fn dictionary(tables: &[Table]) -> Table {
    let rows: Vec<(&str, &Column)> = tables
        .iter()
        .flat_map(|table| table.columns.iter().map(move |column| (table.name, column)))
        .collect();
    let some = |text: &str| Some(text.to_string());
    Columns::of(&rows)
        .text("table", "Name of the table and of its file", |row| some(row.0))
        .text("column", "Name of the column", |row| some(row.1.name))
        .text("unit", "Unit of its numbers; empty where they have none", |row| {
            some(row.1.unit).filter(|unit| !unit.is_empty())
        })
        .text("meaning", "What it holds", |row| some(row.1.meaning))
        .table("dictionary")
}
