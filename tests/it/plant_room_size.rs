//! A study of a house with a heat pump: two sizes of it over two days.

use std::fmt::Write as _;

use optimiser::time::Instant;
use stowheat::assemble::Known;
use stowheat::local_time::parse_instant;
use stowheat::series::{Marks, read};
use stowheat::site_file::{self, Options};
use stowheat::size::{Axis, Case, Kept, Margins, Study, Wanted, World, candidates, case, margins};
use stowheat::size::{margins::Point, table};
use stowheat::weather::{Reading, Weather};

/// One cylinder with an element and a coil that a small unit feeds, and the rooms.
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
heat_loss_watts_per_kelvin = 1.6
ceiling_celsius = 62
cut_out_celsius = 80

[[store.element]]
name = "element"
power_kw = 3
height_fraction = 0.04
thermostat_celsius = 60
circuit_amperes = 16

[[store.coil]]
name = "coil"
bottom_fraction = 0.04
top_fraction = 0.6
rated_kw = 20
rated_difference_kelvin = 10

[[heat_pump]]
name = "unit"
source = "air"
model = "staffell-2012"
rated_kw = 1.2
rated_source_celsius = 7
rated_flow_celsius = 45
flow_limit_celsius = 60
least_share_fraction = 0.3
serves = ["cylinder", "rooms"]

[rooms]
floor_square_metres = 110
heat_loss_watts_per_kelvin = 160
design_outdoor_celsius = -3
flow_on_design_day_celsius = 42
flow_on_mild_day_celsius = 28
comfort = [{ from = "00:00", low_celsius = 19, high_celsius = 23 }]

[[draws]]
list = [
    { at = "07:30", mixed_litres = 70, at_celsius = 40 },
    { at = "20:00", mixed_litres = 90, at_celsius = 40 },
]

[state]
store = [{ bottom_to_top_celsius = [48] }]

[state.rooms]
air_celsius = 19.5
mass_celsius = 19.5
"#;

/// Weather from a week before to a week behind two days: 3 to 9 °C.
fn known(first: Instant) -> Known {
    let mut text = "start_utc,temp_air_c,ghi_w_per_m2\n".to_owned();
    for hour in -24 * 7..24 * 9 {
        let air = 6.0 - 3.0 * (f64::from(hour) / 24.0 * std::f64::consts::TAU).cos();
        let _ = writeln!(text, "{},{air:.2},50", first + 3_600 * i64::from(hour));
    }
    let file = read("weather.csv", text.as_bytes(), Marks::AsNamed).expect("a series");
    let weather = Weather::from_series(&file).expect("rows in order");
    Known { weather: Some(Reading::Dated(weather)), ..Known::default() }
}

#[test]
fn two_sizes_of_a_heat_pump_over_two_days() {
    let day = |text: &str| text.parse::<chrono::NaiveDate>().expect("a day");
    let world = World {
        name: "invented".to_owned(),
        known: known(parse_instant("2026-03-10T00:00:00Z").expect("an instant")),
        draws_column: None,
        parts: vec![(Some(day("2026-03-10")), Some(day("2026-03-11")))],
        later_hours: 0,
        exchange: None,
        measured: Vec::new(),
        files: Vec::new(),
    };
    let axis: Axis = "heat_pump.unit.rated_kw=6".parse().expect("an axis");
    let options = Options::default();
    let tried = candidates(&Wanted {
        text: HOUSE,
        file_name: "house.toml",
        present: &[],
        axes: &[axis],
        one_at_a_time: false,
        options: &options,
    })
    .unwrap_or_else(|problems| panic!("{problems}"));
    assert_eq!(tried.len(), 2);
    assert_eq!(tried[1].name, "unit rated 6 kW");
    let cases: Vec<Vec<Case>> = tried
        .iter()
        .map(|one| vec![case::case(one, &world, &mut |_| {}).expect("a case")])
        .collect();
    let point = Point { present: &tried[0], tried: &tried, beside: &[], with_battery: None };
    let found: Margins = margins::margins(&point, &world).expect("margins");
    assert!(found.values.is_empty());
    assert!(found.failed.as_ref().is_some_and(|why| why.contains("a plant room has none")));
    let rooms = |case: &Case| {
        let own = case.parts[0].own().whole.plant_room.clone().expect("a plant room");
        (own.rooms.expect("rooms").kelvin_hours_below, own)
    };
    let ((cold, small), (warm, large)) = (rooms(&cases[0][0]), rooms(&cases[1][0]));
    // 160 W/K at 13 K need 2.1 kW, and hot water some more: the small unit is short.
    assert!(warm < cold, "{warm} K·h with the larger unit, {cold} with the smaller");
    let heat = |of: &stowheat::replay::document::PlantRoom| -> f64 {
        of.routes.iter().map(|route| route.heat_kwh).sum()
    };
    assert!(heat(&large) > 20.0 && heat(&small) > 20.0);
    assert_eq!(cases[0][0].parts[0].replay.decided_by_rule, 0);
    assert!(cases.iter().flatten().all(|own| own.parts[0].replay.bound.is_none()));
    // What heat cost is more than what the elements took.
    assert!(
        cases[1][0].parts[0].stowheat.heat_kwh > 20.0
            && cases[1][0].parts[0].stowheat.heat_cost > 0.0
    );
    let study = Study::new(&Kept {
        candidates: &tried,
        worlds: std::slice::from_ref(&world),
        cases: &cases,
        margins: &[found],
        terms: options.terms,
        files: &[],
    });
    let text = table::render(&study);
    assert!(text.contains("unit rated 6 kW") && text.contains("a plant room has none"), "{text}");
    // A kept case reads back as it was.
    let kept: Case = serde_json::from_str(&cases[1][0].to_json()).expect("JSON");
    assert_eq!(kept, cases[1][0]);
    let house = site_file::read(HOUSE, "house.toml").expect("a good site").house;
    let page = stowheat::report::of_replay(&house, &kept, &[]);
    for words in ["Sources, rooms and pool", "unit to rooms", "There is no bound"] {
        assert!(page.contains(words), "no `{words}`");
    }
    let replay = &kept.parts[0].replay;
    let best = replay.controllers.iter().find(|own| Some(&own.name) == replay.best_rule.as_ref());
    let cold = best.is_some_and(|own| !own.comfortable);
    assert_eq!(page.contains("No simple control kept everything warm enough"), cold);
}
