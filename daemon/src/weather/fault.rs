//! Faults of a weather file, gathered so that one run names them all.

use std::fmt;

use optimiser::units::UnitError;

/// Faults that are named one by one; the rest is only counted.
const NAMED: usize = 20;

/// One thing wrong in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Line of the file, from 1; entry of the list in JSON.
    pub row: usize,
    /// Name of the column.
    pub column: String,
    /// The text as it stands there.
    pub value: String,
    /// What is wrong with it.
    pub rule: String,
    /// What to do about it.
    pub remedy: &'static str,
}

/// A weather file that was refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeatherError {
    /// Name of the file.
    pub file: String,
    /// The first faults; never empty.
    pub faults: Vec<Fault>,
    /// How many more there are.
    pub more: usize,
}

impl fmt::Display for WeatherError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: the weather file can not be used", self.file)?;
        for Fault { row, column, value, rule, remedy } in &self.faults {
            write!(f, "\n  row {row}, column `{column}`, value `{value}`: {rule}; {remedy}")?;
        }
        if self.more > 0 {
            write!(f, "\n  and {} more", self.more)?;
        }
        Ok(())
    }
}

impl std::error::Error for WeatherError {}

/// Faults found so far in a file.
pub(super) struct Faults {
    file: String,
    list: Vec<Fault>,
    more: usize,
}

impl Faults {
    pub(super) fn new(file: &str) -> Self {
        Self { file: file.to_owned(), list: Vec::new(), more: 0 }
    }

    pub(super) fn add(
        &mut self,
        row: usize,
        column: &str,
        value: &str,
        rule: impl Into<String>,
        remedy: &'static str,
    ) {
        if self.list.len() == NAMED {
            self.more += 1;
        } else {
            self.list.push(Fault {
                row,
                column: column.to_owned(),
                value: value.chars().take(40).collect(),
                rule: rule.into(),
                remedy,
            });
        }
    }

    /// The result, unless a fault was found.
    pub(super) fn end<T>(self, result: T) -> Result<T, WeatherError> {
        if self.list.is_empty() { Ok(result) } else { Err(self.refuse()) }
    }

    /// The error, after at least one fault.
    pub(super) fn refuse(self) -> WeatherError {
        WeatherError { file: self.file, faults: self.list, more: self.more }
    }

    /// A quantity from a cell; `None` if the cell is empty, holds the format's
    /// sign for a missing value, or is faulty.
    pub(super) fn quantity<T>(
        &mut self,
        cell: Cell<'_>,
        missing: impl Fn(f64) -> bool,
        new: impl Fn(f64) -> Result<T, UnitError>,
    ) -> Option<T> {
        let text = cell.text?.trim();
        if text.is_empty() {
            return None;
        }
        let Ok(value) = text.parse::<f64>() else {
            self.add(cell.row, cell.column, text, "not a number", "correct or empty the cell");
            return None;
        };
        if missing(value) {
            return None;
        }
        new(value)
            .map_err(|error| {
                let remedy = "correct or empty the cell";
                self.add(cell.row, cell.column, text, error.to_string(), remedy);
            })
            .ok()
    }
}

/// A cell of a table; no text where the row or the table has no such column.
#[derive(Clone, Copy)]
pub(super) struct Cell<'a> {
    pub(super) row: usize,
    pub(super) column: &'a str,
    pub(super) text: Option<&'a str>,
}
