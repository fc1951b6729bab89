//! Calls into the HiGHS C interface that its Rust wrapper does not offer:
//! change a loaded model in place, keep and set a basis.
#![expect(unsafe_code, reason = "the C interface takes pointers; each call says why it is sound")]

use std::ffi::c_void;

use highs_sys as c;

use crate::model::Program;

use super::basis::Basis;
use super::live::{Answer, Verdict};
use super::{SolveError, SolveLimits};

/// A HiGHS instance with a model in it.
pub(super) struct Engine {
    model: highs::Model,
}

impl Engine {
    pub(super) fn new(mut model: highs::Model) -> Result<Self, SolveError> {
        let refused = |option: &str| SolveError::Refused(format!("option {option}"));
        model.try_set_option("output_flag", false).map_err(|_| refused("output_flag"))?;
        model.try_set_option("threads", 1).map_err(|_| refused("threads"))?;
        model.try_set_option("parallel", "off").map_err(|_| refused("parallel"))?;
        model.try_set_option("random_seed", 0).map_err(|_| refused("random_seed"))?;
        model.try_set_option("presolve", "off").map_err(|_| refused("presolve"))?;
        Ok(Self { model })
    }

    fn pointer(&mut self) -> *mut c_void {
        self.model.as_mut_ptr()
    }

    /// Deletes the rows and columns beyond those to keep.
    pub(super) fn truncate(
        &mut self,
        columns: usize,
        rows: usize,
        loaded: &Program,
    ) -> Result<(), SolveError> {
        let (all_columns, all_rows) = (loaded.columns().len(), loaded.bounds().len());
        let model = self.pointer();
        if all_rows > rows {
            // SAFETY: the range lies within the rows of the loaded model.
            done("delete rows", unsafe {
                c::Highs_deleteRowsByRange(model, int(rows), int(all_rows - 1))
            })?;
        }
        if all_columns > columns {
            // SAFETY: the range lies within the columns of the loaded model.
            done("delete columns", unsafe {
                c::Highs_deleteColsByRange(model, int(columns), int(all_columns - 1))
            })?;
        }
        Ok(())
    }

    /// Changes costs, bounds and coefficients of the first columns and rows
    /// from those of `old` to those of `new`.
    pub(super) fn change(
        &mut self,
        columns: usize,
        rows: usize,
        old: &Program,
        new: &Program,
    ) -> Result<(), SolveError> {
        if columns == 0 || rows == 0 {
            return Ok(());
        }
        let model = self.pointer();
        let fresh = &new.columns()[..columns];
        if fresh != &old.columns()[..columns] {
            let cost: Vec<f64> = fresh.iter().map(|c| c.cost).collect();
            let lower: Vec<f64> = fresh.iter().map(|c| c.lower).collect();
            let upper: Vec<f64> = fresh.iter().map(|c| c.upper).collect();
            // SAFETY: the arrays hold one value for each column in the range.
            done("change costs", unsafe {
                c::Highs_changeColsCostByRange(model, 0, int(columns - 1), cost.as_ptr())
            })?;
            // SAFETY: as above.
            done("change column bounds", unsafe {
                c::Highs_changeColsBoundsByRange(
                    model,
                    0,
                    int(columns - 1),
                    lower.as_ptr(),
                    upper.as_ptr(),
                )
            })?;
        }
        if new.bounds()[..rows] != old.bounds()[..rows] {
            let (lower, upper): (Vec<f64>, Vec<f64>) = new.bounds()[..rows].iter().copied().unzip();
            // SAFETY: the arrays hold one value for each row in the range.
            done("change row bounds", unsafe {
                c::Highs_changeRowsBoundsByRange(
                    model,
                    0,
                    int(rows - 1),
                    lower.as_ptr(),
                    upper.as_ptr(),
                )
            })?;
        }
        for row in 0..rows {
            let ((indices, fresh), (places, stale)) = (new.terms(row), old.terms(row));
            if indices == places {
                for ((&column, &value), &before) in indices.iter().zip(fresh).zip(stale) {
                    if value.to_bits() != before.to_bits() {
                        self.change_coefficient(row, column, value)?;
                    }
                }
                continue;
            }
            // A row that has found other places; columns beyond the kept ones
            // are gone or new.
            let kept = |column: &&u32| (**column as usize) < columns;
            for column in places.iter().filter(kept).filter(|c| !indices.contains(c)) {
                self.change_coefficient(row, *column, 0.0)?;
            }
            for (&column, &value) in indices.iter().zip(fresh) {
                self.change_coefficient(row, column, value)?;
            }
        }
        Ok(())
    }

    fn change_coefficient(
        &mut self,
        row: usize,
        column: u32,
        value: f64,
    ) -> Result<(), SolveError> {
        let model = self.pointer();
        // SAFETY: row and column exist in the loaded model.
        done("change a coefficient", unsafe {
            c::Highs_changeCoeff(model, int(row), column as c::HighsInt, value)
        })
    }

    /// Adds the columns of a program beyond those already loaded.
    pub(super) fn append_columns(
        &mut self,
        columns: usize,
        program: &Program,
    ) -> Result<(), SolveError> {
        let model = self.pointer();
        for column in &program.columns()[columns..] {
            // SAFETY: a column without coefficients; the null pointers are not read.
            done("add a column", unsafe {
                c::Highs_addCol(
                    model,
                    column.cost,
                    column.lower,
                    column.upper,
                    0,
                    std::ptr::null(),
                    std::ptr::null(),
                )
            })?;
        }
        Ok(())
    }

    /// Adds the rows of a program beyond those already loaded.
    pub(super) fn append_rows(&mut self, rows: usize, program: &Program) -> Result<(), SolveError> {
        let model = self.pointer();
        for row in rows..program.bounds().len() {
            let (lower, upper) = program.bounds()[row];
            let (indices, values) = program.terms(row);
            let indices: Vec<c::HighsInt> = indices.iter().map(|&i| i as c::HighsInt).collect();
            // SAFETY: both arrays hold `indices.len()` values and every index is
            // a column of the program, all of which are loaded by now.
            done("add a row", unsafe {
                c::Highs_addRow(
                    model,
                    lower,
                    upper,
                    int(indices.len()),
                    indices.as_ptr(),
                    values.as_ptr(),
                )
            })?;
        }
        Ok(())
    }

    /// The basis of the last answer.
    pub(super) fn basis(&mut self) -> Result<Basis, SolveError> {
        let (columns, rows) = (self.model.num_cols(), self.model.num_rows());
        let mut basis = Basis { columns: vec![0; columns], rows: vec![0; rows] };
        let model = self.pointer();
        // SAFETY: the arrays have one place for each column and row.
        done("read the basis", unsafe {
            c::Highs_getBasis(model, basis.columns.as_mut_ptr(), basis.rows.as_mut_ptr())
        })?;
        Ok(basis)
    }

    /// Starts the next solve from a basis, which need not be complete.
    pub(super) fn set_basis(&mut self, basis: &Basis) -> Result<(), SolveError> {
        let fits = basis.columns.len() == self.model.num_cols()
            && basis.rows.len() == self.model.num_rows();
        if !fits {
            return Err(SolveError::Refused("a basis of another size".to_owned()));
        }
        let model = self.pointer();
        // SAFETY: the arrays have one value for each column and row.
        done("set the basis", unsafe {
            c::Highs_setBasis(model, basis.columns.as_ptr(), basis.rows.as_ptr())
        })
    }

    /// Forgets the basis.
    pub(super) fn forget(&mut self) -> Result<(), SolveError> {
        let model = self.pointer();
        // SAFETY: takes only the instance.
        done("forget the basis", unsafe { c::Highs_clearSolver(model) })
    }

    /// Solves from the present basis, or from the slack basis if there is none.
    pub(super) fn run(
        &mut self,
        method: Method,
        limits: SolveLimits,
    ) -> Result<Answer, SolveError> {
        let refused = |option: &str| SolveError::Refused(format!("option {option}"));
        self.model.try_set_option("solver", method.solver()).map_err(|_| refused("solver"))?;
        if method == Method::Interior {
            for (option, value) in [("presolve", "on"), ("run_crossover", "off")] {
                self.model.try_set_option(option, value).map_err(|_| refused(option))?;
            }
        }
        self.model
            .try_set_option("simplex_strategy", method.strategy())
            .map_err(|_| refused("simplex_strategy"))?;
        self.model
            .try_set_option("simplex_scale_strategy", method.scaling())
            .map_err(|_| refused("simplex_scale_strategy"))?;
        self.model
            .try_set_option("primal_simplex_bound_perturbation_multiplier", method.disturbance())
            .map_err(|_| refused("primal_simplex_bound_perturbation_multiplier"))?;
        self.model
            .try_set_option("time_limit", limits.seconds)
            .map_err(|_| refused("time_limit"))?;
        let (columns, rows) = (self.model.num_cols(), self.model.num_rows());
        let model = self.pointer();
        // The time limit counts all runs since the clocks were last zeroed.
        // SAFETY: takes only the instance.
        done("zero the clocks", unsafe { c::Highs_zeroAllClocks(model) })?;
        // SAFETY: takes only the instance.
        let ran = unsafe { c::Highs_run(model) };
        // SAFETY: takes only the instance.
        let status = unsafe { c::Highs_getModelStatus(model) };
        // SAFETY: takes only the instance.
        let objective = unsafe { c::Highs_getObjectiveValue(model) };
        let verdict = match verdict(status, objective) {
            _ if ran == c::STATUS_ERROR => Verdict::Failed("the solver broke off"),
            Verdict::Limit if !self.is_feasible() => {
                Verdict::Failed("the solver reached a limit without a feasible answer")
            }
            verdict => verdict,
        };
        let mut values = vec![0.0; columns];
        let mut duals = vec![0.0; rows];
        if !matches!(verdict, Verdict::Optimal | Verdict::Limit) {
            // There is no solution, and HiGHS calls it an error to ask for one.
            return Ok(Answer { verdict, objective, values, duals });
        }
        // SAFETY: the arrays have one place for each column and row; the
        // interface leaves out what has a null pointer.
        done("read the solution", unsafe {
            c::Highs_getSolution(
                model,
                values.as_mut_ptr(),
                std::ptr::null_mut(),
                std::ptr::null_mut(),
                duals.as_mut_ptr(),
            )
        })?;
        Ok(Answer { verdict, objective, values, duals })
    }

    /// Whether the values of the last run satisfy every row and bound.
    fn is_feasible(&mut self) -> bool {
        let mut status = 0;
        // SAFETY: the name is a C string and the status outlives the call.
        let known = unsafe {
            c::Highs_getIntInfoValue(
                self.pointer(),
                c"primal_solution_status".as_ptr(),
                &raw mut status,
            )
        };
        known == c::STATUS_OK && status == c::kHighsSolutionStatusFeasible
    }
}

/// How the simplex method moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Method {
    /// The primal simplex from the present basis: cold the fastest on ladders, hot as
    /// fast as the dual simplex, which has been seen to overflow its stack where values
    /// become infinite.
    Primal,
    /// The dual simplex from nothing.
    Dual,
    /// The primal simplex from nothing, bounds disturbed.
    Disturbed,
    /// An interior point after presolve, without crossover to a vertex.
    Interior,
}

impl Method {
    /// HiGHS's own name of the kind of method.
    const fn solver(self) -> &'static str {
        match self {
            Self::Dual | Self::Primal | Self::Disturbed => "simplex",
            Self::Interior => "ipm",
        }
    }

    /// HiGHS's own number of the method.
    const fn strategy(self) -> i32 {
        match self {
            Self::Dual | Self::Interior => 1,
            Self::Primal | Self::Disturbed => 4,
        }
    }

    /// HiGHS's own number of the scaling: it takes up to twice as long, but without it a
    /// feasible program has been called infeasible, so who is believed in that scales.
    const fn scaling(self) -> i32 {
        if matches!(self, Self::Primal) { 0 } else { 1 }
    }

    /// How much bounds are disturbed, as a share of what HiGHS chooses. From a basis that
    /// is nearly optimal a disturbance leads away; from nothing it has found an answer
    /// where there seemed to be none.
    const fn disturbance(self) -> f64 {
        if matches!(self, Self::Primal) { 0.0 } else { 1.0 }
    }
}

fn verdict(status: c::HighsInt, objective: f64) -> Verdict {
    match status {
        c::MODEL_STATUS_OPTIMAL if objective.is_finite() => Verdict::Optimal,
        c::MODEL_STATUS_REACHED_TIME_LIMIT
        | c::MODEL_STATUS_REACHED_ITERATION_LIMIT
        | c::MODEL_STATUS_REACHED_SOLUTION_LIMIT
            if objective.is_finite() =>
        {
            Verdict::Limit
        }
        c::MODEL_STATUS_INFEASIBLE | c::MODEL_STATUS_UNBOUNDED_OR_INFEASIBLE => Verdict::Infeasible,
        c::MODEL_STATUS_UNBOUNDED => Verdict::Failed("the program is unbounded"),
        c::MODEL_STATUS_MODEL_EMPTY => Verdict::Failed("the program is empty"),
        _ => Verdict::Failed("the solver stopped without an answer"),
    }
}

fn int(value: usize) -> c::HighsInt {
    c::HighsInt::try_from(value).expect("a program has fewer columns and rows than 2^31")
}

fn done(what: &str, status: c::HighsInt) -> Result<(), SolveError> {
    if status == c::STATUS_ERROR { Err(SolveError::Refused(format!("to {what}"))) } else { Ok(()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_options_that_make_answers_repeatable_are_set() {
        let mut engine = Engine::new(highs::RowProblem::default().optimise(highs::Sense::Minimise))
            .expect("an engine");
        for (name, expected) in [(c"threads", 1), (c"random_seed", 0)] {
            let mut value: c::HighsInt = -1;
            // SAFETY: the name is a C string and the value outlives the call.
            let status = unsafe {
                c::Highs_getIntOptionValue(engine.pointer(), name.as_ptr(), &raw mut value)
            };
            assert_eq!((status, value), (c::STATUS_OK, expected), "{name:?}");
        }
    }
}
