//! The Homie tree of a running service. Source: Homie convention 5.0.

use std::path::Path;

use serde_json::Value;

use crate::broker::Broker;
use crate::party::{Heard, Listener, Service, folder, held, say, site};

const OPEN: &str = "topic readwrite #\n";
const ROOT: &str = "homie/5/mill-cottage";

fn position(heard: &[Heard], is_it: impl Fn(&Heard) -> bool) -> usize {
    heard.iter().position(is_it).expect("it was heard")
}

#[test]
fn the_tree_comes_up_in_order_obeys_and_is_taken_down() {
    let Some(broker) = Broker::start("tree", OPEN) else { return };
    let (port, folder) = (broker.port, folder("tree"));
    let listener = Listener::start(port);
    let service = Service::start(&folder, &site(port, &folder, "homie_4_mirror = true", ""), &[]);
    listener.after(0, "ready", |m| m.topic == format!("{ROOT}/$state") && m.payload == "ready");
    say(port, "house/top", "47");
    listener.after(0, "values", |m| m.topic.ends_with("/plan/status") && m.payload == "ok");

    // Section "Device lifecycle": init, description, values, ready.
    let heard = listener.all();
    for device in ["mill-cottage", "mill-cottage-cylinder", "mill-cottage-cylinder-immersion"] {
        let at = |tail: &str, payload: &str| {
            position(&heard, |m| {
                m.topic == format!("homie/5/{device}/{tail}") && m.payload.contains(payload)
            })
        };
        let (init, described) = (at("$state", "init"), at("$description", "{"));
        let ready = at("$state", "ready");
        assert!(init < described && described < ready, "{device}: {init} {described} {ready}");
        let description: Value = heard[described].json();
        assert_eq!(description["homie"], "5.0");
    }

    // Every retained property that is described has a topic or none yet; every
    // topic below a device is described.
    let kept = held(port);
    let mirrored = kept
        .iter()
        .filter(|(topic, _)| topic.starts_with("homie/mill-cottage") && topic.ends_with("/$homie"));
    assert_eq!(mirrored.count(), 3, "root, store and heater stand alone in version 4");
    for (topic, payload) in kept.iter().filter(|(topic, _)| topic.starts_with("homie/5/")) {
        let levels: Vec<_> = topic.split('/').collect();
        if levels.len() == 5 && !levels[3].starts_with('$') {
            let description = kept
                .iter()
                .find(|(t, _)| *t == format!("homie/5/{}/$description", levels[2]))
                .expect("a description");
            let description: Value = serde_json::from_str(&description.1).expect("JSON");
            let property = &description["nodes"][levels[3]]["properties"][levels[4]];
            assert!(property.is_object(), "{topic} is not described");
            assert!(!payload.is_empty(), "{topic} is empty");
        }
    }

    // A boost through the tree, of either version.
    let from = listener.count();
    say(port, &format!("{ROOT}-cylinder-immersion/heater/boost/set"), "PT20M");
    listener.after(from, "the boost", |m| {
        m.is("heaters/cylinder/immersion/set-point") && m.payload.contains("boost by hand")
    });
    // The plan may have had it on before, and what does not change is not said again.
    let on = format!("{ROOT}-cylinder-immersion/heater/on");
    listener.until_last(&on, "true");
    say(port, "homie/mill-cottage/control/mode/set", "off");
    let target =
        |m: &Heard| m.topic == format!("{ROOT}/control/mode/$target") && m.payload == "off";
    listener.after(from, "the echo on $target", target);
    listener.until_last(&on, "false");

    // A clean end.
    let from = listener.count();
    assert_eq!(service.stop().0, Some(0));
    listener.after(from, "disconnected", |m| {
        m.topic == format!("{ROOT}/$state") && m.payload == "disconnected"
    });

    // Switched off: the next start leaves nothing of it behind.
    let service = Service::start(&folder, &site(port, &folder, "homie = false", ""), &[]);
    let from = listener.count();
    listener.after(from, "online", |m| m.is("availability") && m.payload.contains("online"));
    let mut left = Vec::new();
    for _ in 0..5 {
        left = held(port)
            .into_iter()
            .map(|(topic, _)| topic)
            .filter(|t| t.starts_with("homie/"))
            .collect();
        if left.is_empty() {
            break;
        }
    }
    assert!(left.is_empty(), "{left:?}");
    drop(service);
}

/// For `tests/peers/homie_reference.py`: a controller of another make, with a client
/// from another language.
#[test]
fn writes_homie_cases() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/peers");
    std::fs::create_dir_all(&folder).expect("a folder");
    let battery = "[battery]\ncapacity_kwh = 5\ncharge_limit_kw = 2\ndischarge_limit_kw = 2\n\
                   takes_commands = true\n";
    let text = site(0, Path::new("{folder}"), "homie_4_mirror = true", battery);
    let text = text.replace("\nport = 0\n", "\nport = {port}\n");
    assert!(text.contains("port = {port}") && text.contains("state_folder = \"{folder}\""));
    let cases = serde_json::json!({"program": crate::party::PROGRAM, "site": text});
    std::fs::write(folder.join("homie.json"), cases.to_string()).expect("the folder is writable");
}
