//! The closed loop of plant rooms: what carries on from slot to slot, what is known,
//! what is counted.

use optimiser::plant::Plant;
use optimiser::problem::Ambient;
use optimiser::replay::baseline::{Kind as RuleKind, Rule, Ruled, tune};
use optimiser::replay::bound::{Comfort, prescient};
use optimiser::replay::{
    Controller, Ledger, Planning, Run, Settings, SlotCommands, Stage, Surroundings, View,
};
use optimiser::site::{Sink, Site, Source};
use optimiser::solve::{PeriodSolver, SolveLimits};
use optimiser::time::Series;
use optimiser::units::{Irradiance, Price, Temperature};
use stowheat_tests::past::{Past, past};
use stowheat_tests::plant_rooms::Kind;

use super::{celsius, near, wobble};

fn thermostats(site: &Site) -> Ruled {
    Ruled::new(site, Rule::Thermostat, celsius(55.0), None, false)
}

/// Books of stores, meter, and everything else against what moved.
fn books_close(stage: &Stage<'_>, run: &Run) {
    let ledger = Ledger::of(stage, run, 0..stage.horizon().len());
    let sums = ledger.plant_room.as_ref().expect("a plant room");
    let moved = sums.throughput_kwh() + ledger.house.import_kwh + ledger.taps.asked_kwh;
    assert!(moved > 10.0, "something happened");
    near(run.outcome.residual_kwh() / moved, 0.0, 1e-9);
    near(sums.residual_kwh() / moved, 0.0, 1e-9);
}

#[test]
fn the_plant_carries_on_from_slot_to_slot() {
    let past = past(Kind::Everything, 5 * 48, 3);
    let (timeline, site) = (past.timeline(), &past.site);
    let stage = Stage::new(site, &timeline, &past.start).expect("a stage");
    let run = stage.run(&mut thermostats(site), &mut |_| {});
    books_close(&stage, &run);
    // The same commands in one simulation of the whole period: nothing is lost where
    // a controller was asked.
    let judged = timeline.judged();
    let horizon = stage.horizon();
    let all = &past.around.ambient;
    let ambient = Ambient {
        outdoor: cut(all.outdoor.as_ref(), &judged, horizon),
        ground: cut(all.ground.as_ref(), &judged, horizon),
        collector_irradiance: cut(all.collector_irradiance.as_ref(), &judged, horizon),
        horizontal_irradiance: cut(all.horizontal_irradiance.as_ref(), &judged, horizon),
        humidity: cut(all.humidity.as_ref(), &judged, horizon),
        wind: cut(all.wind.as_ref(), &judged, horizon),
        pool_cover: cut(all.pool_cover.as_ref(), &judged, horizon),
        room_gains: None,
        loop_runs: all.loop_runs.clone(),
        held_off: Vec::new(),
    };
    let record = timeline.record();
    let free = Series::constant(horizon, Price::constant(0.0));
    let draws: Vec<_> = record
        .draws
        .iter()
        .filter(|d| d.start >= horizon.start() && d.start < horizon.end())
        .copied()
        .collect();
    let conditions = optimiser::plant::Conditions {
        horizon,
        import_price: &free,
        export_price: &free,
        pv: &Series::new("pv", horizon, record.pv[judged.clone()].to_vec()).expect("as many"),
        base_load: &Series::new("load", horizon, record.base_load[judged.clone()].to_vec())
            .expect("as many"),
        draws: &draws,
        mains: &record.mains,
        ambient: &ambient,
        state: &past.start,
    };
    let mut plant = Plant::new(&run_site(site));
    let scene = plant.scene(&conditions).expect("a scene");
    let again = plant.simulate(&scene, &run.commands);
    let (one, two) = (run.outcome.plant_room.expect("works"), again.plant_room.expect("works"));
    for slot in 0..horizon.len() {
        assert_eq!(one.slots()[slot], two.slots()[slot], "slot {slot}");
    }
    assert_eq!(one.state(horizon.len()), two.state(horizon.len()));
}

/// Some half-hours of a series.
fn cut<T: Copy>(
    all: Option<&Series<T>>,
    judged: &std::ops::Range<usize>,
    horizon: &optimiser::time::Horizon,
) -> Option<Series<T>> {
    let own = all?.values()[judged.clone()].to_vec();
    Some(Series::new("a part", horizon, own).expect("as many"))
}

/// The house with the dials of [`thermostats`].
fn run_site(site: &Site) -> Site {
    thermostats(site).set_up(site)
}

#[test]
fn what_is_counted_can_be_added_up_by_hand() {
    let past = past(Kind::Everything, 3 * 48, 11);
    let (timeline, site) = (past.timeline(), &past.site);
    let stage = Stage::new(site, &timeline, &past.start).expect("a stage");
    let run = stage.run(&mut thermostats(site), &mut |_| {});
    let slots = stage.horizon().len();
    let whole = Ledger::of(&stage, &run, 0..slots);
    let sums = whole.plant_room.as_ref().expect("a plant room");
    let trace = run.outcome.plant_room.as_ref().expect("works");
    let jobs = || trace.slots().iter().flat_map(|slot| &slot.jobs);
    for own in &sums.routes {
        let of_route = || jobs().filter(|job| job.route == own.route);
        near(own.heat_kwh, of_route().map(|job| job.heat_kwh).sum(), 1e-9);
        near(own.electricity_kwh, of_route().map(|job| job.electricity_kwh).sum(), 1e-9);
        near(own.hours, of_route().map(|job| job.minutes / 60.0).sum(), 1e-9);
    }
    let price = site.plant_room.boiler.as_ref().expect("a boiler").fuel_price.per_kwh();
    let burnt: f64 = jobs().map(|job| job.fuel_kwh).sum();
    near(whole.fuel_cost(), burnt * price, 1e-9);
    let worth = stage.stored_worth();
    let paid = whole.bill() + whole.fuel_cost() + whole.wear - whole.stored_gain(worth);
    near(whole.cost(worth), paid, 1e-9);
    // Rooms too cold, by the hand of a clock: 20 °C from half past six to half past ten.
    let below = |slot: usize| {
        let low = if (13..45).contains(&(slot % 48)) { 20.0 } else { 18.0 };
        (low - trace.slots()[slot].air).max(0.0) / 2.0
    };
    near(sums.rooms.expect("rooms").below, (0..slots).map(below).sum(), 1e-9);
    let cold_pool = |slot: usize| (24.0 - trace.pool(slot + 1)).max(0.0) / 2.0;
    near(sums.pool.expect("a pool").below, (0..slots).map(cold_pool).sum(), 1e-9);
    // Days add up to the whole.
    let days = (0..3).map(|day| Ledger::of(&stage, &run, day * 48..(day + 1) * 48));
    let (mut cost, mut heat) = (0.0, 0.0);
    for day in days {
        cost += day.cost(worth);
        let own = day.plant_room.expect("a plant room");
        heat += own.routes.iter().map(|route| route.heat_kwh).sum::<f64>();
    }
    near(cost, whole.cost(worth), 1e-6);
    near(heat, sums.routes.iter().map(|route| route.heat_kwh).sum(), 1e-6);
}

#[test]
fn thermostats_serve_hot_water_before_rooms_and_keep_both() {
    let past = past(Kind::Heating, 6 * 48, 5);
    let (timeline, site) = (past.timeline(), &past.site);
    let stage = Stage::new(site, &timeline, &past.start).expect("a stage");
    let worth = stage.stored_worth();
    let tuned = tune(&stage, RuleKind::Thermostat, 0.001, worth).expect("a rule");
    let ledger = Ledger::of(&stage, &tuned.run, 0..stage.horizon().len());
    let sums = ledger.plant_room.as_ref().expect("a plant room");
    assert!(ledger.taps.unmet_percent() < 1.0, "{:?}", ledger.taps);
    assert!(sums.rooms.expect("rooms").mean_below() < 0.2, "{:?}", sums.rooms);
    let of = |sink: fn(&Sink) -> bool| -> f64 {
        let own = sums.routes.iter().filter(|own| sink(&own.route.sink));
        own.filter(|own| own.route.source != Source::Buffer).map(|own| own.heat_kwh).sum()
    };
    assert!(of(|sink| matches!(sink, Sink::Coil { .. })) > 1.0, "{:?}", sums.routes);
    // One job at a time: the minutes of a unit fit into each half-hour.
    for slot in tuned.run.outcome.plant_room.as_ref().expect("works").slots() {
        let unit = slot.jobs.iter().filter(|job| job.route.source == Source::HeatPump(0));
        assert!(unit.map(|job| job.minutes).sum::<f64>() < 30.0 + 1e-6, "{:?}", slot.jobs);
    }
}

/// stowheat for as many half-hours as there are.
fn planned(stage: &Stage<'_>) -> (Run, usize, Option<String>) {
    let site = stage.site();
    let mut planning = Planning::new(site, Settings::rolling());
    let run = stage.run(&mut planning, &mut |_| {});
    (run, planning.by_rule(), planning.last_failure().map(str::to_owned))
}

#[test]
fn stowheat_plans_a_plant_room_half_hour_by_half_hour() {
    for (kind, slots) in [(Kind::Heating, 48), (Kind::Everything, 16)] {
        let past = past(kind, slots, 7);
        let timeline = past.timeline();
        let stage = Stage::new(&past.site, &timeline, &past.start).expect("a stage");
        let (run, by_rule, why) = planned(&stage);
        assert_eq!(by_rule, 0, "{kind:?}: {why:?}");
        books_close(&stage, &run);
        let ledger = Ledger::of(&stage, &run, 0..slots);
        let sums = ledger.plant_room.as_ref().expect("a plant room");
        let pumped: f64 = sums.routes.iter().map(|own| own.heat_kwh).sum();
        assert!(pumped > 1.0, "{kind:?}: {sums:?}");
        assert!(!stage.has_bound());
        knowing_everything(&stage, &run);
    }
}

/// The program that knows everything keeps rooms and pool as warm as asked where the run
/// was, leaves what the run left, and pays less, by no more than all that was paid.
fn knowing_everything(stage: &Stage<'_>, run: &Run) {
    let worth = stage.stored_worth();
    let ledger = Ledger::of(stage, run, 0..stage.horizon().len());
    let cost = ledger.cost(worth);
    let limits = SolveLimits { seconds: 60.0, ..SolveLimits::default() };
    let mut solver = PeriodSolver::new(limits);
    let mut known =
        |comfort| prescient(stage, worth, comfort, run, &mut solver).expect("an answer");
    let (free, ready) = (known(Comfort::Draws), known(Comfort::Ready));
    near(free.open, 0.0, 1e-9);
    near(free.unmet_kwh, 0.0, 1e-3);
    assert!(free.cost <= ready.cost + 0.01, "{} {}", free.cost, ready.cost);
    let moved = ledger.import_cost.abs() + ledger.export_income.abs() + ledger.fuel_cost();
    assert!(free.cost < cost && free.cost > cost - moved, "{} {cost} {moved}", free.cost);
    let sums = ledger.plant_room.as_ref().expect("a plant room");
    let below = sums.rooms.map_or(0.0, |rooms| rooms.mean_below());
    assert!(free.too_cold.rooms <= below + 0.01, "{:?} {below}", free.too_cold);
}

#[test]
fn a_plan_does_not_see_the_weather_to_come() {
    const PASSED: usize = 6;
    let past = past(Kind::Heating, 12, 9);
    let (record, around) = (&past.record, &past.around);
    let from = record.judged.start + PASSED;
    let mut other = around.clone();
    let with = |series: &Option<Series<Temperature>>| {
        let all = series.as_ref().expect("air").values().iter().enumerate();
        let moved = all.map(|(slot, t)| if slot >= from { celsius(-12.0) } else { *t });
        Series::new("air", &record.horizon, moved.collect()).expect("as many")
    };
    other.ambient.outdoor = Some(with(&around.ambient.outdoor));
    let light: Vec<Irradiance> = around
        .ambient
        .collector_irradiance
        .as_ref()
        .expect("light")
        .values()
        .iter()
        .enumerate()
        .map(|(slot, light)| if slot >= from { Irradiance::constant(900.0) } else { *light })
        .collect();
    other.ambient.collector_irradiance =
        Some(Series::new("light", &record.horizon, light).expect("as many"));
    let go = |around: &Surroundings| {
        let timeline = Past { around: around.clone(), ..past.clone() }.timeline();
        let stage = Stage::new(&past.site, &timeline, &past.start).expect("a stage");
        planned(&stage).0.commands
    };
    let (one, two) = (go(around), go(&other));
    assert_eq!(one.jobs[..PASSED], two.jobs[..PASSED]);
    for (a, b) in one.heaters.iter().zip(&two.heaters) {
        assert_eq!(a[..PASSED], b[..PASSED]);
    }
    assert_ne!(one.jobs, two.jobs, "the check can tell: the futures do differ");
}

/// Looks at what a plan would know, and does nothing.
struct Looking {
    planning: Planning,
    known: Vec<Ambient>,
}

impl Controller for Looking {
    fn command(&mut self, view: &View<'_>) -> SlotCommands {
        self.known.push(self.planning.problem(view).expect("prices are known").ambient);
        let mut rule = thermostats(self.planning.site());
        rule.command(view)
    }
}

// Days that are all alike are foreseen exactly; a day that is 6 K warmer is foreseen to
// fall back to what is usual. Closed form: what is left after 12 h is 6·e^(−12/18).
#[test]
fn the_weather_is_expected_from_the_days_before() {
    let past = past(Kind::Heating, 2, 1);
    let record = &past.record;
    let mut around = past.around.clone();
    let usual = |slot: usize| 8.0 + 5.0 * wobble(3, slot % 48);
    let first = record.judged.start;
    let set = |warmer: f64, around: &mut Surroundings| {
        let air = (0..record.horizon.len()).map(|slot| {
            let off = if (first - 12..first + 48).contains(&slot) { warmer } else { 0.0 };
            celsius(usual(slot) + off)
        });
        around.ambient.outdoor =
            Some(Series::new("air", &record.horizon, air.collect()).expect("as many"));
    };
    let look = |around: &Surroundings| {
        let timeline = Past { around: around.clone(), ..past.clone() }.timeline();
        let stage = Stage::new(&past.site, &timeline, &past.start).expect("a stage");
        let planning = Planning::new(&past.site, Settings::rolling());
        let mut looking = Looking { planning, known: Vec::new() };
        stage.run(&mut looking, &mut |_| {});
        looking.known.swap_remove(0).outdoor.expect("air")
    };
    set(0.0, &mut around);
    let air = look(&around);
    for ahead in 0..72 {
        near(air[ahead].celsius(), usual(first + ahead), 1e-9);
    }
    set(6.0, &mut around);
    let air = look(&around);
    near(air[0].celsius(), usual(first) + 6.0, 1e-9);
    near(air[24].celsius(), usual(first + 24) + 6.0 * (-12.0_f64 / 18.0).exp(), 1e-9);
    around.foreknown = true;
    near(look(&around)[40].celsius(), usual(first + 40) + 6.0, 1e-9);
}
