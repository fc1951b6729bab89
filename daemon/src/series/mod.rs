//! Series in time: read from files, brought onto a horizon, judged.
//!
//! Units come from the header of a column and are never guessed. A missing value
//! or row stays missing: it is never zero, and nothing is filled by position.

mod fault;
mod header;
mod number;
mod plausibility;
mod prices;
mod read;
mod resample;
mod timeline;
mod unit;
mod years;

pub use fault::{Fault, ReadError};
pub use plausibility::{UnitSlip, repeated_days, unit_slip};
pub use prices::{PriceError, Prices};
pub use read::{Marks, read, read_file};
pub use unit::{Dimension, PriceUnit, minor_units};
pub(crate) use years::{covers, laid_onto};

use std::fmt;

use optimiser::time::{Horizon, Instant, Slot};

/// A series file that was read and found in order.
#[derive(Debug, Clone, PartialEq)]
pub struct SeriesFile {
    name: String,
    starts: Vec<Instant>,
    step_seconds: i64,
    columns: Vec<Column>,
    notices: Vec<String>,
}

/// A column of a series file.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    header: String,
    meaning: header::Header,
    values: Vec<Option<f64>>,
}

impl Column {
    fn new(header: String, meaning: header::Header, values: Vec<Option<f64>>) -> Self {
        Self { header, meaning, values }
    }

    /// The header as it stands in the file.
    pub fn header(&self) -> &str {
        &self.header
    }

    /// Name of the quantity: the header without its unit, in lower case.
    pub fn name(&self) -> &str {
        &self.meaning.name
    }

    /// Kind of quantity, which fixes the unit of the values.
    pub fn dimension(&self) -> Dimension {
        self.meaning.unit.dimension
    }

    /// ISO 4217 code of the currency, if the header names one.
    pub fn currency(&self) -> Option<&str> {
        self.meaning.currency.as_deref()
    }

    /// Unit that a price is stated in; `None` if it is no price.
    pub fn price_unit(&self) -> Option<PriceUnit> {
        self.meaning.price_unit
    }

    /// The values [unit of the dimension], one for each row.
    pub fn values(&self) -> &[Option<f64>] {
        &self.values
    }
}

/// How much of a span is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Coverage {
    /// Intervals with a value.
    pub present: usize,
    /// Intervals in the span.
    pub expected: usize,
}

impl Coverage {
    /// Whether nothing is missing.
    pub const fn is_complete(self) -> bool {
        self.present == self.expected
    }
}

impl fmt::Display for Coverage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.present, self.expected)
    }
}

/// Why a file does not give a column.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ColumnError {
    /// No column has that header.
    #[error("{file} has no column {asked:?}{}; its columns are {}", did_you_mean(.nearest.as_deref()), .columns.join(", "))]
    Unknown {
        /// Name of the file.
        file: String,
        /// Header that was asked for.
        asked: String,
        /// The header most like it.
        nearest: Option<String>,
        /// All headers.
        columns: Vec<String>,
    },
    /// No column has that kind of quantity.
    #[error("{file} has no column of {dimension}; its columns are {}", .columns.join(", "))]
    None {
        /// Name of the file.
        file: String,
        /// The kind of quantity.
        dimension: Dimension,
        /// All headers.
        columns: Vec<String>,
    },
    /// Several columns have that kind of quantity, and none was named.
    #[error("{file} has several columns of {dimension}; name one of {}", .columns.join(", "))]
    Several {
        /// Name of the file.
        file: String,
        /// The kind of quantity.
        dimension: Dimension,
        /// Their headers.
        columns: Vec<String>,
    },
}

fn did_you_mean(nearest: Option<&str>) -> String {
    nearest.map(|header| format!(", did you mean {header:?}")).unwrap_or_default()
}

impl SeriesFile {
    /// Name of the file.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Start of each row's interval, in order of time.
    pub fn starts(&self) -> &[Instant] {
        &self.starts
    }

    /// Length of every interval \[s\].
    pub fn step_seconds(&self) -> i64 {
        self.step_seconds
    }

    /// The columns, as they stand in the file.
    pub fn columns(&self) -> &[Column] {
        &self.columns
    }

    /// What was put right while reading, for the user to know.
    pub fn notices(&self) -> &[String] {
        &self.notices
    }

    /// From the start of the first interval to the end of the last.
    ///
    /// # Panics
    /// Never, as a file that was read has at least two rows in order.
    pub fn span(&self) -> Slot {
        let last = self.starts[self.starts.len() - 1];
        Slot::new(self.starts[0], last + self.step_seconds).expect("rows are in order")
    }

    /// Intervals between the first and the last row that have no row.
    pub fn missing_rows(&self) -> usize {
        (self.span().seconds() / self.step_seconds) as usize - self.starts.len()
    }

    /// The column with a header, whatever its case.
    ///
    /// # Errors
    /// If there is none.
    pub fn column(&self, header: &str) -> Result<&Column, ColumnError> {
        let found = self.columns.iter().find(|column| column.header.eq_ignore_ascii_case(header));
        found.ok_or_else(|| {
            let likeness = |column: &&Column| strsim::jaro_winkler(header, &column.header);
            let nearest = self
                .columns
                .iter()
                .filter(|column| likeness(column) > 0.8)
                .max_by(|a, b| likeness(a).total_cmp(&likeness(b)));
            ColumnError::Unknown {
                file: self.name.clone(),
                asked: header.into(),
                nearest: nearest.map(|column| column.header.clone()),
                columns: headers(&self.columns),
            }
        })
    }

    /// The column of a quantity by its name without unit, such as `ghi`.
    pub fn quantity(&self, name: &str) -> Option<&Column> {
        self.columns.iter().find(|column| column.name() == name)
    }

    /// The only column of a kind of quantity.
    ///
    /// # Errors
    /// If there is none, or more than one.
    pub fn only(&self, dimension: Dimension) -> Result<&Column, ColumnError> {
        let found: Vec<&Column> =
            self.columns.iter().filter(|column| column.dimension() == dimension).collect();
        let file = self.name.clone();
        match found[..] {
            [column] => Ok(column),
            [] => Err(ColumnError::None { file, dimension, columns: headers(&self.columns) }),
            _ => Err(ColumnError::Several { file, dimension, columns: headers(found) }),
        }
    }

    /// How many of the intervals of a span have a value in a column of this file.
    pub fn coverage(&self, column: &Column, span: Slot) -> Coverage {
        let from = self.starts.partition_point(|start| *start < span.start());
        let until = self.starts.partition_point(|start| *start + self.step_seconds <= span.end());
        let values = column.values.get(from..until).unwrap_or_default();
        Coverage {
            present: values.iter().flatten().count(),
            expected: (span.seconds() / self.step_seconds) as usize,
        }
    }

    /// A column of this file on the slots of a horizon: amounts by their share
    /// of time, everything else by its mean over time. A slot of which any part
    /// is missing is `None`.
    pub fn onto(&self, column: &Column, horizon: &Horizon) -> Vec<Option<f64>> {
        let extensive = column.dimension().is_extensive();
        let over = |slot: &Slot| {
            let pieces = self.pieces(column, *slot);
            if extensive { resample::amount(pieces, *slot) } else { resample::mean(pieces, *slot) }
        };
        horizon.slots().iter().map(over).collect()
    }

    /// The intervals of a column that touch a slot.
    fn pieces(&self, column: &Column, slot: Slot) -> impl Iterator<Item = (Slot, Option<f64>)> {
        let first = self.starts.partition_point(|start| *start + self.step_seconds <= slot.start());
        let rows = self.starts[first..].iter().zip(&column.values[first..]);
        rows.take_while(move |(start, _)| **start < slot.end()).filter_map(|(start, value)| {
            Some((Slot::new(*start, *start + self.step_seconds)?, *value))
        })
    }
}

fn headers<'a>(columns: impl IntoIterator<Item = &'a Column>) -> Vec<String> {
    columns.into_iter().map(|column| column.header.clone()).collect()
}

#[cfg(test)]
mod tests;
