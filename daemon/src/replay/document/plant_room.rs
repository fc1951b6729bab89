//! What came of a plant room, in the document of a replay.

#![allow(
    rustdoc::broken_intra_doc_links,
    reason = "the comments are the schema's descriptions, with units in plain brackets"
)]

use optimiser::replay::{BandSums, PlantRoomSums};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{fine, money};
use crate::house::House;

/// A plant room beyond stores and elements.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlantRoom {
    /// Paid for fuel; beside the bill [minor unit].
    pub fuel_cost: f64,
    /// Fuel burnt [kWh].
    pub fuel_kwh: f64,
    /// Electricity of heat pumps, boiler and pumps; without elements [kWh].
    pub electricity_kwh: f64,
    /// Heat from each source to each sink that it serves.
    pub routes: Vec<Route>,
    /// Starts of heat pumps and boiler.
    pub starts: usize,
    /// Heat that these starts cost [kWh].
    pub start_kwh: f64,
    /// Hours in which a source was told to run and did not [h].
    pub refused_hours: f64,
    /// Heat through the coils into the stores [kWh].
    pub coils_kwh: f64,
    /// Heat that secondary returns took out of the stores [kWh].
    pub loops_kwh: f64,
    /// Heat lost by their pipes [kWh].
    pub pipes_lost_kwh: f64,
    /// Heat lost by the buffer [kWh].
    pub buffer_lost_kwh: f64,
    /// Heat lost by the rooms [kWh].
    pub rooms_lost_kwh: f64,
    /// Gains of the rooms [kWh].
    pub rooms_gain_kwh: f64,
    /// Heat lost by the pool, less what it took from the sun [kWh].
    pub pool_lost_kwh: f64,
    /// Heat in buffer, rooms, pool and pipes, at the end beyond that at the start [kWh].
    pub gained_kwh: f64,
    /// Air in the rooms against its comfort.
    pub rooms: Option<Kept>,
    /// Water of the pool against its comfort.
    pub pool: Option<Kept>,
}

/// One source and one sink.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "every name states quantity and unit")]
pub struct Route {
    pub source: String,
    pub sink: String,
    pub heat_kwh: f64,
    pub electricity_kwh: f64,
    pub fuel_kwh: f64,
    pub hours: f64,
}

/// A temperature against its comfort.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Kept {
    /// Kelvins below what was asked, times hours [K·h].
    pub kelvin_hours_below: f64,
    /// Kelvins above it, times hours [K·h].
    pub kelvin_hours_above: f64,
    /// Hours in which it was below by more than a tenth of a kelvin [h].
    pub hours_below: f64,
    /// Lowest temperature [°C].
    pub lowest_c: f64,
    /// Highest temperature [°C].
    pub highest_c: f64,
}

impl PlantRoom {
    pub(super) fn new(house: &House, sums: &PlantRoomSums, electricity_kwh: f64) -> Self {
        let route = |own: &optimiser::replay::RouteSums| Route {
            source: house.source_name(own.route.source),
            sink: house.sink_name(own.route.sink),
            heat_kwh: fine(own.heat_kwh),
            electricity_kwh: fine(own.electricity_kwh),
            fuel_kwh: fine(own.fuel_kwh),
            hours: fine(own.hours),
        };
        Self {
            fuel_cost: money(sums.fuel_cost),
            fuel_kwh: fine(sums.fuel_kwh()),
            electricity_kwh: fine(electricity_kwh),
            routes: sums.routes.iter().map(route).collect(),
            starts: sums.starts,
            start_kwh: fine(sums.start_kwh),
            refused_hours: fine(sums.refused_hours),
            coils_kwh: fine(sums.coils_kwh),
            loops_kwh: fine(sums.loops_kwh),
            pipes_lost_kwh: fine(sums.pipes_lost_kwh),
            buffer_lost_kwh: fine(sums.buffer_lost_kwh),
            rooms_lost_kwh: fine(sums.rooms_lost_kwh),
            rooms_gain_kwh: fine(sums.rooms_gain_kwh),
            pool_lost_kwh: fine(sums.pool_lost_kwh),
            gained_kwh: fine(sums.gained_kwh),
            rooms: sums.rooms.as_ref().map(Kept::new),
            pool: sums.pool.as_ref().map(Kept::new),
        }
    }
}

impl Kept {
    fn new(sums: &BandSums) -> Self {
        Self {
            kelvin_hours_below: fine(sums.below),
            kelvin_hours_above: fine(sums.above),
            hours_below: fine(sums.hours_below),
            lowest_c: fine(sums.lowest),
            highest_c: fine(sums.highest),
        }
    }
}
