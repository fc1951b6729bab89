//! Draws and promises that a plan leaves too cold, made up for as a whole.
//!
//! A draw that misses a kelvin misses little heat, but all water above a coil must become
//! a kelvin warmer for it: a quantum that is too small gains nothing. How much it takes
//! is known after one simulation, from the layers of the store. The heat goes into the
//! cheapest slots before, where a machine is free or from what it does for rooms or pool,
//! which get theirs at another time.

use std::ops::Range;

use crate::judge::polish::GAIN;
use crate::judge::score::Judge;
use crate::plant::Water;
use crate::site::Sink;
use crate::units::Temperature;
use crate::water::KWH_PER_LITRE_KELVIN;

use super::{Draft, Jobs, MENDS};

/// Less heat than this is not missed [kWh].
const MISSED_KWH: f64 = 1e-3;

/// Heat is given at most so long before it is wanted [slots].
const LEAD: usize = 24;

/// What is given back to rooms or pool comes so much earlier or later at most [slots].
const REACH: usize = 8;

/// Water is warmed so much beyond what is wanted of it [K].
const MARGIN_K: f64 = 0.2;

/// More heat than this is not asked for at once [kWh].
const MOST_KWH: f64 = 32.0;

/// Steps in which the heat that it takes is found.
const HALVINGS: usize = 12;

/// Water that is missing from a store.
struct Lack {
    /// The slot at whose beginning it is missing.
    slot: usize,
    wanted: Temperature,
    /// At the tap, with what is drawn before in the slot [L].
    litres: f64,
    /// Heat that did not arrive [kWh].
    missed: f64,
    /// The store as it is then, from the bottom [°C].
    layers: Vec<f64>,
}

/// What can warm a store.
#[derive(Debug, Clone, Copy)]
enum Device {
    /// A way of heat, through its coil.
    Chain(usize),
    /// An element by its place among all.
    Element(usize),
}

/// A slot with room for heat.
#[derive(Debug, Clone, Copy)]
struct Place {
    slot: usize,
    /// Heat [kWh] and what each kWh costs [minor].
    room: f64,
    cost: f64,
    /// Heat while the device runs [kW].
    kw: f64,
    /// Whether the machine leaves other work for it.
    taken: bool,
}

impl Jobs<'_> {
    /// Warms stores whose water comes out too cold, if the plant scores that better;
    /// whether it does.
    pub(super) fn serve(&self, judge: &mut Judge<'_>, draft: &mut Draft) -> bool {
        let mut better = false;
        for store in 0..judge.problem().site.stores.len() {
            let lacks = lacks(judge, draft, store);
            if lacks.is_empty() {
                continue;
            }
            let mut best: Option<Draft> = None;
            for device in self.devices(judge, store) {
                let mut trial = draft.clone();
                let changed = self.lift(judge, &mut trial, (store, device), &lacks);
                if changed.is_empty() || !self.run(judge, &mut trial, &changed) {
                    continue;
                }
                let mends = if matches!(device, Device::Chain(_)) { MENDS } else { 0 };
                for _ in 0..mends {
                    if !self.mend(judge, &mut trial) {
                        break;
                    }
                }
                let least =
                    best.as_ref().map_or(draft.candidate.score - GAIN, |b| b.candidate.score);
                if trial.candidate.score < least {
                    best = Some(trial);
                }
            }
            if let Some(best) = best {
                *draft = best;
                better = true;
            }
        }
        better
    }

    fn devices(&self, judge: &Judge<'_>, store: usize) -> Vec<Device> {
        let chains = (0..self.chains.all.len()).filter(|&chain| {
            matches!(self.chains.all[chain].sink, Sink::Coil { store: own, .. } if own == store)
        });
        let elements = judge.problem().heaters().enumerate();
        let elements = elements.filter(|(_, id)| id.store == store);
        chains.map(Device::Chain).chain(elements.map(|(index, _)| Device::Element(index))).collect()
    }

    /// Adds the heat that a store lacks in each slot; the slots that changed.
    fn lift(
        &self,
        judge: &Judge<'_>,
        trial: &mut Draft,
        (store, device): (usize, Device),
        lacks: &[Lack],
    ) -> Vec<usize> {
        let band = self.band(judge, store, device);
        let mut changed = Vec::new();
        // How much more it holds by now than in the simulation [kWh].
        let mut more = 0.0;
        for lack in lacks {
            let kwh = needed_kwh(judge, (store, &band), lack, more);
            more += self.give(judge, trial, (device, kwh), lack, &mut changed);
            more = (more - lack.missed).max(0.0);
        }
        changed
    }

    /// The layers that a device warms.
    fn band(&self, judge: &Judge<'_>, store: usize, device: Device) -> Range<usize> {
        let (problem, tank) = (judge.problem(), judge.plant.tank(store));
        let site = &problem.site.stores[store];
        match device {
            Device::Chain(chain) => {
                let Sink::Coil { coil, .. } = self.chains.all[chain].sink else { return 0..1 };
                let coil = &site.coils[coil];
                let low = tank.layer_at(coil.bottom.value());
                low..tank.layer_at(coil.top.value()).max(low) + 1
            }
            Device::Element(index) => {
                let id = problem.heaters().nth(index);
                let layer =
                    id.map_or(0, |id| tank.layer_at(site.elements[id.element].height.value()));
                layer..layer + 1
            }
        }
    }

    /// Gives heat before water is wanted, in the cheapest slots [kWh]; what found room.
    fn give(
        &self,
        judge: &Judge<'_>,
        trial: &mut Draft,
        (device, kwh): (Device, f64),
        lack: &Lack,
        changed: &mut Vec<usize>,
    ) -> f64 {
        let mut left = kwh;
        for place in self.hot_places(judge, trial, device, lack) {
            let part = left.min(place.room);
            if part <= 0.0 {
                continue;
            }
            match device {
                Device::Element(index) => trial.candidate.energies[index][place.slot] += part,
                Device::Chain(chain) => {
                    let hours = part / place.kw;
                    if place.taken {
                        self.make_room(trial, (chain, place.slot), hours, changed);
                    }
                    let own = &mut trial.wishes[self.chains.all[chain].routes[0]][place.slot];
                    own.heat += part;
                    own.hours += hours;
                }
            }
            changed.extend([place.slot.saturating_sub(1), place.slot]);
            left -= part;
        }
        kwh - left
    }

    /// Where a device may give heat for water that is wanted, the cheapest first.
    fn hot_places(
        &self,
        judge: &Judge<'_>,
        trial: &Draft,
        device: Device,
        lack: &Lack,
    ) -> Vec<Place> {
        let problem = self.chains.problem;
        // In the first slot nothing can be done any more but in the slot itself.
        let slots = lack.slot.saturating_sub(LEAD)..lack.slot.max(1);
        let mut places = Vec::new();
        match device {
            Device::Element(index) => {
                let Some(id) = problem.heaters().nth(index) else { return places };
                let site = &problem.site.stores[id.store];
                if site.reach(&site.elements[id.element]) < lack.wanted {
                    return places;
                }
                places.extend(slots.map(|slot| Place {
                    slot,
                    room: judge.most_kwh(index, slot) - trial.candidate.energies[index][slot],
                    cost: self.values[slot],
                    kw: site.elements[id.element].power.kw(),
                    taken: false,
                }));
            }
            Device::Chain(chain) => {
                let route = self.chains.all[chain].routes[0];
                let source = self.chains.routes[route].source;
                for slot in slots {
                    let rate = self.chains.rate_to(route, slot, lack.wanted);
                    let hours = self.chains.idle_hours(&trial.wishes, source, slot);
                    let cost = self.chains.cost_at(rate, self.values[slot]);
                    let free =
                        Place { slot, room: hours * rate.kw, cost, kw: rate.kw, taken: false };
                    places.push(free);
                    // What gives way is made up for at another time.
                    let Some(&other) = self.beside(chain).first() else { continue };
                    let own = self.chains.all[other].routes[0];
                    let busy = trial.wishes[own][slot].hours;
                    let displaced = self.chains.rate_to(own, slot, lack.wanted).kw / rate.kw;
                    let cost = cost + displaced * self.dearer(trial, other, slot).max(0.0);
                    places.push(Place { room: busy * rate.kw, cost, taken: true, ..free });
                }
            }
        }
        places.retain(|place| place.kw > 0.0 && place.room > 0.0);
        places.sort_by(|a, b| a.cost.total_cmp(&b.cost).then(b.slot.cmp(&a.slot)));
        places
    }

    /// Other ways of the source of a way that end in rooms or pool, the pool first: it
    /// can wait.
    fn beside(&self, chain: usize) -> Vec<usize> {
        let all = &self.chains.all;
        let source = |chain: usize| self.chains.routes[all[chain].routes[0]].source;
        let of = |sink: Sink| {
            let own = (0..all.len()).filter(move |&other| all[other].sink == sink);
            own.filter(move |&other| source(other) == source(chain))
        };
        of(Sink::Pool).chain(of(Sink::Rooms)).collect()
    }

    /// What a kWh of a way costs more at another time than in a slot [minor].
    fn dearer(&self, trial: &Draft, chain: usize, slot: usize) -> f64 {
        let here = self.cost(chain, slot);
        let other = self.elsewhere(trial, chain, slot);
        other.first().map_or(here, |&(cost, ..)| cost - here)
    }

    /// Ways and slots near one that can give what it gave, the cheapest first.
    fn elsewhere(&self, trial: &Draft, chain: usize, slot: usize) -> Vec<(f64, usize, usize)> {
        let all = &self.chains.all;
        let source = |chain: usize| self.chains.routes[all[chain].routes[0]].source;
        let near = slot.saturating_sub(REACH)..(slot + REACH + 1).min(self.values.len());
        let same = (0..all.len()).filter(|&other| all[other].sink == all[chain].sink);
        let places = same.flat_map(|other| near.clone().map(move |to| (other, to)));
        let free = places.filter(|&(other, to)| {
            (to, source(other)) != (slot, source(chain))
                && self.chains.room_kwh(&trial.wishes, other, to) > MISSED_KWH
        });
        let mut found: Vec<_> = free.map(|(other, to)| (self.cost(other, to), other, to)).collect();
        found.sort_by(|a, b| {
            let far = |to: usize| to.abs_diff(slot);
            a.0.total_cmp(&b.0).then(far(a.2).cmp(&far(b.2)))
        });
        found
    }

    /// Frees a machine for some hours of a slot; rooms or pool get their heat at another
    /// time.
    fn make_room(
        &self,
        trial: &mut Draft,
        (chain, slot): (usize, usize),
        mut hours: f64,
        changed: &mut Vec<usize>,
    ) {
        for other in self.beside(chain) {
            let route = self.chains.all[other].routes[0];
            let own = trial.wishes[route][slot];
            let kw = if own.hours > 0.0 { own.heat / own.hours } else { 0.0 };
            let heat = (hours * kw).min(self.chains.heat(&trial.wishes, other, slot));
            if heat <= 0.0 {
                continue;
            }
            self.chains.add(&mut trial.wishes, other, slot, -heat);
            hours -= heat / kw;
            let mut left = heat;
            for (_, way, to) in self.elsewhere(trial, other, slot) {
                let part = left.min(self.chains.room_kwh(&trial.wishes, way, to));
                if part > 0.0 {
                    self.chains.add(&mut trial.wishes, way, to, part);
                    changed.extend([to.saturating_sub(1), to]);
                    left -= part;
                }
            }
        }
    }
}

/// What a store is missing at the taps and of promises, in the order of time.
fn lacks(judge: &Judge<'_>, draft: &Draft, store: usize) -> Vec<Lack> {
    let problem = judge.problem();
    let trace = &draft.candidate.outcome.stores[store];
    let lack = |slot: usize, wanted: Temperature, litres: f64, missed: f64| {
        let layers = trace.layers(slot).to_vec();
        Lack { slot, wanted, litres, missed, layers }
    };
    let cold = trace.draws().iter().filter(|record| record.unmet_kwh() > MISSED_KWH);
    let draws = cold.filter_map(|record| {
        let draw = &problem.draws[record.draw];
        let slot = problem.horizon.index_at(draw.start)?;
        let span = problem.horizon.slots()[slot];
        let before = problem.draws.iter().filter(|other| {
            other.store == store && (span.start()..draw.start).contains(&other.start)
        });
        let litres = draw.volume.litres() + before.map(|d| d.volume.litres()).sum::<f64>();
        Some(lack(slot, draw.temperature, litres, record.unmet_kwh()))
    });
    let promises = problem.ready.iter().zip(judge.ready_short(&draft.candidate.outcome));
    let promises = promises.filter(|(ready, short)| {
        ready.store == store && ready.is_promised() && *short > MISSED_KWH
    });
    let promises = promises.filter_map(|(ready, _)| {
        let slot = problem.horizon.index_at(ready.by)?;
        Some(lack(slot, ready.temperature, ready.volume.litres(), 0.0))
    });
    let mut all: Vec<Lack> = draws.chain(promises).collect();
    all.sort_by_key(|lack| lack.slot);
    all
}

/// Heat that brings as much water to what is wanted as is missing [kWh], beside what a
/// store holds more already.
fn needed_kwh(
    judge: &Judge<'_>,
    (store, band): (usize, &Range<usize>),
    lack: &Lack,
    more: f64,
) -> f64 {
    let (tank, site) = (judge.plant.tank(store), &judge.problem().site.stores[store]);
    let layer_litres = site.volume.litres() / tank.layers() as f64;
    let in_reach = layer_litres * (tank.layers() - band.start) as f64;
    let wanted = lack.wanted.celsius() + MARGIN_K;
    let litres = lack.litres.min(in_reach);
    let serves = |kwh: f64| {
        let kelvin = (more + kwh) / (layer_litres * KWH_PER_LITRE_KELVIN * band.len() as f64);
        let mut layers = lack.layers.clone();
        layers[band.clone()].iter_mut().for_each(|layer| *layer += kelvin);
        let water = Water::new(&layers, layers.len());
        tank.usable_litres(water.layers(), wanted, site.mains.celsius()) >= litres
    };
    // What comes out cold although all looks well misses at least what it missed.
    let mut low = if more > 0.0 { 0.0 } else { lack.missed };
    if serves(low) {
        return low;
    }
    let mut high = MOST_KWH;
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if serves(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}
