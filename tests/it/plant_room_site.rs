//! Plant rooms from site file and weather to the plan and how it is shown: what
//! people who do this job expect.

use std::fmt::Write as _;

use optimiser::judge::Effort;
use optimiser::plan::{Outcome, Planner};
use optimiser::problem::Problem;
use optimiser::schedule::{Schedule, SlotPlan};
use optimiser::site::{Sink, Source};
use optimiser::time::Instant;
use stowheat::assemble::{Assembled, Known, assemble};
use stowheat::house::House;
use stowheat::local_time::parse_instant;
use stowheat::present::document::{Document, Job, Request, Requested};
use stowheat::present::{Plan, chart, explain, table};
use stowheat::series::{Marks, read};
use stowheat::site_file;
use stowheat::weather::{Reading, Weather};

/// One cylinder of 250 L with an element and a coil that a unit of 6 kW feeds.
/// Its COP is 2.6 in air of 2 °C and 3.1 in air of 10 °C at any flow (C17).
const HOUSE: &str = r#"
[site]
name = "Test House"
time_zone = "Etc/UTC"
currency = "GBP"

[location]
latitude_degrees = 51
longitude_degrees = 0

[grid]
fuse_amperes = 80

[tariff.import]
bands = [
    { from = "00:00", until = "07:00", rate_minor_per_kwh = 7 },
    { from = "07:00", until = "00:00", rate_minor_per_kwh = 25 },
]

[base_load]
constant_kw = 0.2

[[store]]
name = "cylinder"
volume_litres = 250
height_metres = 1.6
heat_loss_watts_per_kelvin = 0.8
ceiling_celsius = 62
cut_out_celsius = 80
held_back_litres = 0

[[store.element]]
name = "element"
power_kw = 3
height_fraction = 0.04
thermostat_celsius = 60

[[store.coil]]
name = "coil"
bottom_fraction = 0.04
top_fraction = 0.6
rated_kw = 20
rated_difference_kelvin = 5

[[heat_pump]]
name = "unit"
source = "air"
model = "rating-points"
points = [
    { source_celsius = 2, flow_celsius = 45, capacity_kw = 6, cop = 2.6 },
    { source_celsius = 10, flow_celsius = 45, capacity_kw = 6, cop = 3.1 },
]
flow_limit_celsius = 62
least_share_fraction = 0.2
defrost_loss_fraction = 0
start_loss_kwh = 0
auxiliary_kw = 0
serves = ["cylinder"]

[[draws]]
list = [{ at = "20:00", mixed_litres = 150, at_celsius = 40 }]

[state]
store = [{ bottom_to_top_celsius = [12] }]
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

/// Five days of hours: air [°C] and light on the horizontal [W/m²] by hour of day.
fn weather(value: impl Fn(u32) -> (f64, f64)) -> Known {
    let first = at(DAY);
    let mut text = "start_utc,temp_air_c,ghi_w_per_m2\n".to_owned();
    for hour in 0..120 {
        let (air, light) = value(hour % 24);
        let _ = writeln!(text, "{},{air},{light}", first + 3_600 * i64::from(hour));
    }
    let file = read("weather.csv", text.as_bytes(), Marks::AsNamed).expect("a series");
    let weather = Weather::from_series(&file).expect("rows in order");
    Known { weather: Some(Reading::Dated(weather)), ..Known::default() }
}

/// Nights of 2 °C, afternoons of 10 °C.
fn spring() -> Known {
    weather(|hour| (if (12..18).contains(&hour) { 10.0 } else { 2.0 }, 0.0))
}

fn planned(house: &House, known: &Known, from: &str) -> (Problem, Schedule) {
    let Assembled { problem, .. } =
        assemble(house, known, at(from)).unwrap_or_else(|error| panic!("{error}"));
    match Planner::default().with_effort(Effort::NONE).plan(&problem) {
        Outcome::Planned(planned) => (problem, planned.schedule),
        other => panic!("no plan: {other:?}"),
    }
}

/// Sum over the slots of the first day that begin between two hours.
fn between(plan: &Schedule, from: f64, until: f64, value: impl Fn(&SlotPlan) -> f64) -> f64 {
    let hour = |slot: &SlotPlan| slot.slot.start().hours_since(at(DAY));
    plan.slots.iter().filter(|slot| (from..until).contains(&hour(slot))).map(value).sum()
}

/// Heat of a source in a slot [kWh].
fn heat(source: Source) -> impl Fn(&SlotPlan) -> f64 {
    move |slot| {
        slot.jobs.iter().filter(|job| job.route.source == source).map(|job| job.heat.kwh()).sum()
    }
}

fn elements(slot: &SlotPlan) -> f64 {
    slot.heaters.iter().map(|heater| heater.energy.kwh()).sum()
}

const UNIT: Source = Source::HeatPump(0);

// C17, common practice, no published source: 7p at COP 2.6 by night beats 25p at
// COP 3.1 in the afternoon; at 25p all day the afternoon wins.
#[test]
fn a_heat_pump_weighs_price_against_cop() {
    let (_, by_night) = planned(&house(&[]), &spring(), DAY);
    let night = between(&by_night, 0.0, 7.0, heat(UNIT));
    let afternoon = between(&by_night, 12.0, 18.0, heat(UNIT));
    assert!(night > 4.0 && afternoon < 0.05 * night, "night {night}, afternoon {afternoon}");
    let flat = [("rate_minor_per_kwh = 7", "rate_minor_per_kwh = 25")];
    let (_, flat) = planned(&house(&flat), &spring(), DAY);
    let night = between(&flat, 0.0, 7.0, heat(UNIT));
    let afternoon = between(&flat, 12.0, 18.0, heat(UNIT));
    assert!(afternoon > 4.0 && night < 0.05 * afternoon, "night {night}, afternoon {afternoon}");
}

// C18, common practice, no published source: resistance at −5p, the heat pump at +4p.
#[test]
fn resistance_below_zero_and_the_heat_pump_above() {
    let at_noon = |rate: &str, celsius: &str| {
        let bands = format!(
            "{{ from = \"00:00\", until = \"11:00\", rate_minor_per_kwh = 25 }},\n    {{ from = \"11:00\", until = \"13:00\", rate_minor_per_kwh = {rate} }},\n    {{ from = \"13:00\", until = \"00:00\", rate_minor_per_kwh = 25 }},\n]"
        );
        let old = "{ from = \"00:00\", until = \"07:00\", rate_minor_per_kwh = 7 },\n    { from = \"07:00\", until = \"00:00\", rate_minor_per_kwh = 25 },\n]";
        let state = format!("bottom_to_top_celsius = [{celsius}]");
        let house = house(&[(old, &bands), ("bottom_to_top_celsius = [12]", &state)]);
        let (_, plan) = planned(&house, &weather(|_| (7.0, 0.0)), DAY);
        (between(&plan, 11.0, 13.0, elements), between(&plan, 11.0, 13.0, heat(UNIT)))
    };
    // There is room for 4 kWh and the losses since midnight, less than the element makes.
    let (element, pump) = at_noon("-5", "46");
    assert!(element > 3.5 && pump < 0.5, "element {element}, heat pump {pump}");
    let (element, pump) = at_noon("4", "12");
    assert!(element < 0.1 && pump > 4.0, "element {element}, heat pump {pump}");
}

// C24, common practice, no published source: dull days, the cylinder fell to 30 °C. The
// heat pump runs by night; without it the element; without both nothing can.
#[test]
fn whoever_is_left_heats_in_a_cold_autumn() {
    let morning = ("at = \"20:00\", mixed_litres = 150", "at = \"07:30\", mixed_litres = 150");
    let state = ("bottom_to_top_celsius = [12]", "bottom_to_top_celsius = [30]");
    let dull = weather(|_| (5.0, 0.0));
    let evening = "2026-05-04T18:00:00Z";
    let (_, with_pump) = planned(&house(&[morning, state]), &dull, evening);
    assert!(between(&with_pump, 24.0, 31.0, heat(UNIT)) > 1.0);
    assert!(with_pump.unmet_kwh < 0.02, "{}", with_pump.unmet_kwh);
    let pump = &HOUSE
        [HOUSE.find("[[heat_pump]]").expect("a pump")..HOUSE.find("[[draws]]").expect("draws")];
    let (_, without) = planned(&house(&[morning, state, (pump, "")]), &dull, evening);
    assert!(between(&without, 24.0, 31.0, elements) > 1.0);
    assert!(without.unmet_kwh < 0.02, "{}", without.unmet_kwh);
    let element = &HOUSE[HOUSE.find("[[store.element]]").expect("an element")
        ..HOUSE.find("[[heat_pump]]").expect("a pump")];
    let neither = HOUSE.replacen(element, "", 1).replacen(pump, "", 1);
    let refused = site_file::read(&neither, "house.toml").expect_err("nothing heats it");
    assert!(refused.to_string().contains("nothing can heat this store"), "{refused}");
}

// C29, common practice: collectors colder than the store do not run. C30: two sunny
// days without a draw; the pool takes what the store has no room for, and no night
// buys heat for the cylinder.
#[test]
fn collectors_fill_the_cylinder_and_then_the_pool() {
    let sunny = weather(|hour| {
        let height = (f64::from(hour) - 12.0) / 7.0;
        (18.0, (850.0 * (1.0 - height * height)).max(0.0))
    });
    let pump = &HOUSE
        [HOUSE.find("[[heat_pump]]").expect("a pump")..HOUSE.find("[state]").expect("a state")];
    let collectors = r#"
[collectors]
area_square_metres = 5
eta0_fraction = 0.8
a1_watts_per_m2_k = 3.5
a2_watts_per_m2_k2 = 0.015
tilt_degrees = 35
azimuth_degrees = 180
priority = "optimiser"
serves = ["cylinder", "pool"]

[pool]
surface_square_metres = 30
depth_metres = 1.4
wind_share_fraction = 0.2
absorbed_covered_fraction = 0
covered = [{ from = "00:00", until = "00:00" }]
exchanger_kw = 20
comfort = [{ from = "00:00", low_celsius = 22, high_celsius = 28 }]

[[ready]]
by = "06:00"
mixed_litres = 100

"#;
    let state = (
        "store = [{ bottom_to_top_celsius = [12] }]",
        "pool_celsius = 21.7\nstore = [{ bottom_to_top_celsius = [45] }]",
    );
    let house = house(&[(pump, collectors), state]);
    let (problem, plan) = planned(&house, &sunny, "2026-05-04T06:00:00Z");
    let by_sink = |sink: Sink| -> f64 {
        let jobs = plan.slots.iter().flat_map(|slot| &slot.jobs);
        jobs.filter(|job| job.route.sink == sink).map(|job| job.heat.kwh()).sum()
    };
    let store = &problem.site.stores[0];
    // From 45 °C there is room up to the limit of the pump station, and its losses.
    let room = store.heat_at(store.ceiling) - 250.0 * 0.001_163 * 35.0;
    let into_store = by_sink(Sink::Coil { store: 0, coil: 0 });
    assert!(into_store <= room + 3.0, "{into_store} kWh for {room}");
    assert!(by_sink(Sink::Pool) > 5.0, "{}", by_sink(Sink::Pool));
    assert!(plan.slots.iter().map(elements).sum::<f64>() < 0.05, "nothing is bought for it");
    for night in [(20.0, 29.0), (44.0, 53.0)] {
        let ran = between(&plan, night.0, night.1, heat(Source::Collectors));
        assert!(ran < 1e-6, "{ran} kWh at night");
    }
}

// C25, common practice: one job at a time, hot water or rooms. The fixture is a cold
// January night of a house with both.
#[test]
fn a_heat_pump_does_one_job_at_a_time_and_every_form_tells_it() {
    let text = include_str!("../../fixtures/sites/kiln-house.toml").replace(
        "[tariff.import]\nfactor = 1.15\nadders = [\n    { from = \"16:00\", until = \"19:00\", rate_minor_per_kwh = 15 },\n    { from = \"19:00\", until = \"16:00\", rate_minor_per_kwh = 7 },\n]\nvat_percent = 5\ncap_minor_per_kwh = 95\n",
        "[tariff.import]\nbands = [\n    { from = \"00:00\", until = \"07:00\", rate_minor_per_kwh = 9 },\n    { from = \"07:00\", until = \"00:00\", rate_minor_per_kwh = 27 },\n]\n",
    );
    let house = site_file::read(&text, "kiln.toml").unwrap_or_else(|r| panic!("{r}")).house;
    let (problem, schedule) = planned(&house, &weather(|_| (1.0, 30.0)), "2026-05-04T22:00:00Z");
    let mut served = [0.0; 2];
    for slot in &schedule.slots {
        let mut runs: Vec<(f64, f64)> = slot
            .jobs
            .iter()
            .filter(|job| job.route.source == UNIT)
            .map(|job| (job.delay_minutes, job.delay_minutes + job.minutes))
            .collect();
        runs.sort_by(|a, b| a.0.total_cmp(&b.0));
        assert!(runs.windows(2).all(|pair| pair[0].1 <= pair[1].0 + 1e-3), "{runs:?}");
        for job in slot.jobs.iter().filter(|job| job.route.source == UNIT) {
            served[usize::from(job.route.sink == Sink::Buffer)] += job.heat.kwh();
        }
    }
    assert!(served.iter().all(|kwh| *kwh > 0.5), "hot water and rooms: {served:?}");
    let plan = Plan {
        house: &house,
        problem: &problem,
        schedule: &schedule,
        issued_at: problem.horizon.start(),
        valid_until: problem.horizon.end(),
        published_until: problem.horizon.end(),
    };
    let document = Document::new(&plan);
    told_in_json(&document, served[0] + served[1]);
    let shown = table::render(&plan);
    for words in [
        "ground → buffer: ",
        " kWh of heat, COP ",
        "Models    COP of ground after Staffell et al. 2012",
        "rooms: ",
        "Refrigerant: only certified people",
    ] {
        assert!(shown.contains(words), "no `{words}` in\n{shown}");
    }
    assert!(shown.lines().all(|line| line.chars().count() <= 100), "{shown}");
    let told = explain::overview(&plan);
    assert!(told.contains("COP of ground after Staffell et al. 2012"), "{told}");
    a_source_is_explained(&plan);
    let svg = chart::render(&plan);
    for words in ["Heat pump ground, electricity; heat ", "Collectors, heat", ">Buffer<", ">Rooms<"]
    {
        assert!(svg.contains(words), "no {words}");
    }
    assert!(!svg.contains("NaN"));
}

fn a_source_is_explained(plan: &Plan<'_>) {
    let at_work = |slot: &SlotPlan| {
        slot.jobs.iter().any(|job| job.route.source == UNIT && job.heat.kwh() > 0.1)
    };
    let busy = plan.schedule.slots.iter().find(|slot| at_work(slot)).expect("it heats");
    let told = |name: &str, at: Instant| {
        let at = chrono::DateTime::from_timestamp(at.unix(), 0).expect("an instant");
        let target = explain::Target::parse(plan, &format!("{name}@{}", at.to_rfc3339()));
        explain::one(plan, target.expect("a source and a slot"))
    };
    let text = told("ground", busy.slot.start());
    for words in
        ["· runs", "ground → ", "a kWh of its heat for ", "one more kWh in buffer is worth"]
    {
        assert!(text.contains(words), "no `{words}` in\n{text}");
    }
    let night = told("collectors", plan.problem.horizon.start());
    assert!(night.contains("collectors · ") && night.contains("rests"), "{night}");
    assert!(night.contains("next run"), "{night}");
    let error = explain::Target::parse(plan, "kettle@13:00").expect_err("there is none");
    assert!(error.to_string().contains("`ground`, `collectors`, `buffer`"), "{error}");
}

/// The document has every job, with parts that sum, and fits its schema.
fn told_in_json(document: &Document, pumped: f64) {
    let text = document.to_json();
    let value: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let schema = serde_json::to_value(stowheat::present::document::schema()).expect("JSON");
    let validator = jsonschema::draft202012::new(&schema).expect("a valid schema");
    let problems: Vec<String> = validator.iter_errors(&value).map(|e| e.to_string()).collect();
    assert!(problems.is_empty(), "{problems:#?}");
    assert_eq!(document.models[0].name, "Staffell et al. 2012");
    let jobs: Vec<&Job> = document.slots.iter().flat_map(|slot| &slot.jobs).collect();
    let of_unit: f64 = jobs.iter().filter(|job| job.source == "ground").map(|j| j.heat_kwh).sum();
    assert!((of_unit - pumped).abs() < 0.01, "{of_unit} is not {pumped}");
    let told = document.slots.iter().flat_map(|slot| &slot.told);
    let told: f64 =
        told.filter(|own| own.source == "ground").map(|own| own.heat_kw * own.minutes / 60.0).sum();
    assert!(told >= of_unit - 0.01, "told {told} to give {of_unit}");
    for job in jobs {
        let parts = job.pv_kwh + job.battery_kwh + job.grid_kwh;
        assert!((parts - job.electricity_kwh).abs() < 1e-9, "{job:?}");
        assert_eq!(job.cop.is_some(), job.source == "ground" && job.electricity_kwh >= 0.005);
    }
    four_states(document);
    let end = document.slots.last().and_then(|slot| slot.plant_room).expect("a plant room");
    assert!(end.buffer_c.is_some() && end.rooms_air_c.is_some() && end.pool_c.is_none());
}

/// Two contacts without gap, each state for ten minutes or more and no block for more
/// than two hours, from when the unit is planned to run.
fn four_states(document: &Document) {
    let states = &document.four_state;
    assert!(!states.is_empty());
    assert_eq!(states[0].start, document.slots[0].start);
    assert!(states.windows(2).all(|pair| pair[0].end == pair[1].start));
    let seconds = |request: &Request| at(&request.end) - at(&request.start);
    assert!(states[..states.len() - 1].iter().all(|request| seconds(request) >= 600));
    let blocks = states.iter().filter(|request| request.state == Requested::Blocked);
    assert!(blocks.map(seconds).all(|block| block <= 7_200));
    let runs = |request: &&Request| request.contact_2;
    assert!(states.iter().filter(runs).count() > 0, "it is planned to run");
    for request in states {
        let contacts = (request.contact_1, request.contact_2);
        let expected = match request.state {
            Requested::Blocked => (1, (true, false)),
            Requested::Normal => (2, (false, false)),
            Requested::Encouraged => (3, (false, true)),
            Requested::Forced => (4, (true, true)),
        };
        assert_eq!((request.number, contacts), expected);
    }
}
