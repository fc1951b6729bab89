//! A program kept inside the solver.

use good_lp::solvers::highs::highs;
use good_lp::{Expression, ProblemVariables, SolverModel, constraint, variable};

use crate::model::{Block, Program};
use crate::time::Instant;

use super::basis::Basis;
use super::raw::{Engine, Method};
use super::{SolveError, SolveLimits};

/// Beyond what any row of a house can reach; HiGHS itself takes 1e20 as infinite.
const FAR: f64 = 1e19;

/// How a solve ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// Solved to optimality.
    Optimal,
    /// A limit was reached; the values are feasible but perhaps not the best.
    Limit,
    /// Nothing satisfies all rows and bounds.
    Infeasible,
    /// Anything else, in the solver's words.
    Failed(&'static str),
}

/// What the solver answers.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// How the solve ended.
    pub verdict: Verdict,
    /// Cost of all columns.
    pub objective: f64,
    /// Value of each column.
    pub values: Vec<f64>,
    /// Change of the objective for each unit of a row's bound.
    pub duals: Vec<f64>,
}

/// A program in the solver, with the basis of its last answer.
pub struct Live {
    engine: Engine,
    program: Program,
    /// Basis of the last answer, placed onto the program loaded.
    basis: Option<Basis>,
    /// Whether the solver has left that basis.
    astray: bool,
}

impl Live {
    /// Loads a program; good_lp builds it.
    ///
    /// # Errors
    /// If a number is not fit for the solver, or the solver refuses.
    pub fn new(program: Program) -> Result<Self, SolveError> {
        fit(&program)?;
        let engine = Engine::new(build(&program)?)?;
        Ok(Self { engine, program, basis: None, astray: false })
    }

    /// Puts another program in the place of the one loaded. Where the shapes
    /// agree only numbers change and the basis is kept; where time has moved on
    /// it moves with the slots.
    ///
    /// # Errors
    /// If a number is not fit for the solver, or the solver refuses.
    pub fn load(&mut self, program: Program) -> Result<(), SolveError> {
        fit(&program)?;
        if !alike(&self.program, &program) {
            *self = Self::new(program)?;
            return Ok(());
        }
        let columns = self.program.columns().len().min(program.columns().len());
        let rows = self.program.bounds().len().min(program.bounds().len());
        self.engine.truncate(columns, rows, &self.program)?;
        self.engine.append_columns(columns, &program)?;
        self.engine.change(columns, rows, &self.program, &program)?;
        self.engine.append_rows(rows, &program)?;
        let old = std::mem::replace(&mut self.program, program);
        if let Some(basis) = &mut self.basis {
            let begins = |program: &Program| program.blocks().first().map(|b| b.start);
            let moved = begins(&old) != begins(&self.program);
            let grown = old.columns().len() != self.program.columns().len()
                || old.bounds().len() != self.program.bounds().len();
            if moved || grown || self.astray {
                *basis = basis.placed(old.blocks(), &self.program);
                self.engine.set_basis(basis)?;
                self.astray = false;
            }
        }
        Ok(())
    }

    /// When its first slot begins.
    pub(super) fn begins(&self) -> Option<Instant> {
        self.program.blocks().first().map(|block| block.start)
    }

    /// The basis of the last answer, with the slots that it belongs to.
    pub(super) fn standing(&self) -> Option<(Basis, Vec<Block>)> {
        Some((self.basis.clone()?, self.program.blocks().to_vec()))
    }

    /// Begins the next solve from a basis for slots of the same shape.
    pub(super) fn stand(&mut self, basis: &Basis, blocks: &[Block]) -> Result<(), SolveError> {
        let basis = basis.placed(blocks, &self.program);
        self.engine.set_basis(&basis)?;
        self.basis = Some(basis);
        self.astray = false;
        Ok(())
    }

    /// Solves from the last basis, if there is one, however far that is from the best one.
    ///
    /// # Errors
    /// If the solver refuses the program; limits and infeasibility are verdicts.
    pub fn solve(&mut self, limits: SolveLimits) -> Result<Answer, SolveError> {
        let answer = self.engine.run(Method::Primal, limits)?;
        if answer.verdict == Verdict::Optimal {
            self.basis = Some(self.engine.basis()?);
            return Ok(answer);
        }
        // The solver stands somewhere else now; the basis is still the best
        // start for what comes next.
        self.astray = true;
        if answer.verdict == Verdict::Limit {
            return Ok(answer);
        }
        // A feasible program has been called infeasible from an old basis, and from none by
        // either simplex; so both are asked, from nothing.
        self.engine.forget()?;
        let answer = self.engine.run(Method::Dual, limits)?;
        if answer.verdict != Verdict::Infeasible {
            return Ok(answer);
        }
        self.engine.forget()?;
        self.engine.run(Method::Disturbed, limits)
    }
}

/// Solves a large program by an interior point without crossover, whose answer is no
/// vertex and leaves no basis. Where that ends without an answer, by the simplex method.
pub(super) fn solve_whole(program: &Program, limits: SolveLimits) -> Result<Answer, SolveError> {
    let mut engine = Engine::new(build(program)?)?;
    let answer = engine.run(Method::Interior, limits)?;
    // It has been seen to stop short on prices that swing by a thousandfold.
    if matches!(answer.verdict, Verdict::Failed(_)) {
        engine.forget()?;
        return engine.run(Method::Dual, limits);
    }
    Ok(answer)
}

pub(super) fn fit(program: &Program) -> Result<(), SolveError> {
    program.unfit().map_or(Ok(()), |what| Err(SolveError::Unfit(what)))
}

/// Whether two programs have slots of the same shape, so that one can be
/// changed into the other. What stands behind the slots is small and may differ.
fn alike(old: &Program, new: &Program) -> bool {
    let shape = |program: &Program| {
        let blocks = program.blocks().iter();
        blocks.map(|b| (b.columns.clone(), b.rows.clone())).collect::<Vec<_>>()
    };
    let same_places = |rows: &std::ops::Range<usize>| {
        rows.clone().all(|row| old.terms(row).0 == new.terms(row).0)
    };
    !new.blocks().is_empty()
        && shape(old) == shape(new)
        && new.blocks().iter().all(|block| same_places(&block.rows))
}

fn build(program: &Program) -> Result<::highs::Model, SolveError> {
    let mut variables = ProblemVariables::new();
    let columns: Vec<_> = program
        .columns()
        .iter()
        .map(|c| variables.add(variable().min(c.lower).max(c.upper)))
        .collect();
    let mut objective = Expression::with_capacity(columns.len());
    for (variable, column) in columns.iter().zip(program.columns()) {
        objective.add_mul(column.cost, *variable);
    }
    let mut model = variables.minimise(objective).using(highs);
    for (row, &(lower, upper)) in program.bounds().iter().enumerate() {
        let (indices, values) = program.terms(row);
        let mut sum = Expression::with_capacity(indices.len());
        for (&index, &value) in indices.iter().zip(values) {
            sum.add_mul(value, columns[index as usize]);
        }
        if upper.is_infinite() {
            // A row without any bound keeps its place; far below is no bound.
            let lower = if lower.is_infinite() { -FAR } else { lower };
            model.add_constraint(constraint::geq(sum, lower));
        } else if lower.is_infinite() {
            model.add_constraint(constraint::leq(sum, upper));
        } else if lower >= upper {
            model.add_constraint(constraint::eq(sum, lower));
        } else {
            return Err(SolveError::Unfit(format!("row {row} is bounded on both sides")));
        }
    }
    model.try_into_inner().map_err(|error| SolveError::Refused(error.to_string()))
}
