//! Reads the table of a series file.

use std::path::Path;

use optimiser::time::Instant;

use super::fault::{Fault, Faults, ReadError};
use super::header::{self, Header};
use super::timeline::timeline;
use super::unit::Dimension;
use super::{Column, SeriesFile, number};
use crate::local_time::parse_instant;

/// What the time stamps of a file mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Marks {
    /// Start or end of the interval, as the first header says.
    #[default]
    AsNamed,
    /// The end of the interval, although the first header says `start`.
    End,
}

/// Reads a series file from disk.
///
/// # Errors
/// As [`read`], and if the file cannot be read at all.
pub fn read_file(path: &Path, marks: Marks) -> Result<SeriesFile, ReadError> {
    let name = path.display().to_string();
    match std::fs::read(path) {
        Ok(bytes) => read(&name, &bytes, marks),
        Err(error) => {
            let mut faults = Faults::default();
            faults.add(Fault::file(
                format!("cannot be read: {error}"),
                "check the path and the permissions",
            ));
            Err(faults.into_error(&name))
        }
    }
}

/// Reads a series file: CSV with commas, semicolons or tabs, one header line,
/// the time stamp first and then columns named by quantity and unit.
///
/// Rows out of order are sorted and rows that repeat others exactly are dropped,
/// both with a notice: time stamps are instants, so neither loses anything.
///
/// # Errors
/// With everything that is wrong in the file.
pub fn read(name: &str, bytes: &[u8], marks: Marks) -> Result<SeriesFile, ReadError> {
    let mut faults = Faults::default();
    let series = table(bytes, &mut faults).and_then(|table| {
        let line = timeline(&table, marks, &mut faults)?;
        let pick = |values: &[Option<f64>]| line.rows.iter().map(|row| values[*row]).collect();
        let columns = table.columns.into_iter().filter_map(|column| {
            let values = pick(&column.values);
            Some(Column::new(column.header, column.meaning?, values))
        });
        Some(SeriesFile {
            name: name.into(),
            columns: columns.collect(),
            starts: line.starts,
            step_seconds: line.step_seconds,
            notices: line.notices,
        })
    });
    match series {
        Some(series) if faults.is_empty() => Ok(series),
        _ => Err(faults.into_error(name)),
    }
}

/// A row that has a time stamp.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    /// Line of the file.
    pub(super) line: u64,
    pub(super) stamp: Instant,
}

/// The table as it stands in the file.
#[derive(Debug)]
pub(super) struct Table {
    pub(super) end_stamped: bool,
    pub(super) rows: Vec<Row>,
    pub(super) columns: Vec<RawColumn>,
}

/// A column as it stands in the file.
#[derive(Debug)]
pub(super) struct RawColumn {
    pub(super) header: String,
    /// `None` if the header was refused; its fields are then not read.
    meaning: Option<Header>,
    /// As many as there are rows with a time stamp.
    pub(super) values: Vec<Option<f64>>,
}

fn table(bytes: &[u8], faults: &mut Faults) -> Option<Table> {
    let text = text(bytes, faults)?;
    let first_line = text.lines().next().unwrap_or_default();
    let separator = [b';', b'\t', b',']
        .into_iter()
        .find(|separator| first_line.as_bytes().contains(separator))
        .unwrap_or(b',');
    let mut records = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        // A carriage return is then part of the last field and trimmed there,
        // which keeps the count of lines right.
        .terminator(csv::Terminator::Any(b'\n'))
        .from_reader(text.as_bytes());

    let mut record = csv::StringRecord::new();
    let mut next = |record: &mut csv::StringRecord| {
        records.read_record(record).expect("text in memory is read without errors")
    };
    if !next(&mut record) {
        faults.add(Fault::file("is empty", "give it a header and rows"));
        return None;
    }
    let mut table = headers(&record, faults)?;
    let stamp_header = record[0].trim().to_owned();
    let mut decimals = DecimalSigns { comma_allowed: separator != b',', point: None, comma: None };
    while next(&mut record) {
        let at = record.position().map_or((0, 0), |position| (position.byte(), position.line()));
        // The position is that of blank lines left out before the record.
        let blank = text.as_bytes()[at.0 as usize..]
            .iter()
            .take_while(|byte| matches!(byte, b'\r' | b'\n'))
            .filter(|byte| **byte == b'\n');
        let line = at.1 + blank.count() as u64;
        if record.len() == 1 && record[0].trim().is_empty() {
            continue;
        }
        if record.len() != table.columns.len() + 1 {
            let (found, wanted) = (record.len(), table.columns.len() + 1);
            faults.add(
                Fault::file(
                    format!("has {found} fields where the header has {wanted}"),
                    "give every row as many fields as the header, empty ones for missing values",
                )
                .at_row(line),
            );
            continue;
        }
        let stamp = match parse_instant(&record[0]) {
            Ok(stamp) => stamp,
            Err(error) => {
                let fault = Fault::file(error.rule(), error.remedy());
                faults.add(fault.at_row(line).at_column(&stamp_header).with_value(&record[0]));
                continue;
            }
        };
        table.rows.push(Row { line, stamp });
        for (column, field) in table.columns.iter_mut().zip(record.iter().skip(1)) {
            let value = column.meaning.as_ref().map_or(Ok(None), |meaning| {
                decimals.note(field, line);
                field_value(field, meaning, decimals.comma_allowed)
            });
            column.values.push(value.unwrap_or_else(|(rule, remedy)| {
                let fault = Fault::file(rule, remedy).at_row(line).at_column(&column.header);
                faults.add(fault.with_value(field.trim()));
                None
            }));
        }
    }
    decimals.check(faults);
    Some(table)
}

/// The text without byte-order mark.
fn text<'a>(bytes: &'a [u8], faults: &mut Faults) -> Option<&'a str> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    match std::str::from_utf8(bytes) {
        Ok(text) => Some(text),
        Err(error) => {
            let before = &bytes[..error.valid_up_to()];
            let line = before.split(|byte| *byte == b'\n').count() as u64;
            faults.add(Fault::file("is not UTF-8 text", "save the file as UTF-8").at_row(line));
            None
        }
    }
}

/// Reads the first header and what the others mean.
fn headers(record: &csv::StringRecord, faults: &mut Faults) -> Option<Table> {
    let names: Vec<&str> = record.iter().map(str::trim).collect();
    let first = names.first()?.to_lowercase();
    let end_stamped = match first.as_str() {
        "start" | "start_utc" => false,
        "end" | "end_utc" => true,
        _ if first == "profile" && names.contains(&"time_local") => {
            faults.add(Fault::file(
                "is a table of draw-off patterns by local time of day, not a series in time",
                "enter the pattern as daily draws in the site file, or give a series of litres \
                 such as a column `draw_l`",
            ));
            return None;
        }
        _ => {
            faults.add(
                Fault::file(
                    "is not the header of the time stamp",
                    "put the time stamp first and name it `start` or `start_utc`, or `end` or \
                     `end_utc` if it marks the end of the interval",
                )
                .at_row(1)
                .with_value(names[0]),
            );
            return None;
        }
    };
    if names.len() < 2 {
        faults.add(Fault::file("has no column but the time stamp", "add columns with values"));
    }
    for (index, name) in names.iter().enumerate().skip(1) {
        if names[..index].iter().any(|other| other.eq_ignore_ascii_case(name)) {
            faults.add(
                Fault::file("names two columns", "give every column its own name")
                    .at_row(1)
                    .with_value(name),
            );
        }
    }
    let column = |name: &&str| {
        let meaning = header::parse(name).map_err(|(rule, remedy)| {
            faults.add(Fault::file(rule, remedy).at_row(1).with_value(name));
        });
        RawColumn { header: (*name).into(), meaning: meaning.ok(), values: Vec::new() }
    };
    let columns = names[1..].iter().map(column).collect();
    Some(Table { end_stamped, rows: Vec::new(), columns })
}

/// The value of a field in the unit that its dimension is kept in.
fn field_value(field: &str, header: &Header, comma: bool) -> Result<Option<f64>, (String, String)> {
    let Some(number) = number::parse(field, comma)? else { return Ok(None) };
    let value = header.unit.convert(number);
    let (least, most) = header.unit.dimension.range();
    if (least..=most).contains(&value) {
        return Ok(Some(value));
    }
    let unit = header.unit.dimension.unit();
    let remedy = if header.unit.dimension == Dimension::Price {
        "check the unit in the header: wholesale prices are usually per MWh"
    } else {
        "check the unit in the header, or leave the field empty if this number stands for a \
         missing value"
    };
    Err((format!("is outside {least} to {most} {unit}"), remedy.into()))
}

/// Which decimal signs a file uses; with both one of them could be a thousands
/// separator.
struct DecimalSigns {
    comma_allowed: bool,
    point: Option<u64>,
    comma: Option<u64>,
}

impl DecimalSigns {
    fn note(&mut self, field: &str, line: u64) {
        if self.comma_allowed {
            if self.point.is_none() && field.contains('.') {
                self.point = Some(line);
            }
            if self.comma.is_none() && field.contains(',') {
                self.comma = Some(line);
            }
        }
    }

    fn check(&self, faults: &mut Faults) {
        if let (Some(point), Some(comma)) = (self.point, self.comma) {
            faults.add(
                Fault::file(
                    format!("has a decimal point where row {comma} has a decimal comma"),
                    "use one of them in the whole file, and no thousands separator",
                )
                .at_row(point),
            );
        }
    }
}
