//! A service from its start to its end.

use std::time::Duration;

use serde_json::{Value, json};

use crate::broker::Broker;
use crate::described::check_all;
use crate::party::{Listener, Service, command, folder, held, indexed, prices, say, site, time};

const OPEN: &str = "topic readwrite #\n";

fn published(plan: &Value) -> usize {
    let slots = plan["slots"].as_array().expect("slots");
    slots.iter().filter(|slot| slot["price_origin"] == "published").count()
}

#[test]
fn from_the_first_plan_to_the_end() {
    let Some(broker) = Broker::start("life", OPEN) else { return };
    let (port, folder) = (broker.port, folder("life"));
    let listener = Listener::start(port);
    let text = indexed(&site(port, &folder, "homie = false", ""));
    let service = Service::start(&folder, &text, &[]);

    // Prices are late: a plan without them says so.
    let plan = listener.after(0, "a first plan", |m| m.is("plan")).json();
    assert_eq!(published(&plan), 0);
    let said = |m: &crate::party::Heard, kind: &str| m.is("faults") && m.payload.contains(kind);
    listener.after(0, "that prices are missing", |m| said(m, "no price is known"));

    // They come in parts, each part in a new plan.
    let price = |i: i64| 60.0 + 50.0 * (i as f64 * 0.4).sin();
    let from = listener.count();
    say(port, "prices", &prices(0..20, price));
    let plan = listener.after(from, "a plan", |m| m.is("plan") && published(&m.json()) > 0);
    let some = published(&plan.json());
    assert!((18..=20).contains(&some), "{some}");
    let from = listener.count();
    say(port, "prices", &prices(0..48, price));
    listener.after(from, "the rest", |m| m.is("plan") && published(&m.json()) > some + 20);
    listener.after(0, "good news", |m| m.is("faults") && !m.payload.contains("no price"));

    // A reading moves the plan: the site file's state says 50 °C there.
    let top = |plan: &Value| plan["slots"][0]["stores"][0]["top_c"].as_f64().expect("a number");
    let before = listener.all().iter().rfind(|m| m.is("plan")).expect("a plan").json();
    assert!(top(&before) > 48.0, "{}", top(&before));
    let from = listener.count();
    say(port, "house/top", "44.5");
    listener.after(from, "a plan for it", |m| m.is("plan") && top(&m.json()) < 47.0);
    let store = listener.after(from, "a measured store", |m| {
        m.is("stores/cylinder") && m.json()["measured"] == true
    });
    assert!((store.json()["top_c"].as_f64().expect("a number") - 44.5).abs() < 0.1);
    // One that cannot be is refused, and named.
    say(port, "house/top", "nan");
    listener.after(from, "the fault", |m| m.is("faults") && m.payload.contains("not-finite"));

    boost_and_away(port, &listener);
    second_instance(&folder, &text);

    // The end: everything off, within 3 s, and said.
    let from = listener.count();
    let (code, took) = service.stop();
    assert_eq!(code, Some(0));
    assert!(took < Duration::from_secs(3), "{took:?}");
    listener.after(from, "off", |m| {
        m.is("heaters/cylinder/immersion/set-point") && m.json()["power_w"] == 0
    });
    listener.after(from, "offline", |m| m.is("availability") && m.json()["state"] == "offline");

    let heard = listener.all();
    check_all(&heard);
    for message in heard.iter().filter(|m| m.topic.ends_with("/set-point")) {
        let document = message.json();
        let lasts = time(&document["valid_until"]) - time(&document["issued_at"]);
        assert!((0..=600).contains(&lasts), "{document}");
        assert!(!document["reason"].as_str().expect("a reason").is_empty());
    }
    let kept = held(port);
    assert!(kept.iter().all(|(topic, _)| !topic.ends_with("/set-point")), "{kept:?}");
    assert!(kept.iter().all(|(topic, _)| !topic.ends_with("/answer")), "{kept:?}");
    let state = kept.iter().find(|(topic, _)| topic.ends_with("/availability")).expect("kept");
    assert!(state.1.contains("offline"));
}

// C44.
fn boost_and_away(port: u16, listener: &Listener) {
    let answered = |from: usize, id: &str| {
        let id = id.to_owned();
        listener.after(from, "an answer", move |m| m.is("answer") && m.json()["id"] == id).json()
    };
    let from = listener.count();
    command(port, "b1", &json!({"kind": "boost", "store": "cylinder", "minutes": 20}));
    let answer = answered(from, "b1");
    assert_eq!(answer["outcome"], "done");
    assert_eq!(time(&answer["ends"]) - time(&answer["issued_at"]), 1_200);
    let on = listener.after(from, "the boost", |m| {
        m.is("heaters/cylinder/immersion/set-point") && m.payload.contains("boost by hand")
    });
    assert_eq!(on.json()["power_w"], 3_000);
    listener.after(from, "its mode", |m| m.is("stores/cylinder") && m.json()["mode"] == "boost");
    // It is in the plan, which gives its reason, and then it is priced.
    listener.after(from, "its plan", |m| m.is("plan") && m.payload.contains("asked for by hand"));
    let priced =
        listener.after(from, "its price", |m| m.is("answer") && m.payload.contains("priced"));
    assert_eq!(priced.json()["id"], "b1");
    let text = priced.json()["text"].to_string();
    assert!(priced.json()["cost_minor"].is_f64() && text.contains("the plan without it"), "{text}");

    command(port, "b1", &json!({"kind": "boost", "store": "cylinder", "minutes": 20}));
    listener.after(from, "that it came before", |m| m.payload.contains("repeated"));
    command(port, "x", &json!({"kind": "boost", "store": "shed", "minutes": 20}));
    let refused = answered(from, "x");
    assert_eq!(refused["outcome"], "refused");
    assert!(refused["text"].as_str().expect("words").contains("only cylinder"));

    // Away: nothing is heated for draws that nobody takes.
    let from = listener.count();
    let now = chrono::Utc::now();
    let (begin, end) = (now.to_rfc3339(), (now + chrono::TimeDelta::days(5)).to_rfc3339());
    command(port, "a1", &json!({"kind": "away", "from": begin, "to": end}));
    assert_eq!(answered(from, "a1")["outcome"], "done");
    // The pasteurisation is due on the return.
    listener.after(from, "a plan for nobody", |m| {
        m.is("plan") && {
            let plan = m.json();
            plan["hygiene"].as_array().is_some_and(Vec::is_empty)
                && plan["unmet_litres"].as_f64().is_some_and(|litres| litres < 1e-9)
        }
    });
    let from = listener.count();
    command(port, "r1", &json!({"kind": "resume"}));
    assert_eq!(answered(from, "r1")["outcome"], "done");
    listener.after(from, "the plan again", |m| {
        m.is("heaters/cylinder/immersion/set-point") && !m.payload.contains("by hand")
    });
}

// Failure case 15.
fn second_instance(folder: &std::path::Path, site: &str) {
    let mut second = Service::start(folder, site, &[]);
    assert_eq!(second.wait(), Some(1));
    let log = second.log();
    assert!(log.contains("another stowheat runs for this site"), "{log}");
}

#[test]
fn a_site_that_cannot_be_run_is_refused_with_78() {
    let folder = folder("refused");
    let good = site(1, &folder, "", "");
    for (bad, words) in [
        (good.replace("unit = \"°C\"", "unit = \"kW\""), "is no unit of `store-temperature`"),
        (good.replace("house/top", "house/#"), "has a wildcard"),
        (good.replace("port = 1\n", "port = 0\n"), "outside 1 to 65535"),
        (good.replace("height_fraction = 0.85\n", ""), "needs `height_fraction`"),
        (good.replace("start_offset", "start_ofset"), "did you mean `start_offset`?"),
        (good.split("[service]").next().expect("a part").to_owned(), "no `[service]` table"),
    ] {
        let mut service = Service::start(&folder, &bad, &[]);
        assert_eq!(service.wait(), Some(78), "{words}");
        assert!(service.log().contains(words), "{words}:\n{}", service.log());
    }
}
