//! What to expect where nothing is known yet, from the past alone.
//!
//! Every forecast asks a [`Knowledge`], which answers nothing about the future that
//! was not published or agreed.

mod caution;
mod diary;
mod draws;
mod knowledge;
mod meter;
mod prices;
mod readiness;
mod reserve;
mod surprise;
mod weather;

pub use caution::Caution;
pub use diary::Diary;
pub use draws::draws;
pub use knowledge::{Knowledge, Mark};
pub use meter::{Correction, RECENT, base_load, pv};
pub use prices::{Expected, prices};
pub use readiness::Readiness;
pub use reserve::{Reserve, reserve};
pub use surprise::{MEMORY_DAYS, Surprises};
pub use weather::{air, light};

/// Mean of what there is.
fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values.fold((0.0, 0_u32), |(sum, n), value| (sum + value, n + 1));
    (count > 0).then(|| sum / f64::from(count))
}
