//! What hardware is worth: money over years, the marginal value of a capacity,
//! comfort and limits day by day, and which candidates a study looks at.
//!
//! [`finance`] holds the textbook functions, [`appraise`] applies them to an
//! outlay that is bought again when it is worn out. [`multipliers`] says what
//! one more kW, litre, kWh or ampere is worth to somebody who knows the whole
//! period; it orders candidates and replaces no replay.

mod appraisal;
mod capacity;
mod days;
mod design;
pub mod finance;
mod heat;
mod marginal;
mod sample;

pub use appraisal::{Appraisal, Outlay, Terms, appraise};
pub use capacity::Capacity;
pub use days::{Day, Service, days};
pub use design::{Shard, combinations, one_at_a_time};
pub use heat::heat_cost;
pub use marginal::{
    Marginal, Priced, least, least_and_slope, marginal_at, multiplier, multipliers, priced, value,
};
pub use sample::{Stretch, sampling_error, shares, spread};
