//! Where each variable of the program stands.

use crate::problem::{HeaterId, Problem, ValueStep};
use crate::site::Control;

use super::buffer::{self, BufferColumns};
use super::comfort::{self, KeptColumns};
use super::delivery::Demand;
use super::duty::Duties;
use super::ladder::Ladder;
use super::phases::{self, PhaseColumns};
use super::pool::{self, PoolColumns};
use super::program::{Col, Program};
use super::refinement::Refinement;
use super::rooms::{self, RoomsColumns};
use super::sources;

/// Columns of one heater in one slot.
#[derive(Debug, Clone)]
pub(crate) struct HeaterColumns {
    /// Electrical energy `p` [kWh].
    pub(crate) energy: Col,
    /// Part of a staged element's energy that must come from the meter or the
    /// battery because, while on, it draws more than the surplus [kWh].
    pub(crate) coincident: Option<Col>,
    /// Energy above and below the published plan [kWh].
    pub(crate) change: Option<(Col, Col)>,
    /// Lifts `u[z,k]` [L], `[z − lowest zone][k − 1]`: in the element's own zone,
    /// and below it while a pump mixes the store.
    pub(crate) lifts: Vec<Vec<Col>>,
    /// Zone of the first row of `lifts`.
    pub(crate) lowest_zone: usize,
}

/// Columns of one class of draws in one slot.
#[derive(Debug, Clone)]
pub(crate) struct ClassColumns {
    /// Litres `x[k]` taken at each rung from the class's rung upwards.
    pub(crate) taken: Vec<Col>,
    /// Heat that arrives cold `w` [kWh].
    pub(crate) unmet: Col,
}

/// Columns of one store in one slot.
#[derive(Debug, Clone)]
pub(crate) struct StoreColumns {
    /// State `H[z,k]` at the end of the slot [L], `[z][k − 1]`.
    pub(crate) litres: Vec<Vec<Col>>,
    /// Rise `m[z,k]` from zone `z` to the one above [L], `[z][k − 1]`.
    pub(crate) rise: Vec<Vec<Col>>,
    /// Draws, by class.
    pub(crate) classes: Vec<ClassColumns>,
    /// Heat missing from the reserve [kWh].
    pub(crate) reserve_short: Col,
}

/// Columns of the battery in one slot.
#[derive(Debug, Clone, Copy)]
pub(crate) struct BatteryColumns {
    /// AC energy in [kWh].
    pub(crate) charge: Col,
    /// AC energy out [kWh].
    pub(crate) discharge: Col,
    /// Level at the end of the slot [kWh].
    pub(crate) level: Col,
}

/// Columns of one slot.
#[derive(Debug, Clone)]
pub(crate) struct SlotColumns {
    pub(crate) import: Col,
    pub(crate) export: Col,
    pub(crate) pv: Col,
    /// Load left unserved [kWh], in a softened program only.
    pub(crate) missing: Option<Col>,
    pub(crate) battery: Option<BatteryColumns>,
    pub(crate) heaters: Vec<HeaterColumns>,
    pub(crate) stores: Vec<StoreColumns>,
    /// Heat of the plant room's routes [kWh], `[route][step]`.
    pub(crate) routes: Vec<Vec<Col>>,
    pub(crate) buffer: Option<BufferColumns>,
    pub(crate) rooms: Option<RoomsColumns>,
    pub(crate) pool: Option<PoolColumns>,
    /// The phases, where each is counted by itself.
    pub(crate) phases: Vec<PhaseColumns>,
    /// Water that is kept in case.
    pub(crate) kept: Vec<KeptColumns>,
}

/// Columns of the whole horizon.
#[derive(Debug, Clone)]
pub(crate) struct Layout {
    pub(crate) slots: Vec<SlotColumns>,
    /// Steps of the end value, for each store.
    pub(crate) store_ends: Vec<Vec<Col>>,
    /// Steps of the end value of the battery.
    pub(crate) battery_ends: Vec<Col>,
    /// Steps of the end values of buffer, rooms and pool.
    pub(crate) room_ends: RoomEnds,
    /// Heat missing from all that is to be ready, in the sum of some columns [kWh].
    pub(crate) ready_short: Vec<Vec<Col>>,
    /// Heaters in the order of the columns.
    pub(crate) heaters: Vec<HeaterId>,
    /// Temperature that the pool is expected to have in each slot [°C].
    pub(crate) pool: Vec<f64>,
}

/// Steps of an end value, and heat that is missing from its zero, which costs
/// what the first step is worth.
#[derive(Debug, Clone)]
pub(crate) struct LevelEnd {
    pub(crate) steps: Vec<Col>,
    pub(crate) missing: Col,
}

/// End values of buffer, rooms and pool, where there is one.
#[derive(Debug, Clone, Default)]
pub(crate) struct RoomEnds {
    pub(crate) buffer: Option<LevelEnd>,
    pub(crate) rooms: Option<LevelEnd>,
    pub(crate) pool: Option<LevelEnd>,
}

impl RoomEnds {
    fn new(program: &mut Program, problem: &Problem) -> Self {
        let room = &problem.site.plant_room;
        let mut end = |exists: bool, steps: &[ValueStep]| {
            let first = steps.first().filter(|_| exists)?;
            let missing = program.column(first.value.per_kwh(), 0.0, f64::INFINITY);
            let columns = steps
                .iter()
                .map(|s| program.column(-s.value.per_kwh(), 0.0, s.width.kwh()))
                .collect();
            Some(LevelEnd { steps: columns, missing })
        };
        Self {
            buffer: end(room.buffer.is_some(), &problem.end_value.buffer),
            rooms: end(room.rooms.is_some(), &problem.end_value.rooms),
            pool: end(room.pool.is_some(), &problem.end_value.pool),
        }
    }
}

/// A pump that mixes the store helps a pasteurisation for so long before it [h].
const MIXING_HOURS: f64 = 6.0;

impl Layout {
    pub(crate) fn new(
        program: &mut Program,
        problem: &Problem,
        ladders: &[Ladder],
        demand: &Demand,
        duties: &Duties,
        refinement: &Refinement,
    ) -> Self {
        let heaters: Vec<HeaterId> = problem.heaters().collect();
        let pool = pool::expected(problem);
        let warmest_buffer = buffer::highest(problem, &pool);
        let kept = comfort::kept_in_case(problem);
        let mut ready_short = vec![Vec::new(); problem.ready.len()];
        let slots = (0..problem.horizon.len())
            .map(|slot| {
                program.open_columns(problem.horizon.slots()[slot].start());
                let mut columns = slot_columns(
                    program,
                    problem,
                    ladders,
                    demand,
                    &heaters,
                    slot,
                    refinement.softened,
                );
                columns.routes = sources::columns(program, problem, duties, refinement, slot);
                columns.buffer =
                    buffer::columns(program, problem, duties, (warmest_buffer, &pool), slot);
                columns.rooms = rooms::columns(program, problem, slot);
                columns.pool = pool::columns(program, problem, slot);
                columns.phases = phases::columns(program, problem);
                let (kept, short) = (&kept[slot], &mut ready_short);
                columns.kept = comfort::kept_columns(program, problem, ladders, kept, short);
                program.close_columns();
                columns
            })
            .collect();
        let store_ends = problem
            .end_value
            .stores
            .iter()
            .map(|steps| {
                steps
                    .iter()
                    .map(|s| program.column(-s.value.per_kwh(), 0.0, s.width.kwh()))
                    .collect()
            })
            .collect();
        let battery_ends = match problem.site.battery {
            None => Vec::new(),
            Some(_) => problem
                .end_value
                .battery
                .iter()
                .map(|s| program.column(-s.value.per_kwh(), 0.0, s.width.kwh()))
                .collect(),
        };
        for (ready, short) in problem.ready.iter().zip(&mut ready_short) {
            if ready.is_promised() {
                let weight = ready.urgency * problem.weights.short_per_kwh;
                short.push(program.column(weight, 0.0, f64::INFINITY));
            }
        }
        let room_ends = RoomEnds::new(program, problem);
        Self { slots, store_ends, battery_ends, room_ends, ready_short, heaters, pool }
    }
}

fn slot_columns(
    program: &mut Program,
    problem: &Problem,
    ladders: &[Ladder],
    demand: &Demand,
    heaters: &[HeaterId],
    slot: usize,
    softened: bool,
) -> SlotColumns {
    let hours = problem.horizon.slots()[slot].hours();
    let grid = &problem.site.grid;
    let import =
        program.column(problem.import_price[slot].per_kwh(), 0.0, grid.import_limit.kw() * hours);
    let export =
        program.column(-problem.export_price[slot].per_kwh(), 0.0, grid.export_limit.kw() * hours);
    let pv = program.column(0.0, 0.0, problem.pv[slot].kwh());
    // Dearer than anything else, so that it is only what cannot be served.
    let missing = softened.then(|| {
        program.column(100.0 * problem.weights.unmet_per_kwh.max(1.0), 0.0, f64::INFINITY)
    });
    let battery = problem.site.battery.as_ref().map(|battery| {
        // A level below the reserve at the start is where it must climb from.
        let floor = battery.reserve.kwh().min(problem.state.battery.kwh());
        BatteryColumns {
            charge: program.column(0.0, 0.0, battery.charge_limit.kw() * hours),
            discharge: program.column(
                battery.wear.per_kwh(),
                0.0,
                battery.discharge_limit.kw() * hours,
            ),
            level: program.column(0.0, floor, battery.capacity.kwh()),
        }
    });
    let heaters = heaters
        .iter()
        .map(|&id| heater_columns(program, problem, &ladders[id.store], id, slot))
        .collect();
    let stores = ladders
        .iter()
        .enumerate()
        .map(|(store, ladder)| {
            let asked: Vec<(usize, f64)> = demand.classes[store]
                .iter()
                .zip(&demand.asked[store])
                .map(|(&rung, heat)| (rung, heat[slot]))
                .collect();
            store_columns(program, problem, ladder, &asked, hours)
        })
        .collect();
    SlotColumns {
        import,
        export,
        pv,
        missing,
        battery,
        heaters,
        stores,
        routes: Vec::new(),
        buffer: None,
        rooms: None,
        pool: None,
        phases: Vec::new(),
        kept: Vec::new(),
    }
}

fn heater_columns(
    program: &mut Program,
    problem: &Problem,
    ladder: &Ladder,
    id: HeaterId,
    slot: usize,
) -> HeaterColumns {
    let hours = problem.horizon.slots()[slot].hours();
    let store = &problem.site.stores[id.store];
    let element = &store.elements[id.element];
    let energy = program.column(0.0, 0.0, problem.range_kwh(id, slot).1);
    let coincident = matches!(element.control, Control::Staged(_))
        .then(|| program.column(0.0, 0.0, element.power.kw() * hours));
    let change = problem.published.as_ref().map(|_| {
        let cost = problem.weights.change_per_kwh;
        (program.column(cost, 0.0, f64::INFINITY), program.column(cost, 0.0, f64::INFINITY))
    });
    let own_zone = ladder.element_zone[id.element];
    let lowest_zone = if store.destratification_pump { 0 } else { own_zone };
    let lifts = (lowest_zone..=own_zone)
        .map(|zone| {
            let allowed = zone == own_zone || mixing_allowed(problem, id.store, slot);
            let upper = if allowed { f64::INFINITY } else { 0.0 };
            (1..=ladder.element_rung[id.element]).map(|_| program.column(0.0, 0.0, upper)).collect()
        })
        .collect();
    HeaterColumns { energy, coincident, change, lifts, lowest_zone }
}

/// Whether the mixing pump may run in a slot: only for a pasteurisation.
fn mixing_allowed(problem: &Problem, store: usize, slot: usize) -> bool {
    let end = problem.horizon.slots()[slot].end();
    problem.hygiene.iter().any(|rule| {
        let until_due = rule.due.hours_since(end);
        rule.store == store && until_due <= MIXING_HOURS + rule.hold_seconds as f64 / 3_600.0
    })
}

fn store_columns(
    program: &mut Program,
    problem: &Problem,
    ladder: &Ladder,
    asked: &[(usize, f64)],
    hours: f64,
) -> StoreColumns {
    let rungs = ladder.rungs();
    let litres = ladder
        .volumes
        .iter()
        .map(|&volume| (0..rungs).map(|_| program.column(0.0, 0.0, volume)).collect())
        .collect();
    let rise = (1..ladder.zones())
        .map(|_| (0..rungs).map(|_| program.column(0.0, 0.0, f64::INFINITY)).collect())
        .collect();
    let classes = asked
        .iter()
        .map(|&(rung, heat)| ClassColumns {
            taken: (rung..=rungs)
                .map(|k| program.column(0.0, 0.0, heat / ladder.litre_kwh(k)))
                .collect(),
            unmet: program.column(problem.weights.unmet_per_kwh, 0.0, heat),
        })
        .collect();
    // A reserve that is short for long costs more than one short for a moment.
    let reserve_short = program.column(problem.weights.short_per_kwh * hours, 0.0, f64::INFINITY);
    StoreColumns { litres, rise, classes, reserve_short }
}
