//! The solver: a linear program in, an answer out.
//!
//! good_lp builds a model from a [`Program`]; HiGHS solves it. The model is
//! kept, and the next program of the same shape only changes what differs, so
//! that the solver starts from its last basis. HiGHS must be used from one
//! long-lived thread; it runs with `threads = 1`.

mod basis;
mod live;
mod raw;
#[cfg(test)]
mod tests;
mod windows;

pub use live::{Answer, Live, Verdict};
pub use windows::{Best, PeriodSolver};

/// Limits of one solve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SolveLimits {
    /// Time HiGHS may take [s]. HiGHS reads a clock that can be set, so whoever
    /// must have an answer in time also watches a monotonic one.
    pub seconds: f64,
    /// Relative gap at which the choice of directions counts as solved.
    pub relative_gap: f64,
    /// Most other choices of directions that are tried.
    pub branches: usize,
}

impl Default for SolveLimits {
    fn default() -> Self {
        Self { seconds: 10.0, relative_gap: 1e-4, branches: 12 }
    }
}

/// Why the solver gave no answer at all.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SolveError {
    /// A number in the program is not fit for the solver.
    #[error("the program holds a number that cannot be solved: {0}")]
    Unfit(String),
    /// The solver refused the program or an option.
    #[error("the solver refused: {0}")]
    Refused(String),
}
