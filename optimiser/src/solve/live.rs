//! A program kept inside the solver.

use good_lp::solvers::highs::highs;
use good_lp::{Expression, ProblemVariables, SolverModel, constraint, variable};

use crate::model::Program;

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
    solved: bool,
}

impl Live {
    /// Loads a program; good_lp builds it.
    ///
    /// # Errors
    /// If a number is not fit for the solver, or the solver refuses.
    pub fn new(program: Program) -> Result<Self, SolveError> {
        fit(&program)?;
        let engine = Engine::new(build(&program)?)?;
        Ok(Self { engine, program, solved: false })
    }

    /// Puts another program in the place of the one loaded. Where the shapes
    /// agree only numbers change and the basis is kept.
    ///
    /// # Errors
    /// If a number is not fit for the solver, or the solver refuses.
    pub fn load(&mut self, program: Program) -> Result<(), SolveError> {
        fit(&program)?;
        let Some((columns, rows)) = common_shape(&self.program, &program) else {
            *self = Self::new(program)?;
            return Ok(());
        };
        self.engine.truncate(columns, rows, &self.program)?;
        self.engine.change(columns, rows, &self.program, &program)?;
        self.engine.append(columns, rows, &program)?;
        self.program = program;
        Ok(())
    }

    /// Solves from the last basis, if there is one.
    ///
    /// # Errors
    /// If the solver refuses the program; limits and infeasibility are verdicts.
    pub fn solve(&mut self, limits: SolveLimits) -> Result<Answer, SolveError> {
        // Cold, the primal simplex without presolve is the fastest on ladders;
        // from a basis that was optimal a little earlier, the dual simplex is.
        let method = if self.solved { Method::Dual } else { Method::Primal };
        let answer = self.engine.run(method, limits)?;
        self.solved = answer.verdict == Verdict::Optimal;
        if matches!(answer.verdict, Verdict::Optimal | Verdict::Limit) {
            return Ok(answer);
        }
        // An old basis has been seen to call a feasible program infeasible;
        // only a cold solve is believed.
        self.engine.forget()?;
        self.engine.run(Method::Dual, limits)
    }
}

fn fit(program: &Program) -> Result<(), SolveError> {
    program.unfit().map_or(Ok(()), |what| Err(SolveError::Unfit(what)))
}

/// Columns and rows, from the first on, in which two programs have the same
/// places for coefficients. Extras stand at the end and are few; `None` where
/// the programs differ before them.
fn common_shape(old: &Program, new: &Program) -> Option<(usize, usize)> {
    let most = old.bounds().len().max(new.bounds().len());
    let least = old.bounds().len().min(new.bounds().len());
    let rows = (0..least).take_while(|&row| old.terms(row).0 == new.terms(row).0).count();
    let columns = old.columns().len().min(new.columns().len());
    let used = (0..rows).flat_map(|row| old.terms(row).0).max().map_or(0, |&c| c as usize + 1);
    let few_extras = rows > 0 && (most - rows) * 4 <= rows;
    (few_extras && used <= columns).then_some((columns, rows))
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
