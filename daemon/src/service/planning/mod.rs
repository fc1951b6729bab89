//! From what is known now to a schedule, on a thread of its own.

mod allowances;
pub mod battery;
pub mod estimate;
mod making;
mod solver;
mod wishes;

pub use battery::BatteryOrder;
pub use making::{Made, Priced, Program, Snapshot, Taste, make};
pub use solver::{Answer, Solver};
