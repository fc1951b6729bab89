//! What is wrong with a series file.

use std::fmt;

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Line of the file, the header being 1; `None` if it is the whole file.
    pub row: Option<u64>,
    /// Header of the column.
    pub column: Option<String>,
    /// The text at fault.
    pub value: Option<String>,
    /// What is wrong.
    pub rule: String,
    /// What to do about it.
    pub remedy: String,
}

impl Fault {
    pub(super) fn file(rule: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { row: None, column: None, value: None, rule: rule.into(), remedy: remedy.into() }
    }

    pub(super) fn at_row(self, row: u64) -> Self {
        Self { row: Some(row), ..self }
    }

    pub(super) fn at_column(self, column: &str) -> Self {
        Self { column: Some(column.into()), ..self }
    }

    pub(super) fn with_value(self, value: &str) -> Self {
        const LONGEST: usize = 60;
        let short = value.chars().take(LONGEST).collect();
        Self { value: Some(short), ..self }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.row, &self.column) {
            (Some(row), Some(column)) => write!(f, "row {row}, column {column}: ")?,
            (Some(row), None) => write!(f, "row {row}: ")?,
            (None, Some(column)) => write!(f, "column {column}: ")?,
            (None, None) => {}
        }
        if let Some(value) = &self.value {
            write!(f, "{value:?} ")?;
        }
        write!(f, "{}; {}", self.rule, self.remedy)
    }
}

/// A file that was refused, with everything that is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadError {
    /// Name of the file.
    pub file: String,
    /// The first faults, at most [`ReadError::MOST`], in order of rows
    /// and then those of the whole file.
    pub faults: Vec<Fault>,
    /// How many there are in all.
    pub total: usize,
}

impl ReadError {
    /// Most faults that are kept.
    pub const MOST: usize = 20;
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, fault) in self.faults.iter().enumerate() {
            let line_break = if index > 0 { "\n" } else { "" };
            write!(f, "{line_break}{}: {fault}", self.file)?;
        }
        match self.total - self.faults.len() {
            0 => Ok(()),
            more => write!(f, "\n{}: and {more} more faults", self.file),
        }
    }
}

impl std::error::Error for ReadError {}

/// Gathers faults, keeping the first of them.
#[derive(Debug, Default)]
pub(super) struct Faults {
    kept: Vec<Fault>,
    total: usize,
}

impl Faults {
    pub(super) fn add(&mut self, fault: Fault) {
        self.total += 1;
        if self.kept.len() < ReadError::MOST {
            self.kept.push(fault);
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.total == 0
    }

    pub(super) fn into_error(mut self, file: &str) -> ReadError {
        self.kept.sort_by_key(|fault| fault.row.unwrap_or(u64::MAX));
        ReadError { file: file.into(), faults: self.kept, total: self.total }
    }
}
