//! Houses of a study on real series: what varies, and what multipliers foretell of it.
#![expect(clippy::print_stdout, reason = "what is skipped is told")]

use optimiser::problem::HeaterId;
use optimiser::sizing::Capacity;
use stowheat::house::{House, Pv};
use stowheat::replay::period_solver;
use stowheat::site_file::Options;
use stowheat::size::margins::{Point, least_and_slope_at, least_at, margins};
use stowheat::size::{Axis, Wanted};
use stowheat::size::{Candidate, World, candidates};
use stowheat::tariff::Rates;
use stowheat_tests::real;

const CYLINDER: &str = "store.cylinder";
const BOTTOM: &str = "store.cylinder.element.bottom";
const DEMO: &str = include_str!("../../fixtures/sites/harbour-row.toml");

/// The demo house as it stands, and as each value of an axis would have it.
fn tried(present: &[&str], axis: &str) -> Vec<Candidate> {
    let axes = |list: &[&str]| -> Vec<Axis> {
        list.iter().map(|text| text.parse().expect("an axis")).collect()
    };
    candidates(&Wanted {
        text: DEMO,
        file_name: "demo.toml",
        present: &axes(present),
        axes: &axes(&[axis]),
        one_at_a_time: false,
        options: &Options::default(),
    })
    .unwrap_or_else(|problems| panic!("{axis}: {problems}"))
}

/// How fast the year's cost changes at a share of the way to a candidate.
fn slope_at(found: &[Candidate], world: &World, share: f64) -> f64 {
    least_and_slope_at((&found[0], &found[1]), world, share, &mut period_solver())
        .expect("a slope")
        .1
}

/// Three days of April 2023, when the price fell below zero, and three of January.
fn world() -> Option<World> {
    let prices = real::shared("price_30min_GB_2023.csv")?;
    let weather = real::shared("weather_60min_DE-Bremerhaven_TRY2010.csv")?;
    let house = real::house("harbour-row.toml", |text| text);
    let day = |text: &str| Some(text.parse().expect("a day"));
    Some(World {
        name: "GB 2023".to_owned(),
        known: real::known(&house, &prices, Some(&weather)),
        draws_column: None,
        parts: vec![(day("2023-01-16"), day("2023-01-18")), (day("2023-04-08"), day("2023-04-10"))],
        later_hours: 0,
        exchange: None,
        measured: Vec::new(),
        files: Vec::new(),
    })
}

#[test]
fn every_number_that_is_paid_for_can_be_varied() {
    type Look = fn(&House) -> f64;
    let import_adder: Look = |house| match &house.tariff.import {
        Rates::Indexed(index) => index.factor,
        Rates::Bands(_) => f64::NAN,
    };
    let peak: Look = |house| match &house.pv {
        Some(Pv::Irradiance { peak, .. }) => peak.kw(),
        _ => f64::NAN,
    };
    let fuse: Look = |house| house.supply.fuse.amperes();
    let export: Look = |house| house.site.grid.export_limit.kw();
    let height: Look = |house| house.site.stores[0].elements[1].height.value();
    let litres: Look = |house| house.site.stores[0].volume.litres();
    let power: Look = |house| house.site.battery.map_or(0.0, |battery| battery.charge_limit.kw());
    for (axis, value, look) in [
        ("grid.fuse_amperes=60", 60.0, fuse),
        ("grid.export_limit_kw=6", 6.0, export),
        ("tariff.import.factor=1.3", 1.3, import_adder),
        ("pv.peak_kw=6", 6.0, peak),
        ("store.cylinder.element.top.height_fraction=0.5", 0.5, height),
        ("store.cylinder.volume_litres=300", 300.0, litres),
        ("battery.charge_limit_kw=5", 5.0, power),
    ] {
        let found = tried(&[], axis);
        assert_eq!(found.len(), 2, "{axis}");
        let (before, after) = (look(&found[0].house), look(&found[1].house));
        assert!((after - value).abs() < 1e-9 && (before - value).abs() > 1e-6, "{axis}: {after}");
    }
    let found = tried(&[], &format!("{BOTTOM}.power_kw+{BOTTOM}.circuit_amperes=6+32"));
    let bottom = Capacity::Element(HeaterId { store: 0, element: 0 });
    assert_eq!(found[1].changes[0].capacity, Some(bottom));
}

// Each number that is varied changes what the house costs somebody who knows
// everything, in the direction that it must.
#[test]
fn varied_numbers_reach_the_answer() {
    let Some(world) = world() else {
        println!("skipped: no real series");
        return;
    };
    for (axis, cheaper) in [
        ("grid.export_limit_kw=1", false),
        ("tariff.import.factor=1.3", false),
        ("tariff.export.rate_minor_per_kwh=20", true),
        ("pv.peak_kw=6", true),
        ("store.cylinder.element.bottom.height_fraction=0.3", false),
        ("grid.fuse_amperes=22", false),
    ] {
        let found = tried(&[], axis);
        let at = |share| {
            least_at(&found[0], &found[1], &world, share, &mut period_solver()).expect("an answer")
        };
        let (here, there) = (at(0.001), at(0.999));
        let change = there - here;
        assert!(change.abs() > 1.0 && (change < 0.0) == cheaper, "{axis}: {here} to {there}");
    }
}

// The sum over a grid edge is the integral of its multipliers within 2 %, whatever
// moves together on that edge. The slopes are taken in the middle of steps, so no step
// needs to know where its kinks are.
#[test]
fn an_edge_is_the_integral_of_its_multipliers_on_real_days() {
    let Some(world) = world() else {
        println!("skipped: no real series");
        return;
    };
    let kilowatts = format!("{BOTTOM}.power_kw+{BOTTOM}.circuit_amperes=6+32");
    // An element has a kink wherever a run of cheap half-hours is just long enough.
    let larger = format!(
        "{CYLINDER}.volume_litres+{CYLINDER}.standing_loss_kwh_per_24h+{CYLINDER}.height_metres=400+2.12+1.87"
    );
    let edges = [(24, larger), (24, "battery.capacity_kwh=14".to_owned()), (96, kilowatts)];
    for (steps, axis) in &edges {
        let found = tried(&[], axis);
        let at = |share| {
            least_at(&found[0], &found[1], &world, share, &mut period_solver()).expect("an answer")
        };
        let (low, high) = (0.05, 0.95);
        let edge = at(high) - at(low);
        let width = (high - low) / f64::from(*steps);
        let sum: f64 = (0..*steps)
            .map(|step| low + width * (f64::from(step) + 0.5))
            .map(|share| slope_at(&found, &world, share) * width)
            .sum();
        println!("{axis}: edge {edge:.1}, integral {sum:.1} a year");
        assert!((sum - edge).abs() <= 0.02 * edge.abs(), "{axis}: {sum} is not {edge}");
    }
}

// A battery that comes moves all of its numbers in step: the multipliers of the way fall,
// and what comes to its end is foretold as the difference of the ends.
#[test]
fn what_comes_and_goes_is_foretold() {
    let Some(world) = world() else {
        println!("skipped: no real series");
        return;
    };
    let found = tried(&["battery.capacity_kwh=0"], "battery.capacity_kwh=8");
    let at = |share| {
        least_at(&found[0], &found[1], &world, share, &mut period_solver()).expect("an answer")
    };
    let edge = at(0.9999) - at(0.0001);
    let (first, last) = (slope_at(&found, &world, 0.01), slope_at(&found, &world, 0.999));
    // Returns fall, so the first kWh promises more than all of them give, the last less.
    assert!(first < edge && edge < last && last <= 0.0, "{first}, {edge} and {last}");
    let point = Point { present: &found[0], tried: &found, beside: &[], with_battery: None };
    let margins = margins(&point, &world).expect("margins");
    let foretold = margins.foretold[1].expect("an answer");
    assert!((foretold.whole + edge).abs() < 0.005 * edge.abs(), "{foretold:?}, {edge}");
    assert!((foretold.at_its_last_step + last).abs() < 0.02 * edge.abs(), "{foretold:?}, {last}");
    let gone = tried(&[], "store.cylinder.element.top.power_kw=0");
    assert!(slope_at(&gone, &world, 0.01).is_finite());
}
