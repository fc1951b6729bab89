//! The ways of heat from a source to where it is used: straight into a store, rooms or
//! pool, or through the buffer and one of its circuits. Heat that is moved to another
//! slot moves all along its way; in the buffer alone it would be refused.

use crate::model::{Duties, Ladder, Step};
use crate::plan::Wish;
use crate::problem::Problem;
use crate::site::{Route, Sink, Source};
use crate::units::Temperature;

/// A way of heat.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Chain {
    /// Its routes, the source's first.
    pub(super) routes: Vec<usize>,
    /// Where the heat is used.
    pub(super) sink: Sink,
}

/// What a route can do in a slot.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Rate {
    /// Heat at full capacity; zero where it can do nothing [kW].
    pub(super) kw: f64,
    /// Electricity and fuel for each kWh of heat [kWh].
    electricity: f64,
    fuel: f64,
}

/// All ways of the heat of machines, with what they can do.
pub(super) struct Chains<'a> {
    pub(super) problem: &'a Problem,
    pub(super) routes: &'a [Route],
    pub(super) all: Vec<Chain>,
    ladders: Vec<Ladder>,
    duties: Duties,
    /// Each route in the mean of its steps, `[slot][route]`.
    rates: Vec<Vec<Rate>>,
    fuel_price: f64,
}

impl<'a> Chains<'a> {
    pub(super) fn new(problem: &'a Problem, routes: &'a [Route]) -> Self {
        let ladders: Vec<Ladder> = problem.site.stores.iter().map(Ladder::new).collect();
        let duties = Duties::new(problem, &ladders);
        let rates = duties.steps.iter().map(|slot| slot.iter().map(|s| rate(s)).collect());
        let rates: Vec<Vec<Rate>> = rates.collect();
        let boiler = problem.site.plant_room.boiler.as_ref();
        let machines = (0..routes.len()).filter(|&index| match routes[index].source {
            Source::HeatPump(_) | Source::Immersion => true,
            Source::Boiler => boiler.is_some_and(|own| !own.back_up_only),
            Source::Collectors | Source::Buffer => false,
        });
        let circuits = |index: usize| {
            (0..routes.len()).filter(move |&other| {
                routes[index].sink == Sink::Buffer && routes[other].source == Source::Buffer
            })
        };
        let ways = machines.flat_map(|index| {
            let through = circuits(index).map(move |circuit| vec![index, circuit]);
            let straight = (routes[index].sink != Sink::Buffer).then(|| vec![index]);
            straight.into_iter().chain(through)
        });
        let chain = |way: Vec<usize>| {
            let sink = way.last().map_or(Sink::Buffer, |&last| routes[last].sink);
            Chain { routes: way, sink }
        };
        Self {
            problem,
            routes,
            all: ways.map(chain).collect(),
            rates,
            ladders,
            duties,
            fuel_price: boiler.map_or(0.0, |own| own.fuel_price.per_kwh()),
        }
    }

    /// Heat that goes a whole way in a slot [kWh].
    pub(super) fn heat(&self, wishes: &[Vec<Wish>], chain: usize, slot: usize) -> f64 {
        let parts = self.all[chain].routes.iter().map(|&route| wishes[route][slot].heat);
        parts.fold(f64::INFINITY, f64::min)
    }

    /// What a kWh costs where electricity is worth so much [minor].
    pub(super) fn cost(&self, chain: usize, slot: usize, value: f64) -> f64 {
        let rates = self.all[chain].routes.iter().map(|&route| self.rates[slot][route]);
        rates.map(|own| self.cost_at(own, value)).sum()
    }

    /// The same at a rate.
    pub(super) fn cost_at(&self, rate: Rate, value: f64) -> f64 {
        rate.electricity * value + rate.fuel * self.fuel_price
    }

    /// What a route does in a slot that brings the water of a store to a temperature.
    pub(super) fn rate_to(&self, route: usize, slot: usize, celsius: Temperature) -> Rate {
        let Sink::Coil { store, .. } = self.routes[route].sink else {
            return self.rates[slot][route];
        };
        let rung = self.ladders[store].rung_for(celsius);
        let step = rung.and_then(|rung| self.duties.steps[slot][route].get(rung - 1));
        step.map_or_else(Rate::default, |step| rate(std::slice::from_ref(step)))
    }

    /// Heat of a route in a slot at full capacity [kW].
    pub(super) fn kw(&self, route: usize, slot: usize) -> f64 {
        self.rates[slot][route].kw
    }

    /// Time that a source has left in a slot [h].
    pub(super) fn idle_hours(&self, wishes: &[Vec<Wish>], source: Source, slot: usize) -> f64 {
        let own = (0..self.routes.len()).filter(|&other| self.routes[other].source == source);
        let busy: f64 = own.map(|other| wishes[other][slot].hours).sum();
        (self.problem.horizon.slots()[slot].hours() - busy).max(0.0)
    }

    /// A quantum of the search on a way: a share of what its source makes in half an
    /// hour where it can do most [kWh].
    pub(super) fn step_kwh(&self, chain: usize, share: f64) -> f64 {
        let first = self.all[chain].routes[0];
        let kw = self.rates.iter().map(|slot| slot[first].kw).fold(0.0, f64::max);
        share * kw * 0.5
    }

    /// How much more heat a slot has room for [kWh].
    pub(super) fn room_kwh(&self, wishes: &[Vec<Wish>], chain: usize, slot: usize) -> f64 {
        let span = self.problem.horizon.slots()[slot];
        let room = self.all[chain].routes.iter().map(|&route| {
            let Rate { kw, .. } = self.rates[slot][route];
            match self.routes[route].source {
                Source::Buffer => kw * span.hours() - wishes[route][slot].heat,
                source => kw * self.idle_hours(wishes, source, slot),
            }
        });
        room.fold(f64::INFINITY, f64::min).max(0.0)
    }

    /// Adds heat to all of a way in a slot, or takes it [kWh].
    pub(super) fn add(&self, wishes: &mut [Vec<Wish>], chain: usize, slot: usize, kwh: f64) {
        for &route in &self.all[chain].routes {
            let own = &mut wishes[route][slot];
            let kw = self.rates[slot][route].kw;
            // A route that can do nothing now had its hours at another rate.
            let hours = if kw > 0.0 { kwh / kw } else { kwh.signum() * own.hours };
            own.heat = (own.heat + kwh).max(0.0);
            own.hours = if own.heat > 0.0 { (own.hours + hours).max(0.0) } else { 0.0 };
        }
    }
}

/// A route's steps in their mean.
fn rate(steps: &[Step]) -> Rate {
    let able: Vec<&Step> = steps.iter().filter(|step| step.kw > 0.0).collect();
    if able.is_empty() {
        return Rate::default();
    }
    let mean =
        |of: fn(&Step) -> f64| able.iter().map(|step| of(step)).sum::<f64>() / able.len() as f64;
    Rate { kw: mean(|s| s.kw), electricity: mean(|s| s.electricity), fuel: mean(|s| s.fuel) }
}
