//! A linear program as plain data: columns, rows and their coefficients.
//!
//! The families of constraints write into this form. `solve` hands it to the
//! solver, and compares it with the program solved before so that only what
//! changed is changed.

use std::ops::Range;

use crate::time::Instant;

/// Handle of a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Col(pub(crate) u32);

/// Handle of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Row(pub(crate) u32);

/// Cost and bounds of a column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Column {
    pub(crate) cost: f64,
    pub(crate) lower: f64,
    pub(crate) upper: f64,
}

/// The columns and rows of one slot, which stand together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Block {
    /// When the slot begins.
    pub(crate) start: Instant,
    pub(crate) columns: Range<usize>,
    pub(crate) rows: Range<usize>,
}

/// A linear program: minimise the cost of the columns within rows and bounds.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Program {
    /// The slots in order; what belongs to no slot stands behind them.
    blocks: Vec<Block>,
    columns: Vec<Column>,
    bounds: Vec<(f64, f64)>,
    starts: Vec<u32>,
    indices: Vec<u32>,
    values: Vec<f64>,
}

impl Program {
    /// Columns added from now on belong to the slot that begins at an instant.
    pub(crate) fn open_columns(&mut self, start: Instant) {
        let next = self.columns.len();
        self.blocks.push(Block { start, columns: next..next, rows: 0..0 });
    }

    /// The columns of the slot opened last end here.
    pub(crate) fn close_columns(&mut self) {
        if let Some(block) = self.blocks.last_mut() {
            block.columns.end = self.columns.len();
        }
    }

    /// Rows added from one number on belong to a slot.
    pub(crate) fn claim_rows(&mut self, slot: usize, first: usize) {
        self.blocks[slot].rows = first..self.bounds.len();
    }

    /// The slots.
    pub(crate) fn blocks(&self) -> &[Block] {
        &self.blocks
    }

    /// Adds a column `lower ≤ x ≤ upper` with a cost per unit.
    pub(crate) fn column(&mut self, cost: f64, lower: f64, upper: f64) -> Col {
        self.columns.push(Column { cost, lower, upper });
        Col(self.columns.len() as u32 - 1)
    }

    /// Adds a row `lower ≤ Σ coefficient·x ≤ upper`.
    pub(crate) fn row(
        &mut self,
        lower: f64,
        upper: f64,
        terms: impl IntoIterator<Item = (Col, f64)>,
    ) -> Row {
        self.starts.push(self.indices.len() as u32);
        let first = self.indices.len();
        for (col, value) in terms {
            // A column named twice in a row has one coefficient there.
            let named = self.indices[first..].iter().position(|&index| index == col.0);
            if let Some(place) = named {
                self.values[first + place] += value;
            } else {
                self.indices.push(col.0);
                self.values.push(value);
            }
        }
        self.bounds.push((lower, upper));
        Row(self.bounds.len() as u32 - 1)
    }

    /// Raises the lower bound of a column.
    pub(crate) fn at_least(&mut self, col: Col, lower: f64) {
        let column = &mut self.columns[col.0 as usize];
        column.lower = column.lower.max(lower);
    }

    pub(crate) fn columns(&self) -> &[Column] {
        &self.columns
    }

    pub(crate) fn bounds(&self) -> &[(f64, f64)] {
        &self.bounds
    }

    /// Number of columns and of rows.
    pub fn size(&self) -> (usize, usize) {
        (self.columns.len(), self.bounds.len())
    }

    /// Columns and coefficients of a row.
    pub(crate) fn terms(&self, row: usize) -> (&[u32], &[f64]) {
        let start = self.starts[row] as usize;
        let end = self.starts.get(row + 1).map_or(self.indices.len(), |&next| next as usize);
        (&self.indices[start..end], &self.values[start..end])
    }

    /// The first number that is not fit for a solver, in words. Infinite
    /// bounds are allowed; nothing may be NaN.
    pub(crate) fn unfit(&self) -> Option<String> {
        let bound_fits = |lower: f64, upper: f64| {
            lower <= upper && lower < f64::INFINITY && upper > f64::NEG_INFINITY
        };
        let column =
            self.columns.iter().position(|c| !(c.cost.is_finite() && bound_fits(c.lower, c.upper)));
        let row = self.bounds.iter().position(|&(lower, upper)| !bound_fits(lower, upper));
        let value = self.values.iter().position(|v| !v.is_finite());
        column
            .map(|i| format!("column {i} is {:?}", self.columns[i]))
            .or_else(|| row.map(|i| format!("row {i} has bounds {:?}", self.bounds[i])))
            .or_else(|| value.map(|i| format!("coefficient {i} is {}", self.values[i])))
    }
}
