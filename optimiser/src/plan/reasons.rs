//! Why each element is on, or is not.

use crate::judge::Candidate;
use crate::problem::{HeaterId, Problem};
use crate::schedule::Reason;
use crate::site::{Route, Sink, Source};
use crate::solution::Solution;
use crate::time::Instant;

/// Less energy than this is not worth a word [kWh].
const NOTHING: f64 = 1e-6;

/// A draw or promise of less heat than this is not a deadline [kWh].
const DEADLINE_KWH: f64 = 0.3;

/// Heating so long before a pasteurisation hold belongs to it [h].
const HOLD_LEAD_HOURS: f64 = 6.0;

/// Water so little below what an element makes of it counts as just as hot [K].
const FULL_K: f64 = 1.0;

/// One heater in one slot, with what it uses.
pub(super) struct Situation {
    pub(super) slot: usize,
    pub(super) index: usize,
    pub(super) id: HeaterId,
    pub(super) energy: f64,
    pub(super) pv: f64,
    pub(super) battery: f64,
}

/// A source that serves a sink in a slot, with the electricity that it uses.
pub(super) struct RouteSituation {
    pub(super) slot: usize,
    pub(super) route: Route,
    pub(super) electricity: f64,
    pub(super) pv: f64,
    pub(super) battery: f64,
}

/// Finds reasons in an answer.
pub(super) struct Reasoner<'a> {
    problem: &'a Problem,
    solution: &'a Solution,
    holds: &'a [Option<Instant>],
    judged: Option<&'a Candidate>,
    /// Deadlines of each store, rising.
    deadlines: Vec<Vec<Instant>>,
}

impl<'a> Reasoner<'a> {
    pub(super) fn new(
        problem: &'a Problem,
        solution: &'a Solution,
        holds: &'a [Option<Instant>],
        judged: Option<&'a Candidate>,
    ) -> Self {
        let mut deadlines = vec![Vec::new(); problem.site.stores.len()];
        for draw in &problem.draws {
            if draw.heat_kwh(problem.site.stores[draw.store].mains) >= DEADLINE_KWH {
                deadlines[draw.store].push(draw.start);
            }
        }
        for ready in problem.ready.iter().filter(|ready| ready.is_promised()) {
            deadlines[ready.store].push(ready.by);
        }
        for own in &mut deadlines {
            own.sort_unstable();
        }
        Self { problem, solution, holds, judged, deadlines }
    }

    pub(super) fn why(&self, at: &Situation) -> Reason {
        match self.by_hand(at) {
            Some(until) => Reason::ByHand(until),
            None if at.energy > NOTHING => self.why_on(at),
            None => self.why_off(at),
        }
    }

    /// Until when the element is held as it is, if it is held for most of the slot
    /// or of its time on.
    fn by_hand(&self, at: &Situation) -> Option<Instant> {
        let slot = self.problem.horizon.slots()[at.slot];
        let kw = self.problem.site.stores[at.id.store].elements[at.id.element].power.kw();
        let on = at.energy > NOTHING;
        let needed = if on { at.energy / kw } else { slot.hours() } / 2.0;
        let mut own = self.problem.by_hand.iter().filter(|hand| hand.heater == at.id);
        own.find(|hand| hand.on == on && hand.seconds_in(slot) as f64 / 3_600.0 > needed)
            .map(|hand| hand.until)
    }

    fn why_on(&self, at: &Situation) -> Reason {
        if let Some(due) = self.hold_before(at.slot, at.id.store) {
            return Reason::Hygiene(due);
        }
        let power = (at.energy, at.pv, at.battery);
        self.whose(at.slot, power).unwrap_or_else(|| self.in_time(at.slot, at.id.store))
    }

    /// The reason that lies in whose energy is used, if it is not the grid's at a
    /// price: energy used, and what of it comes from PV and battery.
    fn whose(&self, slot: usize, (energy, pv, battery): (f64, f64, f64)) -> Option<Reason> {
        let half = energy / 2.0;
        if pv >= half {
            let wasted = self.problem.pv[slot].kwh() - self.solution.slots[slot].pv > NOTHING;
            let earns = self.problem.export_price[slot].per_kwh() > 0.0
                && self.problem.site.grid.export_limit.kw() > 0.0;
            return Some(if wasted || !earns { Reason::FreeSun } else { Reason::Sun });
        }
        if battery >= half {
            return Some(Reason::Battery);
        }
        (self.problem.import_price[slot].per_kwh() < 0.0).then_some(Reason::PaidToUse)
    }

    /// The reason that lies in the next draw or promise of a store.
    fn in_time(&self, slot: usize, store: usize) -> Reason {
        let price = self.problem.import_price[slot];
        let span = &self.problem.horizon.slots()[slot];
        let deadlines = &self.deadlines[store];
        match deadlines.get(deadlines.partition_point(|&d| d < span.end())) {
            None => Reason::Stock,
            Some(&by) => {
                let cheaper_left = (slot + 1..self.problem.horizon.len())
                    .take_while(|&s| self.problem.horizon.slots()[s].end() <= by)
                    .any(|s| self.problem.import_price[s] < price);
                if cheaper_left { Reason::NeededBy(by) } else { Reason::CheapestBefore(by) }
            }
        }
    }

    /// Why a source of the plant room works.
    pub(super) fn why_job(&self, at: &RouteSituation) -> Reason {
        let back_up = self.problem.site.plant_room.boiler.as_ref().is_some_and(|b| b.back_up_only);
        match at.route.source {
            Source::Collectors => return Reason::Sunlight,
            Source::Boiler if back_up => return Reason::BackUp,
            _ => {}
        }
        let power = (at.electricity, at.pv, at.battery);
        let whose = self.whose(at.slot, power).filter(|_| at.electricity > NOTHING);
        match at.route.sink {
            Sink::Coil { store, .. } => {
                let hold = self.hold_before(at.slot, store).map(Reason::Hygiene);
                hold.or(whose).unwrap_or_else(|| self.in_time(at.slot, store))
            }
            Sink::Buffer | Sink::Rooms | Sink::Pool => whose.unwrap_or(Reason::Comfort),
        }
    }

    /// When the pasteurisation is due that heating a store in a slot belongs to.
    fn hold_before(&self, slot: usize, store: usize) -> Option<Instant> {
        let slot = &self.problem.horizon.slots()[slot];
        self.problem.hygiene.iter().zip(self.holds).find_map(|(rule, hold)| {
            let start = (*hold)?;
            let lead = start.hours_since(slot.start());
            let own = rule.store == store;
            (own && lead <= HOLD_LEAD_HOURS && slot.start() < start + rule.hold_seconds)
                .then_some(rule.due)
        })
    }

    fn why_off(&self, at: &Situation) -> Reason {
        let later = (at.slot + 1..self.problem.horizon.len())
            .find(|&s| self.solution.slots[s].heaters[at.index] > NOTHING);
        if self.is_full(at) {
            return Reason::Full;
        }
        match later {
            Some(next)
                if self.problem.import_price[next] < self.problem.import_price[at.slot]
                    || self.problem.pv[next] > self.problem.pv[at.slot] =>
            {
                Reason::CheaperAt(self.problem.horizon.slots()[next].start())
            }
            _ => Reason::NotNeeded,
        }
    }

    /// Whether all water the element can warm is as hot as it makes it: on the
    /// simulated plant, or at the highest rung where the program alone has spoken.
    fn is_full(&self, at: &Situation) -> bool {
        let store = &self.problem.site.stores[at.id.store];
        let element = &store.elements[at.id.element];
        if let Some(candidate) = self.judged {
            let layers = candidate.outcome.stores[at.id.store].layers(at.slot + 1);
            let below = (element.height.value() * layers.len() as f64) as usize;
            let full = store.reach(element).celsius() - FULL_K;
            return layers[below.min(layers.len() - 1)..].iter().all(|&layer| layer >= full);
        }
        let zones = &self.solution.zones[at.id.store];
        let total: f64 = zones.iter().sum();
        let mut top = 0.0;
        let litres = &self.solution.slots[at.slot].stores[at.id.store].litres;
        litres.iter().zip(zones).all(|(zone, volume)| {
            top += volume / total;
            top <= element.height.value() + 1e-6
                || zone.last().is_some_and(|&hot| hot >= volume - 0.01 * total)
        })
    }
}
