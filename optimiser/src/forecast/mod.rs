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
mod reserve;
mod weather;

pub use caution::Caution;
pub use diary::Diary;
pub use draws::{draws, kept_ready};
pub use knowledge::{Knowledge, Mark};
pub use meter::{Correction, RECENT, base_load, pv};
pub use prices::{Expected, prices};
pub use reserve::{Reserve, reserve};
pub use weather::{air, light};

/// Mean of what there is.
fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values.fold((0.0, 0_u32), |(sum, n), value| (sum + value, n + 1));
    (count > 0).then(|| sum / f64::from(count))
}
