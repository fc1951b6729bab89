//! PV described by arrays.

use optimiser::solar::{DEFAULT_LOSSES, SkyModel, combined_losses};
use stowheat::house::Pv;
use stowheat::site_file::{schema, summary};

use super::{DEMO, LARGE, SMALL, faults, good, with};

/// The demo house with its PV stated otherwise.
fn demo_with(pv: &str) -> String {
    let stated = "peak_kw = 4.2\nperformance_ratio_fraction = 0.84\ninverter_limit_kw = 3.68\n";
    with(DEMO, stated, pv)
}

const ONE: &str = "\
[[pv.arrays]]
peak_kw = 4.2
tilt_degrees = 35
azimuth_degrees = 180

[pv.inverter]
limit_kw = 3.68
";

#[test]
fn arrays_are_read_with_their_usual_values() {
    let house = good(&demo_with(ONE)).house;
    let Some(Pv::Arrays(system)) = house.pv else { panic!("arrays") };
    let array = system.arrays[0];
    assert_eq!(
        (array.peak.kw(), array.tilt.degrees(), array.azimuth.degrees()),
        (4.2, 35.0, 180.0)
    );
    assert!((array.temperature_coefficient.per_kelvin() + 0.003_5).abs() < 1e-12);
    // PVWatts Version 5 (A. P. Dobos, NREL/TP-6A20-62641, 2014): 0.96 and 14.08 %.
    assert!((system.inverter.efficiency.value() - 0.96).abs() < 1e-12);
    assert!((system.losses.value() - combined_losses(&DEFAULT_LOSSES).value()).abs() < 5e-7);
    assert!((system.albedo.0[6].value() - 0.2).abs() < 1e-12);
    assert_eq!(system.sky_model, SkyModel::HayDavies);
}

#[test]
fn every_key_of_arrays_has_its_meaning() {
    let text = format!(
        "losses_fraction = 0.1\nalbedo_fraction = 0.3\nsky_model = \"perez\"\n\n{}",
        ONE.replace("limit_kw = 3.68", "limit_kw = 3.68\nefficiency_fraction = 0.97").replace(
            "[pv.inverter]",
            "temperature_coefficient_percent_per_k = -0.4\n[pv.inverter]"
        )
    );
    let Some(Pv::Arrays(system)) = good(&demo_with(&text)).house.pv else { panic!("arrays") };
    assert!((system.arrays[0].temperature_coefficient.per_kelvin() + 0.004).abs() < 1e-12);
    assert!((system.losses.value() - 0.1).abs() < 1e-12);
    assert!((system.albedo.0[0].value() - 0.3).abs() < 1e-12);
    assert!((system.inverter.efficiency.value() - 0.97).abs() < 1e-12);
    assert_eq!(system.sky_model, SkyModel::Perez);
    let isotropic = text.replace("perez", "isotropic");
    let Some(Pv::Arrays(system)) = good(&demo_with(&isotropic)).house.pv else { panic!("arrays") };
    assert_eq!(system.sky_model, SkyModel::Isotropic);
}

#[track_caller]
fn refused(text: &str, expected: &[(&str, &str)]) {
    let found: Vec<(String, String)> =
        faults(text).into_iter().map(|fault| (fault.path, fault.message)).collect();
    assert_eq!(found.len(), expected.len(), "{found:#?}");
    for ((path, message), (at, words)) in found.iter().zip(expected) {
        assert!(path == at && message.contains(words), "{path}: {message}");
    }
}

#[test]
fn pv_is_stated_in_one_way_only() {
    refused(
        &demo_with(&format!("peak_kw = 4.2\n\n{ONE}")),
        &[("pv.arrays", "`peak_kw`, `arrays` are given together")],
    );
    refused(
        &demo_with(&format!("performance_ratio_fraction = 0.8\ninverter_limit_kw = 3\n\n{ONE}")),
        &[
            ("pv.performance_ratio_fraction", "has no meaning here: arrays state their losses"),
            ("pv.inverter_limit_kw", "has no meaning here: arrays state their losses"),
        ],
    );
    refused(
        &demo_with("peak_kw = 4.2\nsky_model = \"perez\"\n"),
        &[("pv.sky_model", "it belongs to `arrays`")],
    );
    refused(
        &demo_with("forecast_scale = 1\nlosses_fraction = 0.1\n"),
        &[("pv.losses_fraction", "AC energy already")],
    );
}

#[test]
fn arrays_need_location_inverter_and_an_array() {
    let small = with(SMALL, "[base_load]", &format!("{ONE}\n[base_load]"));
    refused(&small, &[("pv.arrays", "the site has no location")]);
    let (array, _) = ONE.split_once("\n[pv.inverter]").expect("two tables");
    refused(&demo_with(array), &[("pv", "`inverter` is missing")]);
    refused(
        &demo_with("arrays = []\ninverter = { limit_kw = 3.68 }\n"),
        &[("pv.arrays", "the PV system has no array")],
    );
}

#[test]
fn numbers_of_arrays_have_their_ranges() {
    let wrong = ONE
        .replace("tilt_degrees = 35", "tilt_degrees = 95")
        .replace("azimuth_degrees = 180", "azimuth_degrees = -20")
        .replace("peak_kw = 4.2", "peak_kw = 4200")
        .replace("[pv.inverter]", "temperature_coefficient_percent_per_k = 0.35\n[pv.inverter]");
    refused(
        &demo_with(&wrong),
        &[
            ("pv.arrays[0].peak_kw", "outside"),
            ("pv.arrays[0].tilt_degrees", "outside 0 to 90"),
            ("pv.arrays[0].azimuth_degrees", "outside 0 to 360"),
            ("pv.arrays[0].temperature_coefficient_percent_per_k", "outside -2 to 0"),
        ],
    );
}

// Some count directions from south; common practice, no published source.
#[test]
fn an_array_that_faces_away_from_the_sun_deserves_a_look() {
    let north = demo_with(&ONE.replace("= 180", "= 0"));
    let warnings = good(&north).warnings;
    assert_eq!(warnings.len(), 1, "{warnings:#?}");
    assert!(warnings[0].message.contains("counted clockwise from north"), "{warnings:#?}");
    let flat = north.replace("tilt_degrees = 35", "tilt_degrees = 5");
    assert!(good(&flat).warnings.is_empty());
    let southern = north.replace("latitude_degrees = 50.8", "latitude_degrees = -37.8");
    assert!(good(&southern).warnings.is_empty());
}

#[test]
fn schema_and_summary_say_where_arrays_face() {
    let array = &schema()["properties"]["pv"]["properties"]["arrays"]["items"]["properties"];
    let about = array["azimuth_degrees"]["description"].as_str().expect("a description");
    assert!(about.contains("clockwise from north") && about.contains("180 south"), "{about}");
    let text = summary(&good(LARGE));
    assert!(
        text.contains(
            "6.2 kW at 40° facing 95° and 6.2 kW at 40° facing 275° (0° is north, 90° east), inverter at most 10 kW"
        ),
        "{text}"
    );
}
