//! What is measured moves the plan, at once and by what it taught before.

use std::time::{Duration, Instant as Moment};

use optimiser::time::{Instant, Slot};
use serde_json::Value;
use stowheat::service::archive::Archive;
use stowheat::service::learning::{Drawn, Logbook, Logged};
use stowheat::site_file;

use crate::broker::Broker;
use crate::party::{Heard, Listener, Service, Speaker, folder, say, site, time};

const OPEN: &str = "topic readwrite #\n";

/// PV by a forecast from a topic, and a meter for it.
const SUN: &str = "[pv]\nforecast_scale = 1.0\n[service.forecast.pv]\ntopic = \"forecast/pv\"\n\
                   [[service.input]]\nname = \"sun\"\nmeasures = \"pv-power\"\n\
                   topic = \"house/pv\"\nunit = \"W\"\n";

fn at(text: &str) -> Instant {
    let time = chrono::DateTime::parse_from_rfc3339(text).expect("a time");
    Instant::from_unix(time.timestamp())
}

/// A forecast of PV from midnight on: this energy in every half-hour [kWh].
fn forecast(midnight: Instant, kwh: f64) -> String {
    let rows = (0..192).map(|i| format!("{},{kwh}\n", midnight + i * 1_800));
    format!("start,pv_kwh\n{}", rows.collect::<String>())
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().expect("a number")
}

fn slots(plan: &Heard) -> Vec<Value> {
    plan.json()["slots"].as_array().expect("slots").clone()
}

// Half of the sun that was forecast shines: the plan counts on less from the next
// half-hour on.
#[test]
fn readings_of_the_sun_correct_its_forecast() {
    let Some(broker) = Broker::start("sun", OPEN) else { return };
    let (port, folder) = (broker.port, folder("sun"));
    let listener = Listener::start(port);
    let arguments = ["--clock-from", "2026-06-15T09:00:00Z", "--clock-rate", "1200"];
    let text = site(port, &folder, "homie = false", SUN);
    let service = Service::start(&folder, &text, &arguments);
    listener.after(0, "a plan", |m| m.is("plan"));
    let mut weather = std::process::Command::new("mosquitto_pub");
    weather.args(["-p", &port.to_string(), "-t", "forecast/pv", "-m"]);
    let said = weather.arg(forecast(at("2026-06-15T00:00:00Z"), 1.0)).status();
    assert!(said.expect("mosquitto's clients are installed").success());
    // A slot that is planned in full; the first may be short.
    let next = |plan: &Heard| number(&slots(plan)[1], "pv_kwh");
    let stated = |plan: &Heard| next(plan) + number(&slots(plan)[1], "curtailed_kwh");
    listener.after(0, "the forecast", |m| m.is("plan") && (stated(m) - 1.0).abs() < 0.01);
    let mut meter = Speaker::start(port, "house/pv");
    let end = Moment::now() + Duration::from_secs(40);
    let corrected = loop {
        meter.say("1000");
        say(port, "house/top", "45");
        let half = |m: &Heard| m.is("plan") && (0.4..0.75).contains(&stated(m));
        if let Some(plan) = listener.within(Duration::from_millis(100), 0, half) {
            break plan;
        }
        assert!(Moment::now() < end, "it goes on counting on all of it\n{}", service.log());
    };
    // The error fades: the evening is counted on as before.
    let slots = slots(&corrected);
    let evening = slots.iter().find(|slot| {
        time(&slot["start"]) >= time(&slots[0]["start"]) + 24 * 3_600
            && time(&slot["end"]) - time(&slot["start"]) == 1_800
    });
    let evening = evening.expect("a half-hour of tomorrow");
    assert!(number(evening, "pv_kwh") + number(evening, "curtailed_kwh") > 0.95, "{evening}");
    assert_eq!(service.stop().0, Some(0));
}

// Fifteen days of half-hours in the archive: draws, load and PV are those of the house.
#[test]
fn what_was_measured_before_the_start_is_planned_with() {
    let Some(broker) = Broker::start("learned", OPEN) else { return };
    let (port, folder) = (broker.port, folder("learned"));
    let text = site(port, &folder, "homie = false", SUN);
    let house = site_file::read(&text, "site").expect("a site").house;
    let start = at("2026-01-16T00:00:00Z");
    let mut logbook = Logbook::default();
    let mut records = Vec::new();
    for index in -15 * 48..0 {
        let of_day = i64::rem_euclid(index, 48);
        // A bath at eleven, which the site file knows nothing of.
        let litres = if of_day == 22 { 90.0 } else { 0.0 };
        let logged = Logged {
            pv: Some(if (20..28).contains(&of_day) { 0.3 } else { 0.0 }),
            load: Some(0.4),
            drawn: vec![Some(Drawn { litres, cold: 0.0 })],
        };
        let slot = Slot::new(start + index * 1_800, start + (index + 1) * 1_800);
        records.extend(logbook.note(slot.expect("a half-hour"), logged, &house));
    }
    let (mut archive, _) =
        Archive::open(&folder.join("mill-cottage.sqlite"), start).expect("an archive");
    archive.write(&records).expect("a disk");
    drop(archive);

    let listener = Listener::start(port);
    let arguments = ["--clock-from", "2026-01-16T00:05:00Z", "--clock-rate", "1"];
    let service = Service::start(&folder, &text, &arguments);
    let plan = listener.after(0, "a plan", |m| m.is("plan"));
    let health = listener.after(0, "its estimates", |m| {
        m.is("health") && m.json()["estimates"].as_array().is_some_and(|said| !said.is_empty())
    });
    for words in [
        "draws from cylinder are expected from what was drawn",
        "the base load is expected from what the last weeks measured",
        "PV is expected from what the last days measured",
    ] {
        assert!(health.payload.contains(words), "{words}: {}", health.payload);
    }
    let slots = slots(&plan);
    let of = |text: &str| {
        let found = slots.iter().find(|slot| time(&slot["start"]) == at(text).unix());
        found.expect("a slot").clone()
    };
    let noon = of("2026-01-16T11:30:00Z");
    assert!((number(&noon, "base_load_kwh") - 0.4).abs() < 0.01, "{noon}");
    assert!((number(&noon, "pv_kwh") - 0.3).abs() < 0.05, "{noon}");
    // The bath takes heat from the store at eleven, as on the days before.
    let stored = |text: &str| number(&of(text)["stores"][0], "stored_kwh");
    let heated: f64 = of("2026-01-16T11:00:00Z")["heaters"]
        .as_array()
        .expect("heaters")
        .iter()
        .map(|run| number(run, "energy_kwh"))
        .sum();
    let taken = stored("2026-01-16T10:30:00Z") + heated - stored("2026-01-16T11:00:00Z");
    assert!(taken > 2.0, "{taken} kWh at eleven");
    assert_eq!(service.stop().0, Some(0));
}

/// A house in the sun, minute by minute: its battery follows its own meter and brings
/// the import to nothing as far as it can, whatever the service thinks.
struct Sunny {
    charge_kwh: f64,
    celsius: f64,
}

impl Sunny {
    const CAPACITY_KWH: f64 = 5.0;
    const RATED_KW: f64 = 2.5;

    fn pass(&mut self, hours: f64, element_kw: f64) {
        let surplus = 3.0 - 0.25 - element_kw;
        let power = surplus.clamp(-Self::RATED_KW, Self::RATED_KW);
        self.charge_kwh = (self.charge_kwh + power * hours).clamp(0.0, Self::CAPACITY_KWH);
        // 150 L, mixed by the element at its bottom; 1.163 Wh/(L·K).
        self.celsius += element_kw * hours / (0.001_163 * 150.0);
    }
}

// C51 (common practice, no published source): two controllers, one meter. The element
// changes its state twice an hour in the mean, and never for a moment.
#[test]
fn beside_a_battery_that_regulates_itself_nothing_swings() {
    // Five minutes last 2.5 s, so that a machine that stands still for one is no swing.
    const RATE: u64 = 120;
    const HOURS: u64 = 4;
    let tables = format!(
        "{SUN}[battery]\ncapacity_kwh = 5\ncharge_limit_kw = 2.5\ndischarge_limit_kw = 2.5\n\
         [[service.input]]\nname = \"level\"\nmeasures = \"battery-level\"\n\
         topic = \"house/battery\"\nunit = \"%\"\n"
    );
    let Some(broker) = Broker::start("one-meter", OPEN) else { return };
    let (port, folder) = (broker.port, folder("one-meter"));
    let listener = Listener::start(port);
    let rate = RATE.to_string();
    let arguments = ["--clock-from", "2026-06-15T09:00:00Z", "--clock-rate", &rate];
    let text = site(port, &folder, "homie = false", &tables);
    let service = Service::start(&folder, &text, &arguments);
    listener.after(0, "a plan", |m| m.is("plan"));

    let sun = forecast(at("2026-06-15T00:00:00Z"), 1.5);
    let said = std::process::Command::new("mosquitto_pub")
        .args(["-p", &port.to_string(), "-t", "forecast/pv", "-m", &sun])
        .status();
    assert!(said.expect("mosquitto's clients are installed").success());
    let mut speakers = ["house/top", "house/battery", "house/pv"].map(|t| Speaker::start(port, t));
    let mut house = Sunny { charge_kwh: 1.0, celsius: 30.0 };
    let begun = Moment::now();
    let mut last = Moment::now();
    let set_points = |heard: &[Heard]| -> Vec<(i64, f64)> {
        let own = heard.iter().filter(|m| m.topic.ends_with("/set-point"));
        own.map(|m| (time(&m.json()["issued_at"]), number(&m.json(), "power_w"))).collect()
    };
    while begun.elapsed() < Duration::from_secs(HOURS * 3_600 / RATE) {
        let told = set_points(&listener.all()).last().map_or(0.0, |(_, power_w)| *power_w);
        let hours = last.elapsed().as_secs_f64() * RATE as f64 / 3_600.0;
        last = Moment::now();
        house.pass(hours, told / 1e3);
        speakers[0].say(&format!("{:.2}", house.celsius));
        speakers[1].say(&format!("{:.1}", 100.0 * house.charge_kwh / Sunny::CAPACITY_KWH));
        speakers[2].say("3000");
        std::thread::sleep(Duration::from_millis(100));
    }
    assert_eq!(service.stop().0, Some(0));
    let told = set_points(&listener.all());
    let changes: Vec<i64> = told
        .windows(2)
        .filter(|pair| (pair[0].1 > 0.0) != (pair[1].1 > 0.0))
        .map(|pair| pair[1].0)
        .collect();
    assert!(told.iter().any(|(_, power_w)| *power_w > 0.0), "it never heated: {told:?}");
    let most = 2 * HOURS as usize;
    assert!(changes.len() <= most, "{} changes in {HOURS} h: {changes:?}", changes.len());
    for pair in changes.windows(2) {
        assert!(pair[1] - pair[0] >= 300, "a state of {} s: {changes:?}", pair[1] - pair[0]);
    }
}
