//! The electrical balance of the house inside a slot, and the two registers of
//! the meter.
//!
//! PV and base load are constant over a slot and elements switch at known
//! instants, so power is constant between events. The balance goes from event
//! to event, which is what minute steps would tend to: flows that a half-hour
//! mean would cancel reach both registers.

use super::battery::{Surroundings, exchange, gain, hours_left};
use super::command::{BatteryCommand, PvUse};
use super::scene::SlotFacts;
use super::trace::Span;
use crate::site::{Connection, Metering, Phases, Site};

/// The meter and the battery over one slot.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct HouseSlot {
    /// Import register [kWh].
    pub import_kwh: f64,
    /// Export register [kWh].
    pub export_kwh: f64,
    /// PV used, in the house or by export [kWh].
    pub pv_kwh: f64,
    /// PV given up [kWh].
    pub curtailed_kwh: f64,
    /// The rest of the house [kWh].
    pub base_kwh: f64,
    /// All elements [kWh].
    pub heaters_kwh: f64,
    /// Heat pumps, boiler and pumps of the plant room [kWh].
    pub sources_kwh: f64,
    /// AC energy into the battery [kWh].
    pub charge_kwh: f64,
    /// AC energy out of the battery [kWh].
    pub discharge_kwh: f64,
    /// Battery level at the end [kWh].
    pub battery_kwh: f64,
    /// Highest import power at any instant [kW].
    pub peak_import_kw: f64,
    /// What the limits leave to charge a battery with at every instant [kW].
    pub charge_room_kw: f64,
    /// Import above the limit: a fuse under stress, not a flow refused [kWh].
    pub overload_kwh: f64,
}

impl HouseSlot {
    /// Energy that the books do not explain [kWh].
    pub fn residual_kwh(&self) -> f64 {
        self.import_kwh + self.pv_kwh + self.discharge_kwh
            - self.base_kwh
            - self.heaters_kwh
            - self.sources_kwh
            - self.charge_kwh
            - self.export_kwh
    }
}

/// Runs one slot with the battery at a level [kWh]. `spans` are the elements'
/// stretches inside the slot; `instants` is room to sort their ends in.
pub(super) fn run_slot<'a>(
    site: &Site,
    facts: &SlotFacts,
    (battery, pv): (&BatteryCommand, PvUse),
    level: f64,
    spans: &(impl Iterator<Item = &'a [Span]> + Clone),
    sources: &[Span],
    instants: &mut Vec<f64>,
) -> HouseSlot {
    let mut record =
        HouseSlot { battery_kwh: level, charge_room_kw: f64::INFINITY, ..HouseSlot::default() };
    for_stretches(site, facts, spans, sources, instants, |loads, hours| {
        stretch(site, facts, battery, pv, loads, hours, &mut record);
    });
    record
}

/// Calls `each` for every time [h] of constant power in a slot.
fn for_stretches<'a>(
    site: &Site,
    facts: &SlotFacts,
    spans: &(impl Iterator<Item = &'a [Span]> + Clone),
    sources: &[Span],
    instants: &mut Vec<f64>,
    mut each: impl FnMut(Loads, f64),
) {
    let all = || spans.clone().flatten();
    if all().next().is_none() && sources.is_empty() {
        return each(Loads::default(), (facts.end - facts.start) / 3_600.0);
    }
    instants.clear();
    instants.extend(all().flat_map(|span| [span.start, span.end]));
    instants.extend(sources.iter().flat_map(|span| [span.start, span.end]));
    instants.push(facts.end);
    if instants.len() > 1 {
        instants.sort_unstable_by(f64::total_cmp);
    }
    let mut now = facts.start;
    for until in instants.iter().copied().filter(|instant| *instant <= facts.end) {
        if until > now {
            let middle = 0.5 * (now + until);
            let on = |span: &&Span| span.start <= middle && middle < span.end;
            let heaters = all().filter(on).map(|span| span.kw).sum();
            let running = sources.iter().filter(on).map(|span| span.kw).sum();
            let phases = site.plant_room.phases.as_ref();
            let phases =
                phases.map_or([0.0; 3], |own| on_phases(site, own, spans.clone(), sources, on));
            let loads = Loads { heaters, sources: running, phases };
            each(loads, (until - now) / 3_600.0);
            now = until;
        }
    }
}

/// What a slot leaves to the battery within its powers, seen from the AC side [kWh].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Balance {
    /// PV beyond what house and grid take: given up unless it is stored.
    pub(crate) spilled: f64,
    /// PV that would be exported unless it is stored.
    pub(crate) surplus: f64,
    /// What could be charged from the grid beside that.
    pub(crate) bought: f64,
    /// What would be imported unless the battery gives it.
    pub(crate) gap: f64,
    /// What could be given to the grid beside that.
    pub(crate) sold: f64,
}

/// What a slot with elements and sources leaves to the battery; none without one.
pub(super) fn balance<'a>(
    site: &Site,
    facts: &SlotFacts,
    pv: PvUse,
    spans: &(impl Iterator<Item = &'a [Span]> + Clone),
    sources: &[Span],
    instants: &mut Vec<f64>,
) -> Balance {
    let mut sum = Balance::default();
    let Some(battery) = &site.battery else { return sum };
    let (most_in, most_out) = (battery.charge_limit.kw(), battery.discharge_limit.kw());
    for_stretches(site, facts, spans, sources, instants, |loads, hours| {
        let base = facts.base_kw + loads.sources;
        let around = surroundings(site, facts, pv, loads, 0.0);
        let net = around.net();
        let surplus = (-net).clamp(0.0, most_in);
        let spilled = (-net - around.export_limit).clamp(0.0, surplus);
        let room = (around.import_limit - net).clamp(0.0, most_in);
        let own =
            if battery.feeds_heaters || loads.heaters <= 0.0 { net } else { base - around.pv };
        let gap = own.clamp(0.0, most_out);
        let lets = (net + around.export_limit).clamp(0.0, most_out);
        sum.spilled += spilled * hours;
        sum.surplus += (surplus - spilled) * hours;
        if battery.charges_from_grid {
            sum.bought += (room - surplus).max(0.0) * hours;
        }
        sum.gap += gap * hours;
        if battery.exports && (battery.feeds_heaters || loads.heaters <= 0.0) {
            sum.sold += (lets - gap).max(0.0) * hours;
        }
    });
    sum
}

/// Powers beyond the rest of the house [kW].
#[derive(Clone, Copy, Default)]
struct Loads {
    heaters: f64,
    sources: f64,
    /// All of it on each phase.
    phases: [f64; 3],
}

/// Power of elements and sources on each phase [kW]. The buffer's element stands
/// behind the stores' elements.
fn on_phases<'a>(
    site: &Site,
    phases: &Phases,
    spans: impl Iterator<Item = &'a [Span]>,
    sources: &[Span],
    on: impl Fn(&&Span) -> bool,
) -> [f64; 3] {
    let mut loads = [0.0; 3];
    let mut add = |kw: f64, connection: Connection| {
        for (load, share) in loads.iter_mut().zip(connection.shares()) {
            *load += kw * share;
        }
    };
    let mut first = 0;
    for (store, own) in spans.enumerate() {
        for span in own.iter().filter(&on) {
            let connection = phases.heaters.get(first + span.element);
            let element = store < site.stores.len();
            add(
                span.kw,
                if element { connection.copied() } else { None }.unwrap_or(phases.immersion),
            );
        }
        first += site.stores.get(store).map_or(0, |store| store.elements.len());
    }
    for span in sources.iter().filter(&on) {
        // Boiler and pumps hang with the rest of the house.
        add(span.kw, phases.heat_pumps.get(span.element).copied().unwrap_or(phases.base_load));
    }
    loads
}

/// What each phase takes from the grid [kW].
fn net_of_phases(
    phases: &Phases,
    loads: [f64; 3],
    (base, pv, battery): (f64, f64, f64),
) -> [f64; 3] {
    let fixed = [phases.base_load, phases.pv, phases.battery].map(Connection::shares);
    std::array::from_fn(|p| {
        loads[p] + base * fixed[0][p] - pv * fixed[1][p] + battery * fixed[2][p]
    })
}

/// Runs a time [h] of constant heater power, from one battery event to the next.
fn stretch(
    site: &Site,
    facts: &SlotFacts,
    command: &BatteryCommand,
    pv: PvUse,
    loads: Loads,
    hours: f64,
    record: &mut HouseSlot,
) {
    let wish = site.battery.as_ref().map_or(0.0, |b| {
        let charging = command.mode == crate::schedule::BatteryMode::Charge;
        if charging { command.power.kw().min(b.charge_limit.kw()) } else { 0.0 }
    });
    let around = surroundings(site, facts, pv, loads, wish);
    let Surroundings { pv: usable, heaters, export_limit, .. } = around;
    let import_limit = site.grid.import_limit.kw();
    let room = (around.import_limit - around.net()).max(0.0);
    record.charge_room_kw = record.charge_room_kw.min(room);
    let mut left = hours;
    while left > 0.0 {
        let (flows, event) = site.battery.as_ref().map_or_else(
            || (super::battery::Exchange::default(), f64::INFINITY),
            |battery| {
                let flows = exchange(battery, command, record.battery_kwh, &around);
                (flows, hours_left(battery, record.battery_kwh, flows))
            },
        );
        let step = left.min(event);
        let grid = around.net() + flows.charge - flows.discharge;
        let export = (-grid).max(0.0);
        let given_up = (export - export_limit).clamp(0.0, usable);
        let mut counted = (grid.max(0.0), export - given_up);
        let mut overload = (grid - import_limit).max(0.0);
        if let Some(phases) = &site.plant_room.phases {
            let rest = (facts.base_kw, usable - given_up, flows.charge - flows.discharge);
            let net = net_of_phases(phases, loads.phases, rest);
            let beyond = net.iter().map(|p| (p.abs() - phases.fuse.kw()).max(0.0));
            overload = overload.max(beyond.sum());
            if phases.metering == Metering::PerPhase {
                let sum = |read: fn(f64) -> f64| net.iter().map(|&p| read(p).max(0.0)).sum();
                counted = (sum(|p| p), sum(|p| -p));
            }
        }
        record.import_kwh += counted.0 * step;
        record.export_kwh += counted.1 * step;
        record.pv_kwh += (usable - given_up) * step;
        record.curtailed_kwh += (facts.pv_kw - usable + given_up) * step;
        record.base_kwh += facts.base_kw * step;
        record.heaters_kwh += heaters * step;
        record.sources_kwh += loads.sources * step;
        record.charge_kwh += flows.charge * step;
        record.discharge_kwh += flows.discharge * step;
        record.peak_import_kw = record.peak_import_kw.max(grid);
        record.overload_kwh += overload * step;
        if let Some(battery) = &site.battery {
            record.battery_kwh += gain(battery, flows) * step;
        }
        left -= step;
    }
}

/// The powers that a battery meets which wishes to charge at some power [kW].
fn surroundings(
    site: &Site,
    facts: &SlotFacts,
    pv: PvUse,
    loads: Loads,
    wish: f64,
) -> Surroundings {
    let Loads { heaters, sources, .. } = loads;
    let base = facts.base_kw + sources;
    let import_limit = site.grid.import_limit.kw();
    let export_limit = if pv == PvUse::Free { site.grid.export_limit.kw() } else { 0.0 };
    let usable = match pv {
        PvUse::Free | PvUse::NoExport => facts.pv_kw,
        PvUse::LastResort => (base + heaters + wish - import_limit).clamp(0.0, facts.pv_kw),
    };
    let around = Surroundings { pv: usable, base, heaters, import_limit, export_limit };
    match &site.plant_room.phases {
        Some(phases) => on_fuses(phases, facts.base_kw, &loads, around),
        None => around,
    }
}

/// The same with limits of the whole that let no phase pass its fuse, whatever the
/// battery or the PV does there.
fn on_fuses(phases: &Phases, base: f64, loads: &Loads, around: Surroundings) -> Surroundings {
    let net = net_of_phases(phases, loads.phases, (base, around.pv, 0.0));
    let fuse = phases.fuse.kw();
    let (pv, battery) = (phases.pv.shares(), phases.battery.shares());
    let mut limited = around;
    for phase in 0..3 {
        let (taken, share) = (net[phase], battery[phase]);
        if share > 0.0 {
            let more = ((fuse - taken) / share).max(0.0);
            limited.import_limit = limited.import_limit.min(around.net().max(0.0) + more);
            let less = ((fuse + taken) / share).max(0.0);
            limited.export_limit = limited.export_limit.min((-around.net()).max(0.0) + less);
        }
        if pv[phase] > 0.0 {
            let beyond = (-taken - fuse).max(0.0) / pv[phase];
            let export = (-around.net() - beyond).max(0.0);
            if beyond > 0.0 {
                limited.export_limit = limited.export_limit.min(export);
            }
        }
    }
    limited
}
