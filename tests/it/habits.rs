//! Habits, sun and prices of a house, through the making of the problem to the
//! plan: what people who do this job expect of it.

use optimiser::plan::{Outcome, Planner};
use optimiser::schedule::{Schedule, SlotPlan};
use optimiser::time::Instant;
use stowheat::assemble::{Assembled, Known, assemble};
use stowheat::house::House;
use stowheat::local_time::parse_instant;
use stowheat::series::{Marks, SeriesFile, read};
use stowheat::site_file;
use stowheat::tariff::Wholesale;

/// One cylinder of 250 L with a modulating element, PV by forecast.
const HOUSE: &str = r#"
[site]
name = "Test House"
time_zone = "Etc/UTC"
currency = "GBP"

[grid]
fuse_amperes = 80
export_limit_kw = 10

[tariff.import]
rate_minor_per_kwh = 25

[tariff.export]
rate_minor_per_kwh = 5

[pv]
forecast_scale = 1

[base_load]
constant_kw = 0.2

[[store]]
name = "cylinder"
volume_litres = 250
height_metres = 1.6
heat_loss_watts_per_kelvin = 1.8
ceiling_celsius = 65
cut_out_celsius = 80
held_back_litres = 0

[[store.element]]
name = "element"
power_kw = 3
height_fraction = 0.04
control = "modulating"
thermostat_celsius = 65
circuit_amperes = 16

[[draws]]
list = [
    { at = "07:00", mixed_litres = 100, at_celsius = 40 },
    { at = "19:00", mixed_litres = 100, at_celsius = 40 },
]

[state]
store = [{ bottom_to_top_celsius = [30] }]
"#;

/// Midnight of the first day of every series here.
const DAY: &str = "2026-05-04T00:00:00Z";

fn at(text: &str) -> Instant {
    parse_instant(text).expect("an instant")
}

/// The house with pieces of its file exchanged.
fn house(changes: &[(&str, &str)]) -> House {
    let mut text = HOUSE.to_owned();
    for (old, new) in changes {
        assert!(text.contains(old), "`{old}` is not in the file");
        text = text.replacen(old, new, 1);
    }
    site_file::read(&text, "house.toml").unwrap_or_else(|report| panic!("{report}")).house
}

/// Half-hours from [`DAY`] on, the same value in each of the hours of each day.
fn daily(header: &str, days: usize, value: impl Fn(f64) -> f64) -> SeriesFile {
    let first = at(DAY);
    let mut text = format!("start_utc,{header}\n");
    for half in 0..48 * days {
        let start = first + 1_800 * i64::try_from(half).expect("few half-hours");
        let line = format!("{start},{}\n", value((half % 48) as f64 / 2.0));
        text.push_str(&line);
    }
    read("series.csv", text.as_bytes(), Marks::AsNamed).unwrap_or_else(|error| panic!("{error}"))
}

/// PV of an even power from ten to three.
fn sun(kw: f64) -> Known {
    let energy = |hour: f64| if (10.0..15.0).contains(&hour) { kw / 2.0 } else { 0.0 };
    Known { pv: Some(daily("pv_kwh", 5, energy)), ..Known::default() }
}

fn plan(house: &House, known: &Known, from: &str) -> Schedule {
    let Assembled { problem, .. } =
        assemble(house, known, at(from)).unwrap_or_else(|error| panic!("{error}"));
    match Planner::default().plan(&problem) {
        Outcome::Planned(planned) => planned.schedule,
        other => panic!("no plan: {other:?}"),
    }
}

/// Sum over the slots that begin between two instants.
fn sum(plan: &Schedule, from: &str, until: &str, value: impl Fn(&SlotPlan) -> f64) -> f64 {
    let (from, until) = (at(from), at(until));
    let within = plan.slots.iter().filter(|s| from <= s.slot.start() && s.slot.start() < until);
    within.map(value).sum()
}

const ALWAYS: (&str, &str) = ("2000-01-01T00:00Z", "2100-01-01T00:00Z");

fn total(plan: &Schedule, value: impl Fn(&SlotPlan) -> f64) -> f64 {
    sum(plan, ALWAYS.0, ALWAYS.1, value)
}

fn heat(plan: &SlotPlan) -> f64 {
    plan.heaters.iter().map(|heater| heater.energy.kwh()).sum()
}

fn heat_from_grid(plan: &SlotPlan) -> f64 {
    plan.heaters.iter().map(|heater| heater.grid.kwh()).sum()
}

fn heat_from_pv(plan: &SlotPlan) -> f64 {
    plan.heaters.iter().map(|heater| heater.pv.kwh()).sum()
}

/// A battery of 90 % round trip that only PV charges, and an evening that
/// takes 6 kWh.
fn with_battery(import: &str, export: &str) -> House {
    house(&[
        ("rate_minor_per_kwh = 25", import),
        ("rate_minor_per_kwh = 5", export),
        (
            "[base_load]\nconstant_kw = 0.2",
            "[battery]\ncapacity_kwh = 10\ncharge_limit_kw = 5\ndischarge_limit_kw = 5\n\
             charge_efficiency_fraction = 0.9487\ndischarge_efficiency_fraction = 0.9487\n\
             charges_from_grid = false\nfeeds_heaters = false\n\n[base_load]\ndaily = [\n\
             { from = \"00:00\", power_kw = 0 },\n{ from = \"16:00\", power_kw = 1 },\n\
             { from = \"22:00\", power_kw = 0 },\n]",
        ),
    ])
}

const NO_CHEAP_NIGHT: &str = "bands = [\n{ from = \"22:00\", until = \"16:00\", rate_minor_per_kwh = 20 },\n{ from = \"16:00\", until = \"22:00\", rate_minor_per_kwh = 30 },\n]";
const CHEAP_NIGHT: &str = "bands = [\n{ from = \"00:00\", until = \"06:00\", rate_minor_per_kwh = 7 },\n{ from = \"06:00\", until = \"16:00\", rate_minor_per_kwh = 20 },\n{ from = \"16:00\", until = \"00:00\", rate_minor_per_kwh = 30 },\n]";

// C20 regime A, common practice, no published source: export 5, evening 30, no
// cheap night (here 20): battery for the evening, then cylinder, then export.
#[test]
fn without_a_cheap_night_the_sun_goes_to_battery_cylinder_and_export() {
    let house = with_battery(NO_CHEAP_NIGHT, "rate_minor_per_kwh = 5");
    let until = "2026-05-05T00:00Z";
    // 4 kWh are less than the evening needs.
    let scarce = plan(&house, &sun(0.8), "2026-05-04T08:00Z");
    assert!((sum(&scarce, DAY, until, |s| s.charge.kwh()) - 4.0).abs() < 1e-3);
    assert!(sum(&scarce, DAY, until, heat_from_pv) < 1e-3);
    assert!(sum(&scarce, DAY, until, |s| s.export.kwh()) < 1e-3);
    // 20 kWh are enough for all three, and nothing is bought for the evening.
    let ample = plan(&house, &sun(4.0), "2026-05-04T08:00Z");
    let charged = sum(&ample, DAY, until, |s| s.charge.kwh());
    assert!((charged - 6.0 / 0.9).abs() < 0.5, "{charged}");
    assert!(sum(&ample, DAY, until, |s| s.import.kwh()) < 1e-3);
    assert!(sum(&ample, DAY, until, heat_from_pv) > 3.0);
    assert!(sum(&ample, DAY, until, |s| s.export.kwh()) > 1.0);
}

// C20 regime B, common practice, no published source: export 15, night 7:
// battery up to the evening need (30 × 0.9 > 15), then export; the cylinder at
// night, never from PV. (Here by an element; the case has a heat pump.)
#[test]
fn with_a_cheap_night_the_sun_is_sold_and_never_heats() {
    let house = with_battery(CHEAP_NIGHT, "rate_minor_per_kwh = 15");
    let plan = plan(&house, &sun(4.0), "2026-05-04T00:00Z");
    assert!(total(&plan, heat_from_pv) < 1e-3, "{}", total(&plan, heat_from_pv));
    let night = sum(&plan, "2026-05-04T00:00Z", "2026-05-04T06:00Z", heat);
    assert!(night > 4.0, "{night}");
    for (from, until) in
        [("2026-05-04T08:00Z", "2026-05-05T00:00Z"), ("2026-05-05T08:00Z", "2026-05-06T00:00Z")]
    {
        let charged = sum(&plan, from, until, |s| s.charge.kwh());
        assert!((charged - 6.0 / 0.9).abs() < 0.05, "{charged}");
        assert!(sum(&plan, from, until, |s| s.export.kwh()) > 12.0);
        assert!(sum(&plan, from, until, heat) < 1e-3);
    }
}

// C22, common practice, no published source: every price is far above what a
// threshold rule of 15 would take; the floor is kept in the cheapest slots.
#[test]
fn prices_above_any_threshold_still_warm_the_water() {
    let mut house = house(&[
        ("rate_minor_per_kwh = 25", "factor = 1"),
        ("[state]", "[[ready]]\nby = \"06:30\"\nmixed_litres = 150\n\n[state]"),
    ]);
    house.state.stores[0] = vec![optimiser::units::Temperature::constant(20.0)];
    let price = |hour: f64| match hour {
        2.0..5.0 => 20.0,
        7.0..9.0 | 17.0..20.0 => 35.0,
        _ => 28.0,
    };
    let prices = daily("price_p_per_kwh", 3, price);
    let known = Known {
        wholesale: Wholesale::from_file(&prices, &house.tariff).expect("prices"),
        price_step_seconds: prices.step_seconds(),
        ..Known::default()
    };
    let plan = plan(&house, &known, "2026-05-04T00:00Z");
    assert!(plan.unmet_kwh < 1e-6 && plan.short_kwh < 1e-6);
    // 150 L at 40 °C carry 5.23 kWh above the mains of 10 °C.
    let night = sum(&plan, "2026-05-04T00:00Z", "2026-05-04T06:30Z", heat);
    assert!(night > 2.0, "{night}");
    assert!(plan.slots.iter().all(|s| heat(s) < 1e-6 || s.import_price.per_kwh() < 20.5));
}

// C23, common practice, no published source: 250 L, a surplus of 8 kWh, 30 to
// 60 °C are 8.72 kWh: the night heats to the morning's floor only, and nothing
// is bought after the showers, since the forecast covers the evening.
#[test]
fn the_night_leaves_room_for_the_sun() {
    let house = house(&[("[state]", "[[ready]]\nby = \"06:30\"\nmixed_litres = 110\n\n[state]")]);
    let plan = plan(&house, &sun(1.8), "2026-05-04T00:00Z");
    assert!(plan.unmet_kwh < 1e-6 && plan.short_kwh < 1e-6);
    let after = sum(&plan, "2026-05-04T07:00Z", "2026-05-05T00:00Z", heat_from_grid);
    assert!(after < 1e-6, "{after} kWh bought after the showers");
    // At most what brings the promised water up from 30 °C with its losses.
    let night = sum(&plan, "2026-05-04T00:00Z", "2026-05-04T07:00Z", heat);
    let floor = optimiser::water::heat_kwh(110.0, 30.0);
    assert!(night > 0.5 && night < floor, "{night} of {floor}");
    let sunny = sum(&plan, "2026-05-04T10:00Z", "2026-05-04T15:00Z", heat_from_pv);
    assert!(sunny > 2.0, "{sunny}");
}

// C24, the part of the element; common practice, no published source: three
// dull days, 38 °C at 18:00: there must be a night run.
#[test]
fn dull_days_and_a_cooling_tank_need_a_night_run() {
    let mut house = house(&[(
        "rate_minor_per_kwh = 25",
        "bands = [\n{ from = \"00:00\", until = \"06:00\", rate_minor_per_kwh = 12 },\n{ from = \"06:00\", until = \"00:00\", rate_minor_per_kwh = 30 },\n]",
    )]);
    house.state.stores[0] = vec![optimiser::units::Temperature::constant(38.0)];
    let plan = plan(&house, &sun(0.3), "2026-05-04T18:00Z");
    assert!(plan.unmet_kwh < 0.01, "{}", plan.unmet_kwh);
    for (from, until) in
        [("2026-05-05T00:00Z", "2026-05-05T06:00Z"), ("2026-05-06T00:00Z", "2026-05-06T06:00Z")]
    {
        let night = sum(&plan, from, until, heat);
        assert!(night > 2.0, "{from}: {night}");
    }
}

// C30 with PV for the collectors, common practice, no published source: two
// sunny days, no draw, 200 L at 45 °C: nothing is bought on either night.
#[test]
fn a_second_sunny_day_needs_no_grid() {
    let mut house = house(&[("volume_litres = 250", "volume_litres = 200")]);
    house.draws.clear();
    house.state.stores[0] = vec![optimiser::units::Temperature::constant(45.0)];
    let plan = plan(&house, &sun(2.0), "2026-05-04T18:00Z");
    assert!(total(&plan, heat_from_grid) < 1e-6);
    let hottest = plan.slots.iter().map(|s| s.stores[0].top.celsius()).fold(0.0, f64::max);
    assert!(hottest <= 65.0 + 1e-6, "{hottest}");
}
