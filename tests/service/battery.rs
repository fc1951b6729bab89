//! A battery that takes commands, and one that does not.

use serde_json::json;

use crate::broker::Broker;
use crate::described::check_all;
use crate::party::{Heard, Listener, Service, folder, held, say, say_until, site, time};

const OPEN: &str = "topic readwrite #\n";

/// The small site on prices and limits from events, with a battery.
fn fed(port: u16, folder: &std::path::Path, takes_commands: bool) -> String {
    let tables = format!(
        "[battery]\ncapacity_kwh = 10\ncharge_limit_kw = 3\ndischarge_limit_kw = 3\n\
         takes_commands = {takes_commands}\n\
         [[service.input]]\nname = \"level\"\nmeasures = \"battery-level\"\n\
         topic = \"house/battery\"\nunit = \"%\"\n\
         [service.prices]\ntopic = \"events\"\nform = \"openadr\"\n"
    );
    let text = site(port, folder, "", &tables);
    let begin = text.find("bands = [").expect("the bands");
    let end = text[begin..].find("\n]\n").expect("their end") + begin + 3;
    format!("{}factor = 1.0\nvat_percent = 0\n{}", &text[..begin], &text[end..])
}

/// An event with a value for each two hours, from the hour of now on.
fn event(kind: &str, unit: &str, values: &[f64]) -> String {
    let hour = chrono::Utc::now().timestamp().div_euclid(3_600) * 3_600;
    let start = chrono::DateTime::from_timestamp(hour, 0).expect("a time").to_rfc3339();
    let interval = |(id, value)| json!({"id": id, "payloads": [{"type": kind, "values": [value]}]});
    let intervals: Vec<_> = (0..).zip(values).map(interval).collect();
    let mut descriptor = json!({
        "objectType": "EVENT_PAYLOAD_DESCRIPTOR", "payloadType": kind, "units": unit
    });
    if kind == "PRICE" {
        descriptor["currency"] = json!("EUR");
    }
    json!({
        "objectType": "EVENT", "programID": "1", "eventName": kind,
        "createdDateTime": chrono::Utc::now().to_rfc3339(),
        "payloadDescriptors": [descriptor],
        "intervalPeriod": {"start": start, "duration": "PT2H"},
        "intervals": intervals
    })
    .to_string()
}

/// Paid for now, and dear from two hours on.
fn prices() -> String {
    event("PRICE", "KWH", &[&[-0.2][..], &[0.5; 12]].concat())
}

fn order(message: &Heard, mode: &str) -> bool {
    message.is("battery/set-point") && message.json()["mode"] == mode
}

#[test]
fn a_battery_that_takes_commands_is_told_within_the_limit_of_the_network() {
    let Some(broker) = Broker::start("battery", OPEN) else { return };
    let (port, folder) = (broker.port, folder("battery"));
    let listener = Listener::start(port);
    let service = Service::start(&folder, &fed(port, &folder, true), &[]);
    listener.after(0, "a plan", |m| m.is("plan"));
    say(port, "events", &prices());
    say_until(port, ("house/battery", "20"), &listener, "charge", |m| order(m, "charge"));
    let shown = |m: &Heard, property: &str, payload: &str| {
        m.topic == format!("homie/5/mill-cottage-battery/battery/{property}")
            && m.payload == payload
    };
    listener.after(0, "the mode in the tree", |m| shown(m, "mode", "charge"));

    // Two kilowatts are allowed, and the house may take a quarter of one of them.
    let from = listener.count();
    say(port, "events", &event("IMPORT_CAPACITY_LIMIT", "KW", &[2.0]));
    let limited = |m: &Heard| {
        m.is("battery/set-point")
            && m.payload.contains("the network allows")
            && m.json()["power_w"].as_u64().is_some_and(|power_w| power_w <= 1_750)
    };
    listener.after(from, "less", limited);

    let from = listener.count();
    assert_eq!(service.stop().0, Some(0));
    listener.after(from, "by itself again", |m| order(m, "follow") && m.payload.contains("stops"));
    let heard = listener.all();
    check_all(&heard);
    for message in heard.iter().filter(|m| m.is("battery/set-point")) {
        let document = message.json();
        let lasts = time(&document["valid_until"]) - time(&document["issued_at"]);
        assert!((0..=600).contains(&lasts), "{document}");
    }
    assert!(held(port).iter().all(|(topic, _)| !topic.ends_with("/set-point")));
}

#[test]
fn a_battery_that_takes_none_is_only_shown() {
    let Some(broker) = Broker::start("own-battery", OPEN) else { return };
    let (port, folder) = (broker.port, folder("own-battery"));
    let listener = Listener::start(port);
    let service = Service::start(&folder, &fed(port, &folder, false), &[]);
    let mode = "homie/5/mill-cottage-battery/battery/mode";
    listener.after(0, "a plan", |m| m.is("plan"));
    say(port, "events", &prices());
    let shown = |m: &Heard| m.topic == mode && m.payload == "charge";
    say_until(port, ("house/battery", "20"), &listener, "its mode", shown);
    assert_eq!(service.stop().0, Some(0));
    assert!(listener.all().iter().all(|m| !m.is("battery/set-point")));
}
