//! The controls people have today, each tuned on the judged period itself.
//!
//! A rule is given what the planner is not: its best parameters in hindsight,
//! for each house and period. Each sets the thermostat dials of the elements,
//! and each obeys the same pasteurisation rule: from a day before it falls due
//! the dials go up and the lowest element stays on until the hold is proven.
//! Where a heat pump or boiler heats a store, it does what the rule says of the lowest
//! element (`keeper`), and the elements there take PV surplus or stay off.

mod ahead;
pub(super) mod keeper;
mod rule;
mod tuning;

pub use rule::{Rule, Ruled, Window};
pub use tuning::{Ground, Kind, Tuned, TunedTogether, settings, tune, tune_together};
