//! Price lists: read from several formats, merged by when they were issued.
//!
//! A list is a set of values by half-open slot in universal time. Slots may have
//! any length; nothing is ever placed by its position in a list, and a gap stays
//! a gap.

mod book;
mod duration;
mod json_list;
mod list;
mod openadr;
mod suspicion;

pub use book::{Book, Conflict};
pub use json_list::ListMap;
pub use list::{PriceError, PriceList, Quantity};
pub use openadr::read as read_openadr;
pub use suspicion::Suspicion;
