//! What survives the end of the service, and of the broker.

use std::time::Duration;

use serde_json::json;

use crate::broker::Broker;
use crate::described::check_all;
use crate::party::{Heard, Listener, Service, always_on, command, folder, held, say, site};

const OPEN: &str = "topic readwrite #\n";

fn set_point(message: &Heard, power_w: u32) -> bool {
    message.is("heaters/cylinder/immersion/set-point") && message.json()["power_w"] == power_w
}

// C43: a restart inside a slot goes on; with a manual off it does not.
#[test]
fn a_restart_resumes_the_slot_and_keeps_an_off_by_hand() {
    let Some(broker) = Broker::start("resume", OPEN) else { return };
    let (port, folder) = (broker.port, folder("resume"));
    let text = always_on(&site(port, &folder, "", ""));
    let listener = Listener::start(port);
    let service = Service::start(&folder, &text, &[]);
    listener.after(0, "a plan", |m| m.is("plan"));
    say(port, "house/top", "30");
    let on = listener.after(0, "heat", |m| set_point(m, 3_000)).json();
    assert!(on["reason"].as_str().expect("words").starts_with("On"), "{on}");
    let (code, _) = service.stop();
    assert_eq!(code, Some(0));

    let from = listener.count();
    let service = Service::start(&folder, &text, &[]);
    listener.after(from, "a plan", |m| m.is("plan"));
    say(port, "house/top", "30.2");
    listener.after(from, "heat again", |m| set_point(m, 3_000));
    let until = (chrono::Utc::now() + chrono::TimeDelta::hours(3)).to_rfc3339();
    let from = listener.count();
    command(port, "o1", &json!({"kind": "off", "until": until}));
    listener.after(from, "off", |m| set_point(m, 0));
    // Killed, so that only what reached the disk is there: records are gathered for 2 s.
    std::thread::sleep(Duration::from_secs(3));
    service.kill();

    let from = listener.count();
    let service = Service::start(&folder, &text, &[]);
    listener.after(from, "a plan", |m| m.is("plan"));
    say(port, "house/top", "30.4");
    listener
        .after(from, "off by hand", |m| set_point(m, 0) && m.payload.contains("off by hand until"));
    listener.after(from, "its mode", |m| m.is("stores/cylinder") && m.json()["mode"] == "off");
    assert!(listener.all()[from..].iter().all(|m| !set_point(m, 3_000)), "never on");
    drop(service);
    check_all(&listener.all());
}

// Failure cases 6 and 7: what the broker holds after its return is what the
// service holds.
#[test]
fn after_a_broker_restart_the_schedule_is_the_latest() {
    let Some(mut broker) = Broker::start("return", OPEN) else { return };
    let (port, folder) = (broker.port, folder("return"));
    let text = site(port, &folder, "", "");
    let service = Service::start(&folder, &text, &[]);
    let listener = Listener::start(port);
    listener.after(0, "a plan", |m| m.is("plan"));
    drop(listener);
    for _ in 0..3 {
        broker.kill();
        broker.run();
        let listener = Listener::start(port);
        // What the broker kept says nothing of whether the service is back, and a
        // command is not kept: it is asked until it is answered.
        let from = listener.count();
        let plan = (0..15)
            .find_map(|attempt| {
                command(port, &format!("p{from}-{attempt}"), &json!({"kind": "replan"}));
                listener.within(Duration::from_secs(2), from, |m| m.is("plan"))
            })
            .expect("a new plan within 30 s");
        listener.after(from, "health", |m| m.is("health"));
        let last = listener.all().iter().rfind(|m| m.is("plan")).cloned().unwrap_or(plan);
        let kept = held(port);
        let plans: Vec<_> = kept.iter().filter(|(t, _)| t.ends_with("/v1/plan")).collect();
        assert_eq!(plans.len(), 1);
        let seq = |text: &str| {
            let plan: serde_json::Value = serde_json::from_str(text).expect("JSON");
            plan["seq"].as_u64().expect("a number")
        };
        assert!(seq(&plans[0].1) >= seq(&last.payload));
        assert!(kept.iter().all(|(topic, _)| !topic.ends_with("/set-point")));
    }
    drop(service);
}

// Failure case 1, at the broker: nobody is left to say good-bye.
#[test]
fn after_a_kill_the_broker_speaks_the_will() {
    let Some(broker) = Broker::start("gone", OPEN) else { return };
    let (port, folder) = (broker.port, folder("gone"));
    let listener = Listener::start(port);
    for (more, topic, word) in [
        ("homie = false", "stowheat/mill-cottage/v1/availability", "offline"),
        ("", "homie/5/mill-cottage/$state", "lost"),
    ] {
        let from = listener.count();
        let service = Service::start(&folder, &site(port, &folder, more, ""), &[]);
        listener
            .after(from, "it is there", |m| m.is("availability") && m.payload.contains("online"));
        let from = listener.count();
        service.kill();
        listener.after(from, word, |m| m.topic == topic && m.payload.contains(word));
    }
    check_all(&listener.all());
}
