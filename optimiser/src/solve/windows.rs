//! A long program, window by window.
//!
//! What is stored in a house joins the slots of a program, and hardly reaches beyond a
//! few days. So a window is solved, its first slots are settled, and the next window
//! begins where they end. The settled values satisfy all of the program. Whether they
//! are also the best is not taken on trust: the settled multipliers give a bound below
//! every answer (Lagrangian duality), and both must agree.

use std::collections::{BTreeMap, VecDeque};
use std::ops::Range;

use crate::model::{Block, Program};

use super::basis::Basis;
use super::live::{Answer, Live, Verdict, fit, solve_whole};
use super::{SolveError, SolveLimits};

/// Slots that a window settles, and slots that it looks ahead beyond them.
const SETTLED: usize = 240;
const AHEAD: usize = 240;

/// A window that looked not far enough ahead is solved again, looking so many times as
/// far at most.
const FARTHEST: usize = 4;

/// So many windows can be gone back.
const KEPT: usize = 4;

/// A program is long from so many slots on.
const LONG: usize = 2 * (SETTLED + AHEAD);

/// What two windows may disagree by, and what the whole answer may lie above the bound
/// by, as shares of the money that moves.
const AGREED: f64 = 1e-6;
const PROVEN: f64 = 1e-5;

/// A price that the solver takes for none [minor for each unit].
const TOLERANCE: f64 = 1e-6;

/// Solves the programs of whole periods, one after the other. Where one is like an earlier
/// one, as for another size of the same house, its windows begin where those ended.
#[derive(Debug)]
pub struct PeriodSolver {
    limits: SolveLimits,
    /// Where the windows of programs ended, by the columns and rows of their slots.
    ended: BTreeMap<(usize, usize), Ended>,
}

/// The basis of each window and the slots that it belongs to.
type Ended = Vec<(Basis, Vec<Block>)>;

impl PeriodSolver {
    /// A solver with limits of each solve.
    pub const fn new(limits: SolveLimits) -> Self {
        Self { limits, ended: BTreeMap::new() }
    }

    /// Solves a program: in windows that prove to be its best answer, or as one.
    ///
    /// # Errors
    /// As [`Live::new`] and [`Live::solve`].
    pub fn solve(&mut self, program: &Program) -> Result<Answer, SolveError> {
        fit(program)?;
        let shape = program.blocks().last().map(|last| (last.columns.end, last.rows.end));
        let ended = self.ended.entry(shape.unwrap_or_default()).or_default();
        match solve(program, self.limits, ended)? {
            Some(answer) => Ok(answer),
            None => solve_whole(program, self.limits),
        }
    }
}

/// Solves a long program, or `None` where it is short, where its slots are joined in
/// another way, or where the windows do not prove to be its best answer. `ended` is where
/// the windows of a program like it ended, and where its own do.
fn solve(
    program: &Program,
    limits: SolveLimits,
    ended: &mut Ended,
) -> Result<Option<Answer>, SolveError> {
    let slots = program.blocks().len();
    let Some(places) = Places::of(program).filter(|_| slots >= LONG) else { return Ok(None) };
    let mut settled = Settled::nothing(program, &places);
    let mut live: Option<Live> = None;
    // How far each window looks ahead, by its number.
    let mut ahead = vec![AHEAD; slots.div_ceil(SETTLED)];
    // The multipliers before each of the last windows.
    let mut before: VecDeque<Vec<f64>> = VecDeque::new();
    let mut own = 0;
    while own * SETTLED < slots {
        let from = own * SETTLED;
        let to = (from + SETTLED + ahead[own]).min(slots);
        let Window { program: part, columns, rows } =
            Window::of(program, &places, from..to, &settled.values);
        let live = match &mut live {
            Some(live) => {
                live.load(part)?;
                live
            }
            None => live.insert(Live::new(part)?),
        };
        if let Some((basis, blocks)) = ended.get(own)
            && blocks.first().map(|block| block.start) == live.begins()
        {
            live.stand(basis, blocks)?;
        }
        let answer = live.solve(limits)?;
        if answer.verdict != Verdict::Optimal {
            return Ok(None);
        }
        if let Some(standing) = live.standing() {
            match ended.get_mut(own) {
                Some(place) => *place = standing,
                None => ended.push(standing),
            }
        }
        let duals = settled.duals.clone();
        let lost = settled.take((&columns, &rows), &answer, from);
        let costs = columns.iter().zip(&answer.values);
        let moved: f64 = costs.map(|(&c, x)| (program.columns()[c].cost * x).abs()).sum();
        if lost > AGREED * moved
            && ahead[own - 1] < FARTHEST * AHEAD
            && let Some(duals) = before.pop_back()
        {
            settled.duals = duals;
            own -= 1;
            ahead[own] *= 2;
            continue;
        }
        if to == slots {
            break;
        }
        before.push_back(duals);
        if before.len() > KEPT {
            before.pop_front();
        }
        own += 1;
    }
    Ok(settled.proven())
}

/// What windows have settled so far.
struct Settled<'a> {
    program: &'a Program,
    places: &'a Places,
    values: Vec<f64>,
    duals: Vec<f64>,
}

impl<'a> Settled<'a> {
    fn nothing(program: &'a Program, places: &'a Places) -> Self {
        Self {
            program,
            places,
            values: vec![0.0; program.columns().len()],
            duals: vec![0.0; program.bounds().len()],
        }
    }

    /// Takes the answer of a window that begins at a slot. Its values count from there.
    /// Its multipliers count from the slot at which they fit best to those of the window
    /// before: where a store is empty or a battery full, both agree, elsewhere several
    /// may be right and not go together. Returns what it costs that they do not fit.
    fn take(&mut self, (columns, rows): (&[usize], &[usize]), answer: &Answer, from: usize) -> f64 {
        for (&column, &value) in columns.iter().zip(&answer.values) {
            self.values[column] = value;
        }
        let mut new = self.duals.clone();
        for (&row, &dual) in rows.iter().zip(&answer.duals) {
            new[row] = dual;
        }
        let mut best = (from, f64::INFINITY);
        let mut before = 0.0;
        let last = (from + SETTLED).min(self.program.blocks().len() - 1);
        for handover in from..=last {
            let Some(slot) = handover.checked_sub(1) else {
                best = (handover, 0.0);
                break;
            };
            let lost = before + self.lost(slot, (&self.duals, &new));
            if lost < best.1 {
                best = (handover, lost);
            }
            if handover > from {
                before += self.lost(slot, (&self.duals, &self.duals));
            }
        }
        for (row, dual) in new.into_iter().enumerate() {
            if self.places.rows[row] >= best.0 {
                self.duals[row] = dual;
            }
        }
        best.1
    }

    /// The answer, if the multipliers prove that none is cheaper by more than a trifle.
    fn proven(self) -> Option<Answer> {
        let Self { program, values, mut duals, .. } = self;
        let costs = program.columns().iter().zip(&values).map(|(c, x)| c.cost * x);
        let (objective, moved) = costs.fold((0.0, 0.0), |(sum, all), c| (sum + c, all + c.abs()));
        let proven = objective - bound(program, &mut duals) <= PROVEN * moved;
        proven.then_some(Answer { verdict: Verdict::Optimal, objective, values, duals })
    }

    /// By how much the values of a slot are dearer than its multipliers and those of the
    /// next say that they could be.
    fn lost(&self, slot: usize, (own, next): (&[f64], &[f64])) -> f64 {
        let mut lost = 0.0;
        let columns = &self.places.columns_of[slot];
        let mut reduced: Vec<f64> =
            columns.iter().map(|&c| self.program.columns()[c].cost).collect();
        let mut priced = |row: usize, dual: f64| {
            let (indices, coefficients) = self.program.terms(row);
            for (&column, &value) in indices.iter().zip(coefficients) {
                if let Ok(place) = columns.binary_search(&(column as usize)) {
                    reduced[place] -= dual * value;
                }
            }
        };
        for &row in &self.places.rows_of[slot] {
            priced(row, own[row]);
            let (indices, coefficients) = self.program.terms(row);
            let terms = indices.iter().zip(coefficients);
            let sum: f64 = terms.map(|(&c, value)| value * self.values[c as usize]).sum();
            lost += beyond(own[row], sum, self.program.bounds()[row]);
        }
        for &row in self.places.rows_of.get(slot + 1).into_iter().flatten() {
            priced(row, next[row]);
        }
        for (&column, &reduced) in columns.iter().zip(&reduced) {
            let own = self.program.columns()[column];
            lost += beyond(reduced, self.values[column], (own.lower, own.upper));
        }
        lost
    }
}

/// What a value costs beyond the end of its range at which a price would have it.
fn beyond(price: f64, value: f64, range: (f64, f64)) -> f64 {
    let end = end(price, range);
    if end.is_finite() {
        price * (value - end)
    } else if price.abs() > TOLERANCE {
        f64::INFINITY
    } else {
        0.0
    }
}

/// The end of a range at which a price would have a value.
fn end(price: f64, (lower, upper): (f64, f64)) -> f64 {
    if price > 0.0 { lower } else { upper }
}

/// What no answer of a program can cost less than, by its multipliers:
/// `Σ y·b + Σ (c − Aᵀy)·x` with each `b` and `x` at the end of its range that is least.
/// Multipliers of ends that are not there are taken back to zero. A column without an end
/// on the side of its price has no bound, but for the solver's tolerance.
fn bound(program: &Program, duals: &mut [f64]) -> f64 {
    let mut reduced: Vec<f64> = program.columns().iter().map(|c| c.cost).collect();
    let mut bound = 0.0;
    for (row, dual) in duals.iter_mut().enumerate() {
        let end = end(*dual, program.bounds()[row]);
        if end.is_infinite() {
            *dual = 0.0;
            continue;
        }
        bound += *dual * end;
        let (indices, coefficients) = program.terms(row);
        for (&column, &value) in indices.iter().zip(coefficients) {
            reduced[column as usize] -= *dual * value;
        }
    }
    let ends = program.columns().iter().map(|c| (c.lower, c.upper));
    bound + reduced.iter().zip(ends).map(|(&price, range)| least(price, range)).sum::<f64>()
}

/// The least that a column costs at a price, wherever it is in its range.
fn least(price: f64, range: (f64, f64)) -> f64 {
    let end = end(price, range);
    if end.is_finite() {
        price * end
    } else if price.abs() > TOLERANCE {
        f64::NEG_INFINITY
    } else {
        0.0
    }
}

/// The slot that each column and row belongs to.
struct Places {
    columns: Vec<usize>,
    rows: Vec<usize>,
    /// The columns and rows of each slot, rising.
    columns_of: Vec<Vec<usize>>,
    rows_of: Vec<Vec<usize>>,
}

impl Places {
    /// What stands behind the slots belongs to the last slot that it has to do with.
    /// `None` where a row has to do with a slot after its own.
    fn of(program: &Program) -> Option<Self> {
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

/// A part of a program whose slots before it are settled.
struct Window {
    program: Program,
    /// Its columns and rows, as the whole program counts them.
    columns: Vec<usize>,
    rows: Vec<usize>,
}

impl Window {
    fn of(whole: &Program, places: &Places, slots: Range<usize>, values: &[f64]) -> Self {
        let blocks = &whole.blocks()[slots.clone()];
        let mut program = Program::default();
        let mut columns = Vec::new();
        let mut rows = Vec::new();
        let mut own = vec![None; whole.columns().len()];
        let mut add = |program: &mut Program, column: usize| {
            let old = whole.columns()[column];
            own[column] = Some(program.column(old.cost, old.lower, old.upper));
            columns.push(column);
        };
        for block in blocks {
            program.open_columns(block.start);
            block.columns.clone().for_each(|column| add(&mut program, column));
            program.close_columns();
        }
        let behind = |all: &[usize], first: usize| -> Vec<usize> {
            (first..all.len()).filter(|&index| slots.contains(&all[index])).collect()
        };
        let (column, row) =
            whole.blocks().last().map_or((0, 0), |last| (last.columns.end, last.rows.end));
        for column in behind(&places.columns, column) {
            add(&mut program, column);
        }
        let mut add = |program: &mut Program, row: usize| {
            let (indices, coefficients) = whole.terms(row);
            let mut settled = 0.0;
            let mut terms = Vec::with_capacity(indices.len());
            for (&column, &value) in indices.iter().zip(coefficients) {
                match own[column as usize] {
                    Some(own) => terms.push((own, value)),
                    None => settled += value * values[column as usize],
                }
            }
            let (lower, upper) = whole.bounds()[row];
            program.row(lower - settled, upper - settled, terms);
            rows.push(row);
        };
        for (slot, block) in blocks.iter().enumerate() {
            let first = program.bounds().len();
            block.rows.clone().for_each(|row| add(&mut program, row));
            program.claim_rows(slot, first);
        }
        for row in behind(&places.rows, row) {
            add(&mut program, row);
        }
        Self { program, columns, rows }
    }
}

#[cfg(test)]
mod tests;
