//! The linear program, one family of rows per file.
//!
//! Columns and rows are laid out slot by slot in the same order, so that a
//! program whose horizon has moved on by a slot has the same shape. What only
//! some programs need (directions, completion cuts) comes last.

mod battery;
mod boiler;
mod buffer;
mod by_hand;
mod comfort;
mod cuts;
mod delivery;
mod directions;
mod duty;
mod element;
mod ending;
mod heat_pump;
mod ladder;
mod layout;
mod node;
mod phases;
mod pool;
mod program;
mod refinement;
mod return_loop;
mod rooms;
mod solar_thermal;
mod sources;
mod store;

pub(crate) use buffer::comfortable as comfortable_buffer;
pub(crate) use duty::{Duties, Step};
pub(crate) use ladder::Ladder;
pub(crate) use layout::{Layout, LevelEnd, SlotColumns};
pub(crate) use node::circulation_kwh;
pub(crate) use phases::both_ways;
pub(crate) use pool::PoolResponse;
pub use program::Program;
pub(crate) use program::{Block, Col, Row};
pub use refinement::Refinement;
pub(crate) use refinement::{Completion, Direction, HygieneStart};
pub(crate) use rooms::{
    Response, RoomsColumns, expected_kw as rooms_kw, flow as rooms_flow, start_mass,
};

use crate::problem::Problem;
use delivery::Demand;

/// A program together with the meaning of its columns and rows.
#[derive(Debug, Clone)]
pub struct Formulation {
    /// The program itself.
    pub program: Program,
    pub(crate) layout: Layout,
    pub(crate) ladders: Vec<Ladder>,
    pub(crate) demand: Demand,
    pub(crate) duties: Duties,
    /// Balance of the electrical node in each slot.
    pub(crate) node_rows: Vec<Row>,
    /// Level of the battery in each slot, if there is one.
    pub(crate) battery_rows: Vec<Option<Row>>,
    /// Balances of the ladders, `[slot][store][z][k − 1]`.
    pub(crate) store_rows: Vec<Vec<Vec<Vec<Row>>>>,
    /// Balances of buffer, rooms and pool, for each slot.
    pub(crate) room_rows: Vec<RoomRows>,
    /// Rows that settle directions.
    pub(crate) direction_rows: std::ops::Range<usize>,
}

impl Formulation {
    /// Formulates a problem, with the refinements found necessary so far.
    pub fn new(problem: &Problem, refinement: &Refinement) -> Self {
        let ladders: Vec<Ladder> = problem.site.stores.iter().map(Ladder::new).collect();
        let demand = Demand::new(problem, &ladders);
        let mut program = Program::default();
        let duties = Duties::new(problem, &ladders);
        let layout = Layout::new(&mut program, problem, &ladders, &demand, &duties, refinement);
        let mut node_rows = Vec::with_capacity(problem.horizon.len());
        let mut battery_rows = Vec::with_capacity(problem.horizon.len());
        let mut store_rows = Vec::with_capacity(problem.horizon.len());
        let mut room_rows = Vec::with_capacity(problem.horizon.len());
        for slot in 0..problem.horizon.len() {
            let first = program.bounds().len();
            node_rows.push(node::rows(&mut program, problem, &duties, &layout, slot));
            battery_rows.push(battery::rows(&mut program, problem, &layout, slot));
            element::rows(&mut program, problem, &ladders, &layout, slot);
            store_rows.push(store::rows(&mut program, problem, &ladders, &duties, &layout, slot));
            delivery::rows(&mut program, &ladders, &layout, &demand, slot);
            comfort::reserve_rows(&mut program, problem, &ladders, &layout, slot);
            comfort::kept_rows(&mut program, &ladders, &layout, slot);
            sources::rows(&mut program, problem, &duties, &layout, slot);
            phases::rows(&mut program, problem, &duties, &layout, slot);
            room_rows.push(RoomRows {
                buffer: buffer::rows(&mut program, problem, &duties, &layout, slot),
                rooms: rooms::rows(&mut program, problem, &duties, &layout, slot),
                pool: pool::rows(&mut program, problem, &duties, &layout, slot),
            });
            program.claim_rows(slot, first);
        }
        ending::rows(&mut program, problem, &ladders, &layout);
        comfort::promise_rows(&mut program, problem, &ladders, &layout);
        comfort::hygiene_bounds(&mut program, problem, &ladders, &layout, refinement);
        by_hand::rows(&mut program, problem, &layout);
        let first = program.bounds().len();
        directions::rows(&mut program, problem, &duties, &layout, refinement);
        let direction_rows = first..program.bounds().len();
        cuts::rows(&mut program, problem, &ladders, &layout, refinement);
        Self {
            program,
            layout,
            ladders,
            demand,
            duties,
            node_rows,
            battery_rows,
            store_rows,
            room_rows,
            direction_rows,
        }
    }
}

/// Balances of what a plant room has beyond its stores.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RoomRows {
    pub(crate) buffer: Option<Row>,
    pub(crate) rooms: Option<rooms::RoomsRows>,
    pub(crate) pool: Option<Row>,
}
