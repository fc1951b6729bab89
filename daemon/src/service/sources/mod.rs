//! Where prices and forecasts come from, and what is made of them.

mod desk;
mod feed;
mod forecasts;

pub use desk::{PriceDesk, Taken};
pub use feed::{Delivery, Subject, watch_file, watch_url};
pub use forecasts::Forecasts;
