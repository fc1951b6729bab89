//! The electrical side: node, meter, battery, limits at every instant.

use crate::problem::Problem;
use crate::schedule::{BatteryMode, Schedule, SlotPlan};
use crate::site::{Connection, Control, Metering, Source};

use super::{Report, TOLERANCE_KWH};

pub(super) fn check(problem: &Problem, schedule: &Schedule, report: &mut Report) {
    let mut level =
        problem.site.battery.map_or(0.0, |b| problem.state.battery.kwh().min(b.capacity.kwh()));
    for (index, plan) in schedule.slots.iter().enumerate() {
        node(problem, index, plan, report);
        let guarded = guarded(problem, index, plan);
        meter(problem, plan, guarded, report);
        level = battery(problem, plan, (level, guarded), report);
        instants(problem, plan, report);
        phases(problem, plan, report);
    }
}

fn node(problem: &Problem, index: usize, plan: &SlotPlan, report: &mut Report) {
    let slot = plan.slot;
    if slot != problem.horizon.slots()[index] {
        report.add(Some(slot), "schedule", "its slots are those of the horizon", 1.0);
    }
    let heat: f64 = plan.heaters.iter().map(|h| h.energy.kwh()).sum();
    let into = plan.import.kwh() + plan.pv.kwh() + plan.discharge.kwh();
    let jobs: f64 = plan.jobs.iter().map(|job| job.electricity.kwh()).sum();
    let out = plan.base_load.kwh()
        + plan.circulation.kwh()
        + heat
        + jobs
        + plan.charge.kwh()
        + plan.export.kwh();
    report.equal(slot, "node", "what flows in flows out", into, out);
    let forecast = problem.pv[index].kwh();
    report.equal(
        slot,
        "pv",
        "used and curtailed make the forecast",
        plan.pv.kwh() + plan.curtailed.kwh(),
        forecast,
    );
    report.equal(
        slot,
        "base load",
        "it is the load of the problem",
        plan.base_load.kwh(),
        problem.base_load[index].kwh(),
    );
    if plan.import_price != problem.import_price[index]
        || plan.export_price != problem.export_price[index]
    {
        report.add(Some(slot), "price", "it is the price of the problem", 1.0);
    }
}

fn meter(problem: &Problem, plan: &SlotPlan, guarded: bool, report: &mut Report) {
    let (slot, hours) = (plan.slot, plan.slot.hours());
    let (import, export) = (plan.import.kwh(), plan.export.kwh());
    report.within(slot, "meter", "import or export, not both", import.min(export), 0.0);
    let swing = plan.swing.kwh();
    let most_import = problem.site.grid.import_limit.kw() * hours;
    let most_export = problem.site.grid.export_limit.kw() * hours;
    report.within(
        slot,
        "meter",
        "import is within the limit",
        import + swing - most_import,
        TOLERANCE_KWH,
    );
    report.within(
        slot,
        "meter",
        "export is within the limit",
        export + swing - most_export,
        TOLERANCE_KWH,
    );
    // Only what is switched on and off inside the slot can pass both ways.
    let surplus = (plan.pv.kwh() + plan.curtailed.kwh() - plan.base_load.kwh()) / hours;
    let switching = plan.heaters.iter().filter(|h| {
        let store = problem.site.stores.get(h.id.store);
        let element = store.and_then(|s| s.elements.get(h.id.element));
        element.is_some_and(|e| e.control != Control::Modulating) && h.power.kw() > surplus
    });
    let (switched, on_hours) = switching.fold((0.0, 0.0_f64), |(energy, longest), h| {
        let on = h.minutes / 60.0;
        (energy + (h.power.kw() - surplus) * on, longest.max(on))
    });
    // While it is off, no more than the surplus is given away.
    let given_away = surplus * (hours - on_hours);
    let by_share: f64 = if surplus > 0.0 { given_away.min(switched) } else { 0.0 };
    // A battery at constant power moves the surplus that the elements meet.
    let battery = (plan.discharge.kwh() - plan.charge.kwh()) / hours;
    let constant =
        both_ways(plan, surplus, guarded).max(both_ways(plan, surplus + battery, guarded));
    let most_swing = by_share.max(constant).max(stopped_battery(problem, plan, surplus));
    let most_swing = most_swing.max(moved_by_sources(plan));
    let per_phase = problem.site.plant_room.phases.as_ref();
    let per_phase = per_phase.is_some_and(|phases| phases.metering == Metering::PerPhase);
    // Phases counted by themselves pass on no more than all that flows.
    let most_swing = if per_phase { most_swing.max(through(plan)) } else { most_swing };
    report.within(
        slot,
        "meter",
        "only a switched element or a battery that stops passes both ways",
        swing - most_swing,
        TOLERANCE_KWH,
    );
}

/// Energy that sources move inside a slot as they change their power [kWh]: no more
/// than all that switches.
fn moved_by_sources(plan: &SlotPlan) -> f64 {
    if plan.jobs.is_empty() && plan.circulation.kwh() <= 0.0 {
        return 0.0;
    }
    let jobs: f64 = plan.jobs.iter().map(|job| job.electricity.kwh()).sum();
    let heat: f64 = plan.heaters.iter().map(|h| h.energy.kwh()).sum();
    jobs + plan.circulation.kwh() + heat
}

/// Energy that may pass the meter both ways because a battery at a power of its own
/// becomes full or empty inside the slot [kWh]: charging adds to what is imported
/// until then, discharging to what is exported, and to no more.
fn stopped_battery(problem: &Problem, plan: &SlotPlan, surplus: f64) -> f64 {
    let Some(battery) = &problem.site.battery else { return 0.0 };
    let level = plan.battery.kwh();
    let full = level >= battery.capacity.kwh() - TOLERANCE_KWH;
    let empty = level <= battery.reserve.kwh() + TOLERANCE_KWH;
    let (taken, given) = passed(plan, surplus);
    match plan.battery_mode {
        Some(BatteryMode::Charge) if full && battery.charges_from_grid => {
            (taken + plan.charge.kwh()).min(given)
        }
        Some(BatteryMode::Discharge) if empty && battery.exports => {
            taken.min(given + plan.discharge.kwh())
        }
        _ => 0.0,
    }
}

/// Everything that is used in a slot [kWh].
fn through(plan: &SlotPlan) -> f64 {
    let heat: f64 = plan.heaters.iter().map(|h| h.energy.kwh()).sum();
    let jobs: f64 = plan.jobs.iter().map(|job| job.electricity.kwh()).sum();
    plan.base_load.kwh() + plan.circulation.kwh() + heat + jobs + plan.charge.kwh()
}

/// No phase carries more than its fuse at any instant: taking, with all that is on at
/// once and what the battery charges beyond the sun; giving, with everything off.
fn phases(problem: &Problem, plan: &SlotPlan, report: &mut Report) {
    let Some(phases) = &problem.site.plant_room.phases else { return };
    let hours = plan.slot.hours();
    let elements = plan.heaters.iter().zip(&phases.heaters);
    let elements = elements.map(|(h, &at)| (h.delay_minutes, h.minutes, h.power.kw(), at));
    let jobs = plan.jobs.iter().filter(|job| job.minutes > 0.0).map(|job| {
        let at = match job.route.source {
            Source::HeatPump(index) => phases.heat_pumps.get(index).copied(),
            Source::Immersion => Some(phases.immersion),
            Source::Boiler | Source::Collectors | Source::Buffer => None,
        };
        let kw = job.electricity.kwh() / job.minutes * 60.0;
        (job.delay_minutes, job.minutes, kw, at.unwrap_or(phases.base_load))
    });
    let runs: Vec<(f64, f64, f64, Connection)> = elements.chain(jobs).collect();
    let battery = plan.charge.kwh() - plan.discharge.kwh();
    let base_kw = (plan.base_load.kwh() + plan.circulation.kwh()) / hours;
    for phase in 0..3 {
        let share = |connection: Connection| connection.shares()[phase];
        let base = base_kw * share(phases.base_load);
        let sun = plan.pv.kwh() * share(phases.pv) / hours;
        let stored = battery * share(phases.battery) / hours;
        let on: Vec<(f64, f64, f64)> = runs
            .iter()
            .map(|&(delay, minutes, kw, at)| (delay, minutes, kw * share(at)))
            .filter(|(.., kw)| *kw > 0.0)
            .collect();
        let taken = base + (stored - sun).max(0.0) + peak(&on);
        let given = sun - stored - base;
        let fuse = phases.fuse.kw();
        let excess = (taken - fuse.max(base)).max(given - fuse);
        let rule = "each is within its fuse at every instant";
        report.within(plan.slot, "phases", rule, excess, 1e-3);
    }
}

/// The most that runs, each with its start and length [min] and power, take at once [kW].
fn peak(runs: &[(f64, f64, f64)]) -> f64 {
    let at_start = runs.iter().map(|(start, ..)| {
        let at = start + 1e-6;
        let on = runs.iter().filter(|(delay, minutes, _)| *delay <= at && at < delay + minutes);
        on.map(|(.., kw)| kw).sum::<f64>()
    });
    at_start.fold(0.0, f64::max)
}

/// Whether an element that uses something in a slot stands guard there. A schedule states
/// one run of each element, and a guard wakes whenever a draw makes it, more than once
/// and beside other elements or not.
fn guarded(problem: &Problem, index: usize, plan: &SlotPlan) -> bool {
    let mut guards = problem.comfort.guards.iter();
    guards.any(|guard| {
        let own = plan.heaters.iter().find(|heater| heater.id == guard.heater);
        guard.watches[index].is_some() && own.is_some_and(|heater| heater.energy.kwh() > 0.0)
    })
}

/// Energy that passes the meter both ways when the runs of a slot meet a steady
/// surplus [kW], run by run [kWh]. Where it is not known when an element runs, it is no
/// more than elements use, and no more than the surplus.
fn both_ways(plan: &SlotPlan, surplus: f64, guarded: bool) -> f64 {
    if guarded {
        let heat: f64 = plan.heaters.iter().map(|heater| heater.energy.kwh()).sum();
        return heat.min(surplus.max(0.0) * plan.slot.hours());
    }
    let (taken, given) = passed(plan, surplus);
    taken.min(given)
}

/// Energy that the runs of a slot take beyond a steady surplus [kW], and what
/// they leave of it, run by run [kWh].
fn passed(plan: &SlotPlan, surplus: f64) -> (f64, f64) {
    let length = plan.slot.seconds() as f64 / 60.0;
    let ends = plan.heaters.iter().flat_map(|h| [h.delay_minutes, h.delay_minutes + h.minutes]);
    let mut edges: Vec<f64> = ends.map(|at| at.clamp(0.0, length)).chain([0.0, length]).collect();
    edges.sort_by(f64::total_cmp);
    let (mut taken, mut given) = (0.0, 0.0);
    for pair in edges.windows(2) {
        let (middle, hours) = (0.5 * (pair[0] + pair[1]), (pair[1] - pair[0]) / 60.0);
        let on = plan
            .heaters
            .iter()
            .filter(|h| h.delay_minutes <= middle && middle < h.delay_minutes + h.minutes);
        let net = on.map(|h| h.power.kw()).sum::<f64>() - surplus;
        taken += net.max(0.0) * hours;
        given += (-net).max(0.0) * hours;
    }
    (taken, given)
}

fn battery(
    problem: &Problem,
    plan: &SlotPlan,
    (level, guarded): (f64, bool),
    report: &mut Report,
) -> f64 {
    let (slot, hours) = (plan.slot, plan.slot.hours());
    let (charge, discharge) = (plan.charge.kwh(), plan.discharge.kwh());
    // One that follows the house takes what elements leave while off, and gives
    // what they need while on.
    let surplus = (plan.pv.kwh() + plan.curtailed.kwh() - plan.base_load.kwh()) / hours;
    let follows = plan.battery_mode == Some(BatteryMode::Follow);
    let moved = both_ways(plan, surplus, guarded).max(moved_by_sources(plan));
    let most = if follows { moved + TOLERANCE_KWH } else { 0.0 };
    report.within(slot, "battery", "charge or discharge, not both", charge.min(discharge), most);
    let Some(battery) = &problem.site.battery else {
        report.within(slot, "battery", "there is none", charge + discharge, 0.0);
        return level;
    };
    let after = level + charge * battery.charge_efficiency.value()
        - discharge / battery.discharge_efficiency.value();
    report.equal(slot, "battery", "its level follows its flows", plan.battery.kwh(), after);
    let floor = battery.reserve.kwh().min(problem.state.battery.kwh());
    report.within(
        slot,
        "battery",
        "it stays above its reserve",
        floor - plan.battery.kwh(),
        TOLERANCE_KWH,
    );
    report.within(
        slot,
        "battery",
        "it stays within its capacity",
        plan.battery.kwh() - battery.capacity.kwh(),
        TOLERANCE_KWH,
    );
    report.within(
        slot,
        "battery",
        "it charges within its power",
        charge - battery.charge_limit.kw() * hours,
        TOLERANCE_KWH,
    );
    report.within(
        slot,
        "battery",
        "it discharges within its power",
        discharge - battery.discharge_limit.kw() * hours,
        TOLERANCE_KWH,
    );
    let sun = plan.pv.kwh() + plan.curtailed.kwh();
    let spare = (sun - plan.base_load.kwh()).max(0.0);
    let gap = (plan.base_load.kwh() - sun).max(0.0);
    if !battery.charges_from_grid {
        report.within(
            slot,
            "battery",
            "it does not charge from the grid",
            charge - spare,
            TOLERANCE_KWH,
        );
    }
    if !battery.exports && discharge > TOLERANCE_KWH {
        report.within(
            slot,
            "battery",
            "it does not export",
            plan.export.kwh() - spare,
            TOLERANCE_KWH,
        );
    }
    if !battery.feeds_heaters {
        let exported = plan.export.kwh() + plan.swing.kwh();
        report.within(
            slot,
            "battery",
            "it does not feed heaters",
            discharge - gap - exported,
            TOLERANCE_KWH,
        );
    }
    plan.battery.kwh()
}

/// Import at every instant inside the slot, where elements switch.
fn instants(problem: &Problem, plan: &SlotPlan, report: &mut Report) {
    let hours = plan.slot.hours();
    let (charge, discharge) = (plan.charge.kwh(), plan.discharge.kwh());
    // A battery that does both is idle at worst while an element is on, and one that is
    // not told to charge takes only what nothing else does.
    let told = plan.battery_mode == Some(BatteryMode::Charge);
    let both = charge.min(discharge) > TOLERANCE_KWH;
    let charging = if told { charge } else { 0.0 };
    let battery = if both { 0.0 } else { charging - discharge };
    let steady = (plan.base_load.kwh() + battery - plan.pv.kwh()) / hours;
    let heaters = plan.heaters.iter().map(|h| (h.delay_minutes, h.minutes, h.power.kw()));
    let jobs =
        plan.jobs.iter().filter(|job| job.minutes > 0.0).map(|job| {
            (job.delay_minutes, job.minutes, job.electricity.kwh() / job.minutes * 60.0)
        });
    let runs: Vec<(f64, f64, f64)> = heaters.chain(jobs).collect();
    let excess = steady + peak(&runs) - problem.site.grid.import_limit.kw();
    report.within(plan.slot, "meter", "import is within the limit at every instant", excess, 1e-3);
}
