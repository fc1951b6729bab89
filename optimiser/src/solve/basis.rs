//! The basis of an answer, and how it goes on to the next program.

use crate::model::{Block, Program};

/// Statuses of columns and rows, in the solver's own numbers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Basis {
    pub(super) columns: Vec<i32>,
    pub(super) rows: Vec<i32>,
}

/// At its lower bound.
const LOWER: i32 = 0;

/// In the basis.
const BASIC: i32 = 1;

impl Basis {
    /// The same basis for another program of alike slots: each slot takes the
    /// statuses of the slot that held its beginning before. What is new behind
    /// the slots starts outside the basis, as if it did not bind. The solver
    /// mends what that leaves incomplete.
    pub(super) fn placed(&self, blocks: &[Block], new: &Program) -> Self {
        let mut placed = Self {
            columns: vec![LOWER; new.columns().len()],
            rows: vec![BASIC; new.bounds().len()],
        };
        for block in new.blocks() {
            let held = blocks.partition_point(|b| b.start <= block.start).saturating_sub(1);
            let from = &blocks[held];
            let fits =
                from.columns.len() == block.columns.len() && from.rows.len() == block.rows.len();
            if fits {
                placed.columns[block.columns.clone()]
                    .copy_from_slice(&self.columns[from.columns.clone()]);
                placed.rows[block.rows.clone()].copy_from_slice(&self.rows[from.rows.clone()]);
            }
        }
        let (column, row) = new.blocks().last().map_or((0, 0), |b| (b.columns.end, b.rows.end));
        carry(&self.columns, &mut placed.columns, column);
        carry(&self.rows, &mut placed.rows, row);
        placed
    }
}

/// Carries on what stands behind the slots.
fn carry(from: &[i32], to: &mut [i32], first: usize) {
    for (new, old) in to.iter_mut().zip(from).skip(first) {
        *new = *old;
    }
}
