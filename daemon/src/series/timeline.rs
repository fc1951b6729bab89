//! Order, repeats and interval length of the rows of a file.

use std::collections::BTreeMap;

use optimiser::time::Instant;

use super::fault::{Fault, Faults};
use super::read::{Marks, Row, Table};

/// Interval lengths that are read [s]: 5, 10, 15, 20, 30 and 60 min.
const STEPS: [i64; 6] = [300, 600, 900, 1_200, 1_800, 3_600];

/// So many equal steps in a row are another interval length; fewer are gaps.
const RUN: usize = 4;

/// The rows in order of time, each interval once.
#[derive(Debug)]
pub(super) struct Timeline {
    pub(super) starts: Vec<Instant>,
    pub(super) step_seconds: i64,
    /// Indices into the rows of the table.
    pub(super) rows: Vec<usize>,
    pub(super) notices: Vec<String>,
}

/// Puts the rows of a table in order; `None` if no interval length is found.
pub(super) fn timeline(table: &Table, marks: Marks, faults: &mut Faults) -> Option<Timeline> {
    let mut notices = Vec::new();
    let order = sorted(&table.rows, &mut notices);
    let rows = without_repeats(table, order, faults, &mut notices);
    let stamps: Vec<Row> = rows.iter().map(|index| table.rows[*index]).collect();
    let step_seconds = step(&stamps, faults)?;
    check_steps(&stamps, step_seconds, faults);
    let shift = if table.end_stamped || marks == Marks::End { -step_seconds } else { 0 };
    let starts = stamps.iter().map(|row| row.stamp + shift).collect();
    Some(Timeline { starts, step_seconds, rows, notices })
}

/// Indices of the rows in order of time; rows of one instant stay in the order
/// of the file.
fn sorted(rows: &[Row], notices: &mut Vec<String>) -> Vec<usize> {
    let mut order: Vec<usize> = (0..rows.len()).collect();
    let early: Vec<u64> = rows
        .windows(2)
        .filter(|pair| pair[1].stamp < pair[0].stamp)
        .map(|pair| pair[1].line)
        .collect();
    if let Some(first) = early.first() {
        notices.push(format!(
            "rows out of order of time were sorted: {}, the first is row {first}",
            early.len()
        ));
        order.sort_by_key(|index| rows[*index].stamp);
    }
    order
}

/// Drops rows that repeat the one before them in every column, and faults those
/// that contradict it.
fn without_repeats(
    table: &Table,
    order: Vec<usize>,
    faults: &mut Faults,
    notices: &mut Vec<String>,
) -> Vec<usize> {
    let mut kept: Vec<usize> = Vec::with_capacity(order.len());
    let mut dropped = Vec::new();
    for index in order {
        let row = table.rows[index];
        let Some(before) = kept.last().copied().filter(|i| table.rows[*i].stamp == row.stamp)
        else {
            kept.push(index);
            continue;
        };
        let other =
            table.columns.iter().find(|column| column.values[before] != column.values[index]);
        match other {
            None => dropped.push(row.line),
            Some(column) => faults.add(
                Fault::file(
                    format!(
                        "comes a second time with another value (first in row {})",
                        table.rows[before].line
                    ),
                    "keep the row that holds; in the hour that the clock repeats, the two need \
                     different offsets",
                )
                .at_row(row.line)
                .at_column(&column.header)
                .with_value(&row.stamp.to_string()),
            ),
        }
    }
    if let Some(first) = dropped.first() {
        notices.push(format!(
            "rows that repeat an earlier row exactly were dropped: {}, the first is row {first}",
            dropped.len()
        ));
    }
    kept
}

/// The most common distance between rows.
fn step(rows: &[Row], faults: &mut Faults) -> Option<i64> {
    let mut counts = BTreeMap::new();
    for pair in rows.windows(2) {
        *counts.entry(pair[1].stamp - pair[0].stamp).or_insert(0_usize) += 1;
    }
    // Of equally common distances the shorter one, as the longer may be gaps.
    let Some((step, _)) = counts.into_iter().rev().max_by_key(|(_, count)| *count) else {
        faults.add(Fault::file(
            "has fewer than two intervals, so that their length is not known",
            "give at least two rows that follow each other",
        ));
        return None;
    };
    if !STEPS.contains(&step) {
        faults.add(Fault::file(
            format!("has intervals of {} min", step as f64 / 60.0),
            "give intervals of 5, 10, 15, 20, 30 or 60 min",
        ));
        return None;
    }
    Some(step)
}

/// Faults rows off the grid, and stretches with another interval length.
fn check_steps(rows: &[Row], step: i64, faults: &mut Faults) {
    let minutes = |seconds: i64| seconds as f64 / 60.0;
    let mut same = (0, 0_usize);
    for pair in rows.windows(2) {
        let distance = pair[1].stamp - pair[0].stamp;
        same = if distance == same.0 { (distance, same.1 + 1) } else { (distance, 1) };
        // Each stretch is one fault, told where it is first certain.
        let off_grid = distance % step != 0 && same.1 == 1;
        let coarse = distance % step == 0 && distance > step && same.1 == RUN;
        if off_grid || coarse {
            faults.add(
                Fault::file(
                    format!(
                        "is {} min after the row before, in a file of {} min intervals",
                        minutes(distance),
                        minutes(step)
                    ),
                    "give one file for each interval length",
                )
                .at_row(pair[1].line)
                .with_value(&pair[1].stamp.to_string()),
            );
        }
    }
}
