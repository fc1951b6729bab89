//! What is shown is made from this and nothing else.

use optimiser::time::Instant;

use super::plant_room::RoomEstimate;
use crate::house::House;
use crate::service::planning::Made;
use crate::service::planning::estimate::Estimate;
use crate::service::state::State;

/// All that is known at an instant.
pub(super) struct View<'a> {
    /// When.
    pub(super) now: Instant,
    /// The house.
    pub(super) house: &'a House,
    /// What was heard and asked for.
    pub(super) state: &'a State,
    /// The last schedule made, if it still holds.
    pub(super) made: Option<&'a Made>,
    /// Each store as it is thought to be.
    pub(super) stores: &'a [Estimate],
    /// Energy in the battery above empty [kWh].
    pub(super) battery_kwh: f64,
    /// Buffer, rooms and pool.
    pub(super) room: &'a RoomEstimate,
}
