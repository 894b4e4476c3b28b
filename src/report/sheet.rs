//! A table as data: a terminal and a page show the same digits.

use super::table::table;

/// Every row has as many cells as the header; `left` are the columns of text.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    pub header: Vec<String>,
    pub left: Vec<usize>,
    pub rows: Vec<Vec<String>>,
}

impl Sheet {
    pub fn new(header: &[&str], left: &[usize], rows: Vec<Vec<String>>) -> Sheet {
        Sheet {
            header: header.iter().map(|name| name.to_string()).collect(),
            left: left.to_vec(),
            rows,
        }
    }

    /// For a terminal of this width.
    pub fn text(self, width: usize) -> String {
        let header: Vec<&str> = self.header.iter().map(String::as_str).collect();
        table(&header, &self.left, self.rows, width)
    }
}
