//! A program kept inside the solver.

use good_lp::solvers::highs::highs;
use good_lp::{Expression, ProblemVariables, SolverModel, constraint, variable};

use crate::model::Program;

use super::raw::Engine;
use super::{SolveError, SolveLimits};

/// How a solve ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Verdict {
    Optimal,
    /// A limit was reached; the values are feasible but perhaps not the best.
    Limit,
    Infeasible,
    /// Anything else, in the solver's words.
    Failed(&'static str),
}

/// What the solver answers.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Answer {
    pub(crate) verdict: Verdict,
    pub(crate) objective: f64,
    /// Value of each column.
    pub(crate) values: Vec<f64>,
    /// Change of the objective for each unit of a row's bound.
    pub(crate) duals: Vec<f64>,
}

/// A program in the solver, with the basis of its last answer.
pub(crate) struct Live {
    engine: Engine,
    program: Program,
}

impl Live {
    /// Loads a program; good_lp builds it.
    pub(crate) fn new(program: Program) -> Result<Self, SolveError> {
        fit(&program)?;
        let engine = Engine::new(build(&program)?)?;
        Ok(Self { engine, program })
    }

    /// Puts another program in the place of the one loaded. Where the shapes
    /// agree only numbers change and the basis is kept.
    pub(crate) fn load(&mut self, program: Program) -> Result<(), SolveError> {
        fit(&program)?;
        let common = common_shape(&self.program, &program);
        if let Some((columns, rows)) = common {
            self.engine.truncate(columns, rows, &self.program)?;
            self.engine.change(columns, rows, &self.program, &program)?;
            self.engine.append(columns, rows, &program)?;
            self.program = program;
        } else {
            *self = Self::new(program)?;
        }
        Ok(())
    }

    /// Moves the basis one slot on: the statuses of the first slot are dropped
    /// and those of the last are repeated. For programs laid out slot by slot.
    pub(crate) fn shift_basis(
        &mut self,
        columns: std::ops::Range<usize>,
        columns_per_slot: usize,
        rows: std::ops::Range<usize>,
        rows_per_slot: usize,
    ) -> Result<(), SolveError> {
        self.engine.shift_basis(columns, columns_per_slot, rows, rows_per_slot)
    }

    /// Solves; with binaries also once more with them fixed, so that there are
    /// duals.
    pub(crate) fn solve(&mut self, limits: SolveLimits) -> Result<Answer, SolveError> {
        let binaries: Vec<usize> = (0..self.program.columns().len())
            .filter(|&i| self.program.columns()[i].binary)
            .collect();
        let mut answer = self.solve_once(limits, &binaries)?;
        if !binaries.is_empty() && matches!(answer.verdict, Verdict::Optimal | Verdict::Limit) {
            let verdict = answer.verdict;
            let chosen: Vec<f64> = binaries.iter().map(|&i| answer.values[i].round()).collect();
            self.engine.fix(&binaries, &chosen)?;
            let fixed = self.engine.run(limits)?;
            self.engine.release(&binaries)?;
            if fixed.verdict == Verdict::Optimal {
                answer = Answer { verdict, ..fixed };
            } else {
                answer.verdict = verdict;
            }
        }
        Ok(answer)
    }

    fn solve_once(
        &mut self,
        limits: SolveLimits,
        binaries: &[usize],
    ) -> Result<Answer, SolveError> {
        if binaries.is_empty() {
            self.engine.all_continuous()?;
        } else {
            self.engine.make_binary(binaries)?;
        }
        let answer = self.engine.run(limits)?;
        if matches!(answer.verdict, Verdict::Optimal | Verdict::Limit) {
            return Ok(answer);
        }
        // Presolve and an old basis have both been seen to call a feasible
        // program infeasible; only a cold solve without presolve is believed.
        let cold = self.engine.run_cold(limits)?;
        if matches!(cold.verdict, Verdict::Optimal | Verdict::Limit) {
            return Ok(cold);
        }
        // The basis of a program without an answer leads the next astray.
        self.engine.forget()?;
        let doubtful = answer.verdict == Verdict::Infeasible;
        Ok(if doubtful { Answer { verdict: Verdict::Infeasible, ..cold } } else { cold })
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
    let pairs = old.columns().iter().zip(new.columns());
    let columns = pairs.take_while(|(a, b)| a.binary == b.binary).count();
    let used = (0..rows).flat_map(|row| old.terms(row).0).max().map_or(0, |&c| c as usize + 1);
    let few_extras = rows > 0 && (most - rows) * 4 <= rows;
    (few_extras && used <= columns).then_some((columns, rows))
}

fn build(program: &Program) -> Result<::highs::Model, SolveError> {
    let mut variables = ProblemVariables::new();
    let columns: Vec<_> = program
        .columns()
        .iter()
        .map(|c| {
            let definition = variable().min(c.lower).max(c.upper);
            variables.add(if c.binary { definition.integer() } else { definition })
        })
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
