//! What each source can do for each sink in each slot: data of the program, so
//! that it stays linear although a heat pump's COP falls with temperature.
//!
//! A route has one step for each rung of a store's ladder. Into rooms and buffer it
//! has two, one for as much heat as holds the comfort, at the flow that this takes,
//! and one for what goes beyond, at the flow that everything takes together. Into
//! the pool it has one. For each step it is known how fast heat flows and what a
//! kWh of it takes in electricity and fuel.

use crate::physics::coil::{SPREAD_K, exchanger};
use crate::problem::Problem;
use crate::site::{Route, Sink, Source};

use super::ladder::Ladder;
use super::layout::SlotColumns;
use super::program::Col;
use super::{boiler, buffer, heat_pump, pool, rooms, solar_thermal};

/// One step of a route in one slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Step {
    /// Heat while it runs; zero where the step is out of reach [kW].
    pub(crate) kw: f64,
    /// Most heat in the mean of the slot [kW].
    pub(crate) most_kw: f64,
    /// Electricity for each kWh of heat [kWh].
    pub(crate) electricity: f64,
    /// Fuel for each kWh of heat [kWh].
    pub(crate) fuel: f64,
}

impl Step {
    /// A step that cannot be taken.
    pub(crate) const NONE: Self = Self { kw: 0.0, most_kw: 0.0, electricity: 0.0, fuel: 0.0 };

    /// Time that a kWh takes [h]. A step out of reach keeps its place in the row,
    /// where its column is zero anyway: rows name the same columns by day and by night.
    pub(super) fn hours_per_kwh(&self) -> f64 {
        if self.kw > 0.0 { 1.0 / self.kw } else { 1.0 }
    }

    /// A step that may last all of the slot.
    pub(super) const fn new(kw: f64, electricity: f64, fuel: f64) -> Self {
        Self { kw, most_kw: kw, electricity, fuel }
    }
}

/// What is asked of a source: water to be warmed, through a coil or exchanger or
/// directly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Task {
    /// Mean temperature of what is heated [°C].
    pub(crate) mean: f64,
    /// Its temperature at the end [°C].
    pub(crate) end: f64,
    /// Heat passed for each kelvin between the mean of flow and return and what is
    /// heated; infinite where the water itself is heated [kW/K].
    pub(crate) transfer: f64,
    /// Most heat that the sink takes [kW].
    pub(crate) most_kw: f64,
    /// It takes no hotter flow [°C].
    pub(crate) hottest: f64,
}

impl Task {
    /// Most heat [kW] that passes with a flow temperature into water of another.
    pub(super) fn passes(&self, flow: f64, water: f64) -> f64 {
        let warmer = flow - 0.5 * SPREAD_K - water;
        if warmer <= 0.0 { 0.0 } else { (self.transfer * warmer).min(self.most_kw) }
    }

    /// Flow temperature [°C] that passes a heat [kW].
    pub(super) fn flow_for(&self, kw: f64) -> f64 {
        self.mean + 0.5 * SPREAD_K + kw / self.transfer
    }
}

/// Everything that the sources of a problem can do.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Duties {
    /// The routes of the site.
    pub(crate) routes: Vec<Route>,
    /// `[slot][route][step]`.
    pub(crate) steps: Vec<Vec<Vec<Step>>>,
}

impl Duties {
    pub(crate) fn new(problem: &Problem, ladders: &[Ladder]) -> Self {
        let routes = problem.site.plant_room.routes();
        if routes.is_empty() {
            return Self { routes, steps: vec![Vec::new(); problem.horizon.len()] };
        }
        let pool = pool::expected(problem);
        let steps = (0..problem.horizon.len())
            .map(|slot| {
                let of = |route: &Route| {
                    let tasks = tasks(problem, ladders, &pool, slot, *route);
                    if problem.ambient.holds_off(*route, problem.horizon.slots()[slot]) {
                        return vec![Step::NONE; tasks.len()];
                    }
                    let steps = tasks.iter().map(|task| step(problem, slot, *route, task));
                    let steps: Vec<Step> = steps.collect();
                    let parts = || {
                        let held = (rooms::expected_kw(problem, slot), auxiliary(problem, route));
                        split(held, steps[0], steps[1])
                    };
                    match route.sink {
                        Sink::Coil { .. } | Sink::Pool => steps,
                        Sink::Buffer => parts().into(),
                        Sink::Rooms => beyond(parts()).into(),
                    }
                };
                routes.iter().map(of).collect()
            })
            .collect();
        Self { routes, steps }
    }

    /// What a kWh into the buffer takes more in electricity when it is as warm as
    /// everything needs than when it is as warm as comfort needs [kWh].
    pub(crate) fn buffer_strain(&self, slot: usize) -> f64 {
        let own = self.routes.iter().zip(&self.steps[slot]).find(|(route, _)| {
            matches!(route.source, Source::HeatPump(_)) && route.sink == Sink::Buffer
        });
        own.map_or(0.0, |(_, steps)| (steps[1].electricity - steps[0].electricity).max(0.0))
    }

    /// Heat of a route at full capacity [kW] and electricity for each kWh, in the
    /// mean of what it can do; zero where it can do nothing.
    pub(crate) fn mean(&self, route: usize) -> (f64, f64) {
        let steps = self.steps.iter().flat_map(|slot| &slot[route]);
        let able: Vec<&Step> = steps.filter(|step| step.kw > 0.0).collect();
        let count = able.len().max(1) as f64;
        let of = |value: fn(&Step) -> f64| able.iter().map(|step| value(step)).sum::<f64>() / count;
        (of(|step| step.kw), of(|step| step.electricity))
    }

    /// Sources that can take electricity in a slot.
    pub(crate) fn able(&self, slot: usize) -> impl Iterator<Item = Source> + '_ {
        let routes = self.routes.iter().zip(&self.steps[slot]);
        routes
            .filter(|(_, steps)| steps.iter().any(|s| s.most_kw > 0.0 && s.electricity > 0.0))
            .map(|(route, _)| route.source)
    }

    /// Columns of the heat that reaches a sink other than a coil.
    pub(crate) fn to_sink(&self, columns: &SlotColumns, sink: Sink) -> Vec<Col> {
        self.matching(columns, |route| route.sink == sink)
    }

    /// Columns of the heat that a source gives.
    pub(crate) fn of_source(&self, columns: &SlotColumns, source: Source) -> Vec<Col> {
        self.matching(columns, |route| route.source == source)
    }

    /// Columns of sources that take electricity, each with its kWh for a kWh of heat in
    /// a slot: the same columns in every slot, with zero where a step is out of reach.
    pub(crate) fn electricity<'a>(
        &'a self,
        columns: &'a SlotColumns,
        slot: usize,
    ) -> impl Iterator<Item = (Col, f64)> + 'a {
        let routes = self.routes.iter().zip(&columns.routes).zip(&self.steps[slot]);
        routes
            .filter(|((route, _), _)| route.source != Source::Buffer)
            .flat_map(|((_, parts), steps)| parts.iter().zip(steps))
            .map(|(&col, step)| (col, step.electricity))
    }

    fn matching(&self, columns: &SlotColumns, wanted: impl Fn(&Route) -> bool) -> Vec<Col> {
        let own = self.routes.iter().zip(&columns.routes).filter(|(route, _)| wanted(route));
        own.flat_map(|(_, parts)| parts.iter().copied()).collect()
    }
}

fn tasks(
    problem: &Problem,
    ladders: &[Ladder],
    pool: &[f64],
    slot: usize,
    route: Route,
) -> Vec<Task> {
    let room = &problem.site.plant_room;
    let free = Task {
        mean: 0.0,
        end: 0.0,
        transfer: f64::INFINITY,
        most_kw: f64::INFINITY,
        hottest: f64::INFINITY,
    };
    match route.sink {
        Sink::Coil { store, coil } => {
            let transfer = problem.site.stores[store].coils[coil].transfer.watts_per_kelvin();
            let rungs = ladders[store].temperatures.windows(2);
            rungs
                .map(|pair| Task {
                    mean: 0.5 * (pair[0] + pair[1]),
                    end: pair[1],
                    transfer: transfer / 1_000.0,
                    ..free
                })
                .collect()
        }
        Sink::Buffer => {
            // The return of what charges it is its own water.
            let water = |kw| buffer::needed(problem, pool, slot, kw) + 0.5 * SPREAD_K;
            let task = |water| Task { mean: water, end: water, ..free };
            let kw = rooms::expected_kw(problem, slot);
            vec![task(water(kw)), task(water(f64::INFINITY))]
        }
        Sink::Rooms => {
            let Some(own) = &room.rooms else { return Vec::new() };
            let air = rooms::expected_air(problem, slot);
            let transfer = own.emitters.watts_per_kelvin() / 1_000.0;
            let flow = |kw| rooms::flow(problem, own, slot, kw);
            let task = |hottest| Task { mean: air, end: air, transfer, hottest, ..free };
            vec![task(flow(rooms::expected_kw(problem, slot))), task(flow(f64::INFINITY))]
        }
        Sink::Pool => {
            let Some(own) = &room.pool else { return Vec::new() };
            let (water, most_kw) = (pool[slot], own.exchanger.kw());
            vec![Task { mean: water, end: water, transfer: exchanger(most_kw), most_kw, ..free }]
        }
    }
}

/// Power of the controls and pumps of a heat pump, which run all the while that
/// it holds the comfort [kW].
fn auxiliary(problem: &Problem, route: &Route) -> f64 {
    match route.source {
        Source::HeatPump(index) => problem.site.plant_room.heat_pumps[index].auxiliary.kw(),
        _ => 0.0,
    }
}

/// What holds the comfort, and what goes beyond it: both run at full capacity.
fn split((expected_kw, auxiliary): (f64, f64), expected: Step, full: Step) -> [Step; 2] {
    let held = expected_kw.min(full.kw);
    if held <= 0.0 || expected.kw <= 0.0 {
        return [Step::NONE, full];
    }
    let electricity = expected.electricity + auxiliary * (1.0 / held - 1.0 / expected.kw);
    let first = Step { kw: full.kw, most_kw: held, electricity, fuel: expected.fuel };
    [first, Step { most_kw: full.kw - held, ..full }]
}

/// What goes beyond the comfort takes as much more as makes the flow hotter for
/// all of the heat.
fn beyond([first, full]: [Step; 2]) -> [Step; 2] {
    if full.most_kw <= 1e-6 {
        return [first, Step::NONE];
    }
    let rest = |all: f64, part: f64| all + (all - part).max(0.0) * first.most_kw / full.most_kw;
    let electricity = rest(full.electricity, first.electricity);
    [first, Step { electricity, ..full }]
}

fn step(problem: &Problem, slot: usize, route: Route, task: &Task) -> Step {
    let room = &problem.site.plant_room;
    match route.source {
        Source::HeatPump(index) => {
            heat_pump::step(&room.heat_pumps[index], &problem.ambient, slot, task)
        }
        Source::Boiler => room.boiler.as_ref().map_or(Step::NONE, |own| boiler::step(own, task)),
        Source::Collectors => room
            .collectors
            .as_ref()
            .map_or(Step::NONE, |own| solar_thermal::step(own, &problem.ambient, slot, task)),
        Source::Immersion => {
            let power = room.buffer.as_ref().and_then(|buffer| buffer.immersion);
            let kw = power.map_or(0.0, crate::units::Power::kw);
            Step::new(kw.min(task.most_kw), 1.0, 0.0)
        }
        // What it can give depends on how warm it is, which is a row of its own.
        Source::Buffer => {
            let kw = task.passes(task.hottest.min(HOTTEST_BUFFER), task.mean);
            Step::new(kw, 0.0, 0.0)
        }
    }
}

/// No circuit is fed hotter than this from a buffer [°C].
const HOTTEST_BUFFER: f64 = 95.0;
