//! Parts of a long program.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use crate::model::Program;

/// The slot that each column and row belongs to.
pub(super) struct Places {
    columns: Vec<usize>,
    pub(super) rows: Vec<usize>,
    /// The columns and rows of each slot, rising.
    pub(super) columns_of: Vec<Vec<usize>>,
    pub(super) rows_of: Vec<Vec<usize>>,
}

impl Places {
    /// What stands behind the slots belongs to the last slot that it has to do with.
    /// `None` where a row has to do with a slot after its own.
    pub(super) fn of(program: &Program) -> Option<Self> {
        const NONE: usize = usize::MAX;
        let mut columns = vec![NONE; program.columns().len()];
        let mut rows = vec![NONE; program.bounds().len()];
        for (slot, block) in program.blocks().iter().enumerate() {
            columns[block.columns.clone()].fill(slot);
            rows[block.rows.clone()].fill(slot);
        }
        let last = program.blocks().len().checked_sub(1)?;
        let behind = program.blocks()[last].columns.end;
        for (row, place) in rows.iter_mut().enumerate() {
            let (own, _) = program.terms(row);
            let slots = own.iter().map(|&c| columns[c as usize]).filter(|&slot| slot != NONE);
            let latest = slots.max();
            if *place == NONE {
                *place = latest.unwrap_or(last);
                for &column in own.iter().filter(|&&column| column as usize >= behind) {
                    columns[column as usize] = *place;
                }
            } else if latest.is_some_and(|latest| latest > *place) {
                return None;
            }
        }
        for place in columns.iter_mut().filter(|place| **place == NONE) {
            *place = last;
        }
        let of = |places: &[usize]| {
            let mut of = vec![Vec::new(); last + 1];
            places.iter().enumerate().for_each(|(index, &slot)| of[slot].push(index));
            of
        };
        Some(Self { columns_of: of(&columns), rows_of: of(&rows), columns, rows })
    }
}

/// What stands before a part of a program.
pub(super) enum Before<'a> {
    /// Slots that are settled at values.
    Settled(&'a [f64]),
    /// Slots whose columns may be anywhere in their range, at what the multipliers of
    /// their own rows leave of their cost.
    Priced,
}

/// A part of a program.
pub(super) struct Window {
    pub(super) program: Program,
    /// Its columns and rows, as the whole program counts them.
    pub(super) columns: Vec<usize>,
    pub(super) rows: Vec<usize>,
}

impl Window {
    /// Some slots of a program. What they leave to those behind them is worth what the
    /// multipliers of their rows say.
    pub(super) fn of(
        whole: &Program,
        places: &Places,
        slots: Range<usize>,
        before: &Before<'_>,
        multipliers: &[f64],
    ) -> Self {
        let blocks = &whole.blocks()[slots.clone()];
        let behind = |all: &[usize], first: usize| -> Vec<usize> {
            (first..all.len()).filter(|&index| slots.contains(&all[index])).collect()
        };
        let (column, row) =
            whole.blocks().last().map_or((0, 0), |last| (last.columns.end, last.rows.end));
        let mut part = Self { program: Program::default(), columns: Vec::new(), rows: Vec::new() };
        let mut own = vec![None; whole.columns().len()];
        let costs = costs(whole, places, &slots, multipliers);
        let mut add = |part: &mut Self, column: usize| {
            let whole = whole.columns()[column];
            own[column] = Some(part.program.column(costs(column), whole.lower, whole.upper));
            part.columns.push(column);
        };
        for block in blocks {
            part.program.open_columns(block.start);
            block.columns.clone().for_each(|column| add(&mut part, column));
            part.program.close_columns();
        }
        for column in behind(&places.columns, column) {
            add(&mut part, column);
        }
        let behind = behind(&places.rows, row);
        if matches!(before, Before::Priced) {
            let inside = blocks.iter().flat_map(|block| block.rows.clone());
            let named = inside.chain(behind.iter().copied()).flat_map(|row| whole.terms(row).0);
            let outside: BTreeSet<usize> = named
                .map(|&column| column as usize)
                .filter(|&column| places.columns[column] < slots.start)
                .collect();
            for column in outside {
                add(&mut part, column);
            }
        }
        let add = |part: &mut Self, row: usize| {
            let (indices, coefficients) = whole.terms(row);
            let mut settled = 0.0;
            let mut terms = Vec::with_capacity(indices.len());
            for (&column, &value) in indices.iter().zip(coefficients) {
                match (own[column as usize], before) {
                    (Some(own), _) => terms.push((own, value)),
                    (None, Before::Settled(values)) => settled += value * values[column as usize],
                    (None, Before::Priced) => {}
                }
            }
            let (lower, upper) = whole.bounds()[row];
            part.program.row(lower - settled, upper - settled, terms);
            part.rows.push(row);
        };
        for (slot, block) in blocks.iter().enumerate() {
            let first = part.program.bounds().len();
            block.rows.clone().for_each(|row| add(&mut part, row));
            part.program.claim_rows(slot, first);
        }
        for row in behind {
            add(&mut part, row);
        }
        part
    }
}

/// What columns cost beside what multipliers of rows outside some slots say of them: those
/// of the slots before and behind, and those that stand behind all slots.
fn costs(
    whole: &Program,
    places: &Places,
    slots: &Range<usize>,
    multipliers: &[f64],
) -> impl Fn(usize) -> f64 {
    let beside = [slots.start.checked_sub(1), Some(slots.end)].into_iter().flatten();
    let beside = beside.filter_map(|slot| places.rows_of.get(slot)).flatten().copied();
    let after = whole.blocks().last().map_or(0, |last| last.rows.end);
    let far = (after..places.rows.len()).filter(|&row| {
        let place = places.rows[row];
        place + 1 < slots.start || place > slots.end
    });
    let mut said = BTreeMap::new();
    for row in beside.chain(far) {
        let (indices, coefficients) = whole.terms(row);
        for (&column, &value) in indices.iter().zip(coefficients) {
            *said.entry(column as usize).or_insert(0.0) += multipliers[row] * value;
        }
    }
    move |column| whole.columns()[column].cost - said.get(&column).copied().unwrap_or(0.0)
}
