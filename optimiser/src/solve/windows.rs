//! A long program, window by window.
//!
//! What is stored in a house joins the slots of a program, and hardly reaches beyond a
//! few days. So a window is solved, its first slots are settled, and the next window
//! begins where they end. When all are solved their multipliers say what each leaves to
//! the next is worth, and they are solved again with that. The settled values satisfy all
//! of the program. Whether they are also the best is not taken on trust: the settled
//! multipliers give a bound below every answer (Lagrangian duality), and both must agree.
//! Where the multipliers of two windows do not go together, those around their joint are
//! made the best that go with all others.

mod part;

use std::collections::BTreeMap;

use crate::model::{Block, Program};

use super::basis::Basis;
use super::live::{Answer, Live, Verdict, fit, solve_whole};
use super::{SolveError, SolveLimits};
use part::{Before, Places, Window};

/// Slots that a window settles, and slots that it looks ahead beyond them.
const SETTLED: usize = 240;
const AHEAD: usize = 240;

/// How often all windows are solved: the first time as if nothing came behind them, then
/// with what the last time says that it is worth.
const SWEEPS: usize = 4;

/// Slots before and behind a joint of two windows in which their multipliers may be joined.
const MENDED: usize = 120;

/// A program is long from so many slots on.
const LONG: usize = 2 * (SETTLED + AHEAD);

/// What two windows may disagree by, and what an answer may lie above the bound by that is
/// the best one, or nearly, as shares of the money that moves.
const AGREED: f64 = 1e-7;
const PROVEN: f64 = 1e-5;
const NEARLY: f64 = 5e-3;

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

    /// Solves a program: in windows, or as one where they do not prove their answer to
    /// within half a per cent of the money that moves.
    ///
    /// # Errors
    /// As [`Live::new`] and [`Live::solve`].
    pub fn solve(&mut self, program: &Program) -> Result<Best, SolveError> {
        fit(program)?;
        let shape = program.blocks().last().map(|last| (last.columns.end, last.rows.end));
        let ended = self.ended.entry(shape.unwrap_or_default()).or_default();
        match solve(program, self.limits, ended)? {
            Some(best) => Ok(best),
            None => Ok(Best { answer: solve_whole(program, self.limits)?, open: 0.0 }),
        }
    }
}

/// An answer to a long program.
#[derive(Debug, Clone, PartialEq)]
pub struct Best {
    /// The answer.
    pub answer: Answer,
    /// By how much the best answer may be cheaper, nothing where this is proven to be it.
    pub open: f64,
}

/// Solves a long program, or `None` where it is short, where its slots are joined in
/// another way, or where the windows do not prove their answer to be nearly the best.
/// `ended` is where the windows of a program like it ended, and where its own do.
fn solve(
    program: &Program,
    limits: SolveLimits,
    ended: &mut Ended,
) -> Result<Option<Best>, SolveError> {
    let long = program.blocks().len() >= LONG;
    let Some(places) = Places::of(program).filter(|_| long) else { return Ok(None) };
    let mut multipliers = vec![0.0; program.bounds().len()];
    for sweep in 1..=SWEEPS {
        let swept = swept(program, &places, &multipliers, limits, ended)?;
        let Some(mut settled) = swept else { return Ok(None) };
        let mut open = settled.open();
        if sweep == SWEEPS && open > PROVEN {
            settled.mend(limits)?;
            open = settled.open();
        }
        if open <= if sweep < SWEEPS { PROVEN } else { NEARLY } {
            return Ok(Some(settled.best()));
        }
        multipliers = settled.duals;
    }
    Ok(None)
}

/// Solves window after window, what each leaves behind it worth what multipliers say;
/// `None` where one has no answer.
fn swept<'a>(
    program: &'a Program,
    places: &'a Places,
    multipliers: &[f64],
    limits: SolveLimits,
    ended: &mut Ended,
) -> Result<Option<Settled<'a>>, SolveError> {
    let slots = program.blocks().len();
    let mut settled = Settled::nothing(program, places);
    let mut live: Option<Live> = None;
    for (own, from) in (0..slots).step_by(SETTLED).enumerate() {
        let to = (from + SETTLED + AHEAD).min(slots);
        let before = Before::Settled(&settled.values);
        let Window { program: part, columns, rows } =
            Window::of(program, places, from..to, &before, multipliers);
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
        settled.take((&columns, &rows), &answer, from);
        if to == slots {
            break;
        }
    }
    Ok(Some(settled))
}

/// What windows have settled so far.
struct Settled<'a> {
    program: &'a Program,
    places: &'a Places,
    values: Vec<f64>,
    duals: Vec<f64>,
    /// The first slots of windows whose multipliers do not go with those before.
    joints: Vec<usize>,
}

impl<'a> Settled<'a> {
    fn nothing(program: &'a Program, places: &'a Places) -> Self {
        Self {
            program,
            places,
            values: vec![0.0; program.columns().len()],
            duals: vec![0.0; program.bounds().len()],
            joints: Vec::new(),
        }
    }

    /// Takes the answer of a window that begins at a slot. Its values count from there.
    /// Its multipliers count from the slot at which they fit best to those of the window
    /// before: where a store is empty or a battery full, both agree, elsewhere several
    /// may be right and not go together.
    fn take(&mut self, (columns, rows): (&[usize], &[usize]), answer: &Answer, from: usize) {
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
        if best.1 > AGREED * self.moved() {
            self.joints.push(from);
        }
    }

    /// Joins the multipliers of windows anew where they do not fit: those around a joint
    /// become the best that go with all others.
    fn mend(&mut self, limits: SolveLimits) -> Result<(), SolveError> {
        for joint in std::mem::take(&mut self.joints) {
            let last = self.program.blocks().len();
            let slots = joint.saturating_sub(MENDED)..(joint + SETTLED + MENDED).min(last);
            let Window { program, rows, .. } =
                Window::of(self.program, self.places, slots, &Before::Priced, &self.duals);
            let answer = Live::new(program)?.solve(limits)?;
            if answer.verdict != Verdict::Optimal {
                continue;
            }
            let mut mended = self.duals.clone();
            for (row, dual) in rows.into_iter().zip(answer.duals) {
                mended[row] = dual;
            }
            if bound(self.program, &mut mended) > bound(self.program, &mut self.duals) {
                self.duals = mended;
            }
        }
        Ok(())
    }

    fn costs(&self) -> impl Iterator<Item = f64> {
        self.program.columns().iter().zip(&self.values).map(|(c, x)| c.cost * x)
    }

    /// The money that moves.
    fn moved(&self) -> f64 {
        self.costs().map(f64::abs).sum()
    }

    /// By how much an answer may be cheaper, as a share of the money that moves.
    fn open(&mut self) -> f64 {
        let objective: f64 = self.costs().sum();
        (objective - bound(self.program, &mut self.duals)) / self.moved().max(TOLERANCE)
    }

    /// The answer, with what is open if that is more than a trifle.
    fn best(mut self) -> Best {
        let open = Some(self.open()).filter(|&open| open > PROVEN);
        let open = open.map_or(0.0, |open| open * self.moved());
        let objective = self.costs().sum();
        let Self { values, duals, .. } = self;
        Best { answer: Answer { verdict: Verdict::Optimal, objective, values, duals }, open }
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

#[cfg(test)]
mod tests;
