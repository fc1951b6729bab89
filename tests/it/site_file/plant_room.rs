//! Plant rooms in site files: what they mean, what is refused, what `check` says.

use optimiser::site::{Connection, Metering, Performance, Sink, Source};
use stowheat::house::PoolComfort;

use super::{FOUNDRY, KILN, LARGE, WEIR, faults, good, with};
use stowheat::site_file::summary;

#[track_caller]
fn says(text: &str, expected: &[&str]) {
    for words in expected {
        assert!(text.contains(words), "no `{words}` in\n{text}");
    }
}

/// The only fault of a file: text at fault, message and hint.
#[track_caller]
fn refusal(text: &str) -> String {
    let faults = faults(text);
    assert_eq!(faults.len(), 1, "{faults:#?}");
    let fault = &faults[0];
    format!("{} | {} | {}", fault.text, fault.message, fault.suggestion.as_deref().unwrap_or("-"))
}

#[test]
fn everything_means_what_it_says() {
    let house = good(WEIR).house;
    let room = &house.site.plant_room;
    assert_eq!(room.heat_pumps.len(), 2);
    assert!(matches!(&room.heat_pumps[1].performance, Performance::Points(p) if p.len() == 6));
    let routes: Vec<(Source, Sink)> = room.routes().iter().map(|r| (r.source, r.sink)).collect();
    let heating = Sink::Coil { store: 0, coil: 1 };
    let solar = Sink::Coil { store: 0, coil: 0 };
    assert_eq!(
        routes,
        [
            (Source::HeatPump(0), heating),
            (Source::HeatPump(0), Sink::Buffer),
            (Source::HeatPump(1), Sink::Buffer),
            (Source::Boiler, heating),
            (Source::Boiler, Sink::Buffer),
            (Source::Collectors, solar),
            (Source::Collectors, Sink::Pool),
            (Source::Immersion, Sink::Buffer),
            (Source::Buffer, Sink::Rooms),
            (Source::Buffer, Sink::Pool),
        ]
    );
    assert_eq!(house.sink_name(heating), "cylinder/heating");
    // 14 kW at 12 K.
    assert!((house.site.stores[0].coils[1].transfer.watts_per_kelvin() - 1_166.7).abs() < 0.1);
    let rooms = room.rooms.expect("rooms");
    assert!((rooms.loss().watts_per_kelvin() - 280.0).abs() < 1e-9, "the measured one");
    // 165 kJ/(m²·K) of 210 m² (ISO 13790).
    assert!((rooms.capacity_kwh_per_k - 9.625).abs() < 1e-9);
    let pool = house.plant_room.pool.as_ref().expect("a pool");
    assert!(matches!(&pool.comfort, PoolComfort::Bands(bands) if bands.len() == 1));
    assert_eq!(house.plant_room.loop_runs.len(), 5);
    assert_eq!(house.plant_room.loop_runs[0].seconds, 600);
    // A boiler that serves the only coil needs no coil's name.
    let foundry = good(FOUNDRY).house;
    let boiler = foundry.site.plant_room.boiler.as_ref().expect("a boiler");
    assert_eq!(boiler.serves[0], Sink::Coil { store: 0, coil: 0 });
    assert_eq!(foundry.sink_name(boiler.serves[0]), "cylinder");
}

#[test]
fn the_plant_is_drawn_from_sources_to_sinks_and_from_the_top_down() {
    let text = summary(&good(WEIR));
    says(
        &text,
        &[
            "heat pump `ground`, from the ground, flow to 60 °C, one job at a time, runs 15 and rests 20 min or more",
            "└─ store `cylinder`, coil `heating` from 0.2 to 0.7 of the height, 1167 W/K; water to 72 °C",
            "boiler, 18 kW, flow to 75 °C, one job at a time, only as back-up",
            "└─ rooms, through the mixing valve, flow 45 °C at -3 °C to 28 °C at 16 °C",
            "└─ pool, unmixed, exchanger of 16 kW; water to 30 °C",
            "1.00 ┬ hot water out; planned to 72 °C, cut-out 85 °C",
            "0.70 ┼ coil `heating` begins, fed by heat pump `ground` and boiler",
            "0.60 ┼ secondary return, 4 L/min while the pump runs, until it is 40 °C warm",
            "0.00 ┴ cold water in, 9 °C",
        ],
    );
    let place = |words| text.find(words).expect("it is drawn");
    assert!(place("0.70 ┼") < place("0.65 ┼") && place("0.65 ┼") < place("0.60 ┼"));
}

#[test]
fn devices_are_checked_against_their_design() {
    says(
        &summary(&good(KILN)),
        &[
            "COP after               Staffell et al. 2012",
            // HP-02 for a lift of 35 K: 4.419.
            "B0/W35: 8.0 kW, COP 4.42",
            // 60 °C less half of the spread less 7.6 kW over 1 kW/K.
            "hottest water 49.9 °C: CANNOT pasteurise at 60 °C; an element must do the rest",
            // 100 L over 5 K; C26 has 120 L: 0.70 kWh. Common practice.
            "0.58 kWh over 5 K: minutes of heat, not hours",
            // C49, common practice: 35 % over-estimated, 6.2 kW / 1.35.
            "4.6 to 6.2 kW in truth",
            "Refrigerant: only certified people open its circuit",
            "Collectors stagnate far above 100 °C",
        ],
    );
    says(
        &summary(&good(WEIR)),
        &[
            "COP after               rating points",
            "A7/W55: 7.4 kW, COP 2.80",
            "6.7 kW by the measured coefficient, planned with",
            "evaporation after       Smith, Löf and Jones 1994",
            // 32 m² of 1.4 m at 1.163 kWh/(m³·K).
            "52.1 kWh for each kelvin",
            "Boiler: fuel, flue and combustion air are for registered people",
        ],
    );
}

// C26, common practice, no published source: 120 L over 5 K are 0.70 kWh, 3.5 min of
// 12 kW.
#[test]
fn a_buffer_is_minutes_of_heat() {
    let text = with(KILN, "rated_kw = 8\nrated_source", "rated_kw = 12\nrated_source");
    let text = with(&text, "volume_litres = 100", "volume_litres = 120");
    let text = with(&text, "capacity_percent_per_flow_k = -0.4", "capacity_percent_per_flow_k = 0");
    let text =
        with(&text, "brine_celsius = [3, 2, 2, 3, 5, 7, 8, 9, 9, 8, 6, 4]", "brine_celsius = [0]");
    says(&summary(&good(&text)), &["the buffer takes 0.70 kWh over 5 K (3.5 min)"]);
}

// C12, common practice, no published source: 50 m at 40 K above the air lose 36 kWh a
// day bare at 30 W/m and 8.4 kWh at 7 W/m; eight runs of ten minutes 2.85 kWh, of
// which a warm-up of 0.299 kWh each.
#[test]
fn a_timed_loop_loses_a_third_of_one_that_always_runs() {
    let runs: Vec<String> =
        (0..8).map(|i| format!("{{ at = \"{:02}:00\", minutes = 10 }}", 6 + 2 * i)).collect();
    let loop_of = |loss: f64| {
        let before = &WEIR[WEIR.find("length_metres").expect("a loop")
            ..WEIR.find("[[heat_pump]]").expect("a heat pump")];
        let pipe = format!(
            "length_metres = 50\nloss_watts_per_metre_kelvin = {loss}\ncontent_litres = 6.43\n\
             surroundings_celsius = 20\nruns = [{}]\n\n",
            runs.join(", ")
        );
        summary(&good(&with(WEIR, before, &pipe)))
    };
    says(&loop_of(0.75), &["36.0 kWh a day if it always ran"]);
    says(
        &loop_of(0.175),
        &["2.86 kWh a day as timed (8.0 runs, 1 h 20 min), 8.4 kWh a day if it always ran"],
    );
}

// PL-20 to PL-26 and the table beside them: 28 kW boiler and 6 kW element, a house of
// 25 kW at 23 K, 50 m² of pool. Common practice, recomputed.
#[test]
fn one_page_says_which_assumptions_ask_for_what() {
    let text = summary(&good(FOUNDRY));
    let row = |words: &str| {
        let line = text.lines().find(|line| line.contains(words)).expect("a row");
        let numbers = line.split(words).nth(1).expect("numbers behind the words");
        numbers
            .split(|c: char| !c.is_ascii_digit() && c != '.')
            .filter_map(|word| word.parse::<f64>().ok())
            .collect::<Vec<f64>>()
    };
    for (words, expected) in [
        ("open, wind 5 m/s, ASHRAE", [61.5, 74.4, 120.7, 133.2]),
        ("open, wind 3 m/s, ASHRAE", [43.0, 53.0, 84.1, 93.7]),
        ("open, wind 3 m/s, Smith", [36.0, 44.8, 70.1, 78.7]),
        ("open, sheltered 0.5 m/s, Smith", [15.8, 21.3, 30.4, 35.8]),
        ("the same, open 10 to 18 h only", [5.4, 19.8, 11.8, 35.4]),
        ("the same, open 14 to 16 h only", [3.0, 16.7, 6.2, 31.7]),
        ("always covered", [2.2, 3.8, 4.3, 5.9]),
    ] {
        let found = row(words);
        for (found, expected) in found.iter().zip(expected) {
            // Printed with one decimal.
            assert!((found - expected).abs() < 0.151, "{words}: {found} is not {expected}");
        }
    }
    // PL-25: 34 kW shared with the house bring it from 10 to 16.48 °C in two days.
    assert!((row("the same, open 14 to 16 h only")[4] - 16.48).abs() < 0.1);
    // PL-26: windy and open it never gets there.
    assert!(row("open, wind 3 m/s, ASHRAE")[4] < 10.0);
    says(
        &text,
        &[
            "with all heat that the rooms leave of 34 kW",
            "A rule of 68 W for each m² and kelvin asks for 102 kW at 28 °C",
            "87 kWh",
        ],
    );
}

#[test]
fn a_sink_that_is_not_there_is_told_with_what_was_meant() {
    assert_eq!(
        refusal(&with(
            KILN,
            "\"cylinder/heat pump\", \"buffer\"",
            "\"cylinder/heat pmp\", \"buffer\""
        )),
        "[\"cylinder/heat pmp\", \"buffer\"] | store `cylinder` has no coil \"heat pmp\" | did you mean \"cylinder/heat pump\"?"
    );
    let text = refusal(&with(KILN, "\"cylinder/solar\"]", "\"cylinder\"]"));
    says(
        &text,
        &["store `cylinder` has 2 coils", "write \"cylinder/solar\" or \"cylinder/heat pump\""],
    );
    says(
        &refusal(&with(KILN, "feeds = [\"rooms\"]", "feeds = [\"romos\"]")),
        &["nothing that takes heat has the name \"romos\"", "did you mean \"rooms\"?"],
    );
    says(
        &refusal(&with(KILN, "feeds = [\"rooms\"]", "feeds = [\"rooms\", \"pool\"]")),
        &["buffer: it serves a pool, but the site has none"],
    );
}

#[test]
fn all_faults_of_a_plant_room_are_told_at_once() {
    let mut text = WEIR.to_owned();
    for (old, new) in [
        ("top_fraction = 0.3", "top_fraction = 0.02"),
        ("flow_limit_celsius = 60", "flow_limit_celcius = 60"),
        ("fuel_price_minor_per_kwh = 9\n", ""),
        ("eta0_fraction = 0.78", "eta0_fraction = 78"),
        (
            "{ from = \"06:00\", low_celsius = 20, high_celsius = 23 }",
            "{ from = \"06:00\", low_celsius = 23, high_celsius = 20 }",
        ),
        ("runs = [", "run = ["),
        ("evaporation = \"smith-lof-jones\"", "evaporation = \"smith\""),
        ("brine_celsius = [3, 2,", "brine_celsius = [2,"),
    ] {
        text = with(&text, old, new);
    }
    let found = faults(&text);
    let all: String = found.iter().map(ToString::to_string).collect();
    says(
        &all,
        &[
            "its top must be above its bottom",
            "did you mean `flow_limit_celsius`?",
            "`fuel_price_minor_per_kwh` is missing",
            "if 78 % is meant, write `eta0_fraction = 0.78`",
            "the lowest comfort 23 °C is above the highest 20 °C",
            "did you mean `runs`?",
            "`evaporation` does not know \"smith\"",
            "`brine_celsius` has 11 values",
        ],
    );
    assert_eq!(found.len(), 8, "{all}");
}

#[test]
fn keys_of_another_kind_have_no_meaning() {
    let outdoors = &WEIR
        [WEIR.find("evaporation = ").expect("a key")..WEIR.find("exchanger_kw").expect("a key")];
    let indoors = "place = \"indoor\"\nwind_share_fraction = 0.2\n";
    says(
        &refusal(&with(WEIR, outdoors, indoors)),
        &["`wind_share_fraction` has no meaning here: the pool is indoors"],
    );
    says(
        &refusal(&with(
            KILN,
            "source = \"ground\"",
            "source = \"ground\"\ndefrost_loss_fraction = 0.1",
        )),
        &["no frost grows in the ground circuit"],
    );
    says(
        &refusal(&with(KILN, "rated_kw = 8\nrated_source", "rated_source")),
        &["`rated_kw` is missing"],
    );
}

#[test]
fn phases_are_all_named_or_none() {
    let house = good(LARGE).house;
    assert!(house.site.plant_room.phases.is_none());
    let metered =
        with(LARGE, "phases = 3\nvoltage", "phases = 3\nmetering = \"per-phase\"\nvoltage");
    let all: Vec<String> = faults(&metered).iter().map(|fault| fault.message.clone()).collect();
    assert_eq!(
        all,
        [
            "\"upper\" does not say on which phase it is",
            "\"staged\" does not say on which phase it is"
        ]
    );
    let named = metered
        .replace("name = \"upper\"", "name = \"upper\"\nphase = 2")
        .replace("name = \"staged\"", "name = \"staged\"\nphase = 3");
    let checked = good(&named);
    let phases = checked.house.site.plant_room.phases.as_ref().expect("phases");
    assert_eq!(phases.metering, Metering::PerPhase);
    assert_eq!(phases.heaters, [Connection::Three, Connection::Phase(1), Connection::Phase(2)]);
    // 40 A at 230 V.
    assert!((phases.fuse.kw() - 9.2).abs() < 1e-9);
    says(
        &summary(&checked),
        &["each phase is counted by itself", "on phase 2", "phase 3, all at once", "headroom"],
    );
    says(
        &refusal(&with(KILN, "name = \"boost\"", "name = \"boost\"\nphase = 1")),
        &["`phase` has no meaning here: the supply has a single phase"],
    );
}

// A pump station that stops at the ceiling overshoots it.
#[test]
fn the_sun_stops_below_the_ceiling() {
    let house = good(KILN).house;
    let limit = house.site.plant_room.collectors.as_ref().expect("collectors").limit;
    assert!((limit.celsius() - 65.0).abs() < 1e-9);
    let hot = with(KILN, "azimuth_degrees = 190", "azimuth_degrees = 190\nlimit_celsius = 80");
    says(
        &refusal(&hot),
        &[
            "a limit of 80 °C is not 5 K below the ceiling 70 °C",
            "write at most 65, or leave it out",
        ],
    );
}

#[test]
fn what_no_source_reaches_deserves_a_look() {
    let unfed =
        good(&with(KILN, "serves = [\"cylinder/heat pump\", \"buffer\"]", "serves = [\"buffer\"]"));
    let said: String = unfed.warnings.iter().map(|fault| fault.message.clone()).collect();
    says(&said, &["no source feeds coil `heat pump` of store `cylinder`"]);
    let unheated = good(&with(KILN, "thermostat_celsius = 65", "thermostat_celsius = 50"));
    let said: String = unheated.warnings.iter().map(|fault| fault.message.clone()).collect();
    says(&said, &["nothing brings store `cylinder` to 60 °C"]);
}
