use std::collections::BTreeMap;

use homie5::device_description::HomieDeviceDescription;
use optimiser::time::Instant;
use optimiser::units::Temperature;

use super::*;
use crate::service::commands::{
    Feeder, Overrides, Plant, PlantFeeder, PlantHeater, PlantStore, WishKind,
};
use crate::service::link::Message;
use crate::service::wire::{Action, Command, Outcome};

fn spec() -> TreeSpec {
    TreeSpec {
        domain: "homie".into(),
        instance: "mill".into(),
        name: "Mill House".into(),
        currency: "GBP".into(),
        stores: vec![TreeStore {
            name: "Cylinder".into(),
            heaters: vec!["Lower".into(), "Upper".into()],
        }],
        sources: vec![],
        sinks: vec![],
        battery: true,
    }
}

fn tree() -> Tree {
    Tree::new(&spec()).expect("a tree")
}

fn text(message: &Message) -> (String, String) {
    (message.topic.to_string(), String::from_utf8(message.payload.clone()).expect("text"))
}

/// Plays retained messages into the topics a broker would hold.
fn held(messages: impl IntoIterator<Item = Message>) -> BTreeMap<String, String> {
    messages.into_iter().filter(|m| m.retained).map(|m| text(&m)).collect()
}

#[test]
fn the_descriptions_are_valid_and_name_their_places_in_the_tree() {
    let held = held(tree().descriptions());
    let read = |id: &str| {
        let text = &held[&format!("homie/5/{id}/$description")];
        HomieDeviceDescription::from_json_strict(text).expect("a strict description")
    };
    let children = |id: &str| read(id).children.iter().map(ToString::to_string).collect::<Vec<_>>();
    assert_eq!(children("mill"), ["mill-cylinder", "mill-battery"]);
    assert_eq!(children("mill-cylinder"), ["mill-cylinder-lower", "mill-cylinder-upper"]);
    assert_eq!(read("mill").root, None);
    let heater = read("mill-cylinder-upper");
    assert_eq!(heater.root.expect("a root").as_str(), "mill");
    assert_eq!(heater.parent.expect("a parent").as_str(), "mill-cylinder");
    assert_eq!(read("mill-cylinder").parent, None, "only where it is not the root");
    let target = &held["homie/5/mill-cylinder/$description"];
    assert!(target.contains(r#""format":"40:65:0.5""#), "{target}");
    assert_eq!(held.len(), 5);
}

#[test]
fn a_description_keeps_its_version_until_it_changes() {
    let version = |spec: &TreeSpec| {
        let held = held(Tree::new(spec).expect("a tree").descriptions());
        let text = &held["homie/5/mill/$description"];
        HomieDeviceDescription::from_json_strict(text).expect("a description").version
    };
    let without = TreeSpec { battery: false, ..spec() };
    assert_eq!(version(&spec()), version(&spec()));
    assert_ne!(version(&spec()), version(&without));
}

#[test]
fn the_will_and_the_states() {
    let tree = tree();
    assert_eq!(text(&tree.will()), ("homie/5/mill/$state".into(), "lost".into()));
    assert!(tree.will().retained);
    let init = tree.states(Status::Init);
    assert_eq!(text(&init[0]), ("homie/5/mill/$state".into(), "init".into()));
    let ready = tree.states(Status::Ready);
    assert_eq!(text(&ready[4]), ("homie/5/mill/$state".into(), "ready".into()));
    assert_eq!(ready.len(), 5);
}

#[test]
fn values_must_fit_their_description() {
    let tree = tree();
    let store = Device::Store(0);
    let value = |property, value| tree.value(store, "store", property, value).map(|m| text(&m).1);
    assert_eq!(value("temperature", Value::Float(51.23456)), Ok("51.235".into()));
    assert_eq!(
        value("ready-by", Value::At(Instant::from_unix(0))),
        Ok("1970-01-01T00:00:00Z".into())
    );
    assert!(value("temperature", Value::Float(f64::NAN)).is_err());
    assert!(value("fill-level", Value::Float(101.0)).is_err());
    assert!(value("colour", Value::Bool(true)).is_err());
    let horizon = tree.value(Device::Root, "plan", "horizon", Value::Seconds(172_830));
    assert_eq!(horizon.map(|m| text(&m).1), Ok("PT48H0M30S".into()));
    let status = tree.value(Device::Root, "plan", "status", Value::Text("perfect"));
    assert!(matches!(status, Err(TreeError::Value { .. })));
    let momentary = tree.value(Device::Root, "plan", "replan", Value::Bool(false));
    assert!(!momentary.expect("a value").retained);
}

#[test]
fn alerts_come_and_go_and_an_empty_text_is_one_zero_byte() {
    let tree = tree();
    let raised = tree.alert(Alert::ReadingStale(0), Some(""));
    assert_eq!(raised.topic.as_str(), "homie/5/mill/$alert/reading-stale-mill-cylinder");
    assert_eq!(raised.payload, [0]);
    assert!(tree.alert(Alert::PricesMissing, None).payload.is_empty());
}

#[test]
fn a_set_is_checked_and_answered_on_target() {
    let tree = tree();
    let set = |path: &str, payload: &str| {
        tree.request(&format!("homie/5/{path}/set"), payload.as_bytes(), false)
    };
    let (request, target) = set("mill-cylinder/store/target", "55.5").expect("ours").expect("fits");
    assert_eq!(request, Request::Target { store: 0, celsius: 55.5 });
    let target = text(&target.expect("a target"));
    assert_eq!(target, ("homie/5/mill-cylinder/store/target/$target".into(), "55.5".into()));
    for (path, payload, expected) in [
        ("mill/plan/replan", "true", Request::Replan),
        ("mill/control/mode", "away", Request::Away),
        (
            "mill-cylinder-upper/heater/boost",
            "PT1H30M",
            Request::Boost { store: 0, heater: 1, seconds: 5_400 },
        ),
        (
            "mill-cylinder/store/ready-by",
            "1970-01-02T01:00:00+01:00",
            Request::ReadyBy { store: 0, by: Instant::from_unix(86_400) },
        ),
    ] {
        assert_eq!(set(path, payload).expect("ours").expect("fits").0, expected);
    }
    for (path, payload) in [
        ("mill-cylinder/store/target", "70"),
        ("mill-cylinder/store/target", "NaN"),
        ("mill-cylinder/store/target", ""),
        ("mill/control/mode", "party"),
        ("mill/plan/replan", "false"),
        ("mill-cylinder-upper/heater/boost", "90 min"),
        ("mill-cylinder/store/ready-by", "1970-01-02T01:00:00"),
    ] {
        assert!(set(path, payload).expect("ours").is_err(), "{path} {payload}");
    }
    for path in ["mill-cylinder/store/temperature", "mill/plan", "other/plan/replan"] {
        assert_eq!(set(path, "1"), None, "{path}");
    }
    let kept = tree.request("homie/5/mill/plan/replan/set", b"true", true);
    assert!(kept.expect("ours").is_err(), "a kept set is not obeyed");
    assert_eq!(tree.filters().len(), 6);
}

#[test]
fn after_removal_no_retained_topic_is_left() {
    let tree = tree();
    let mut broker = held(tree.descriptions());
    broker.extend(held(tree.states(Status::Ready)));
    let store = Device::Store(0);
    broker.extend(held(tree.value(store, "store", "target", Value::Float(50.0))));
    broker.extend(held(tree.target(store, "store", "target", Value::Float(50.0))));
    let topics = tree.topics();
    assert_eq!(topics[0].as_str(), "homie/5/mill/$state", "the root first");
    for topic in topics {
        broker.remove(topic.as_str());
    }
    assert_eq!(broker, BTreeMap::new());
}

#[test]
fn bad_names_are_told_before_anything_is_published() {
    let with = |change: fn(&mut TreeSpec)| {
        let mut spec = spec();
        change(&mut spec);
        Tree::new(&spec).err().expect("an error")
    };
    assert!(matches!(with(|s| s.instance = "Mill".into()), TreeError::Id(_)));
    assert!(matches!(with(|s| s.domain = "+".into()), TreeError::Domain(_)));
    assert!(matches!(with(|s| s.domain = "a/b".into()), TreeError::Domain(_)));
    let twice = with(|s| s.stores[0].heaters = vec!["Rod 1".into(), "rod-1".into()]);
    assert_eq!(twice, TreeError::Twice("mill-cylinder-rod-1".into()));
}

#[test]
fn the_mirror_speaks_version_four() {
    let tree = tree();
    let mirror = Mirror::new(&tree);
    let held = held(mirror.descriptions());
    assert_eq!(held["homie/mill/$homie"], "4.0.0");
    assert_eq!(held["homie/mill/$nodes"], "control,plan,prices");
    assert_eq!(
        held["homie/mill-cylinder/store/$properties"],
        "fill-level,ready-by,stored-energy,target,temperature"
    );
    assert_eq!(held["homie/mill-cylinder/store/target/$format"], "40:65");
    assert_eq!(held["homie/mill-cylinder/store/ready-by/$datatype"], "string");
    assert_eq!(held["homie/mill/control/mode/$format"], "auto,boost,away,off");
    let value = tree.value(Device::Store(0), "store", "temperature", Value::Float(50.0));
    let mirrored = mirror.value(&value.expect("a value")).expect("mirrored");
    assert_eq!(text(&mirrored), ("homie/mill-cylinder/store/temperature".into(), "50".into()));
    assert_eq!(mirror.value(&tree.alert(Alert::PricesMissing, Some("x"))), None);
    let filter = &mirror.filters()[0];
    let original = mirror.original(filter.as_str()).expect("a set topic");
    assert_eq!(original, tree.filters()[0].as_str());
    assert!(held.keys().chain([&original]).all(|t| !t.starts_with("homie/5/") || *t == original));
}

#[test]
fn every_request_is_a_command_with_an_end() {
    let heater = |name: &str| PlantHeater { name: name.into(), power_w: 3_000 };
    let plant = Plant {
        stores: vec![PlantStore {
            name: "Cylinder".into(),
            ceiling: Temperature::constant(70.0),
            heaters: vec![heater("Lower"), heater("Upper")],
            full_s: 7_200,
        }],
        feeders: vec![PlantFeeder {
            name: "ground".into(),
            feeder: Feeder::Source(optimiser::site::Source::HeatPump(0)),
        }],
        rooms: true,
    };
    let now = Instant::from_unix(1_767_225_600);
    let mut overrides = Overrides::new(plant.clone());
    let boost = Request::Boost { store: 0, heater: 1, seconds: 90 };
    for (i, request) in [
        Request::Replan,
        Request::BoostAll,
        boost,
        Request::Away,
        Request::Off,
        Request::Target { store: 0, celsius: 55.0 },
        Request::ReadyBy { store: 0, by: now + 3_600 },
        Request::SourceOff { source: 0, seconds: 3_600 },
        Request::Rooms(18.0),
        boost,
        Request::Boost { store: 0, heater: 1, seconds: 0 },
    ]
    .into_iter()
    .enumerate()
    {
        for action in request.actions(now, &plant) {
            let (schema, id) = ("stowheat/command/1".to_owned(), format!("{i}"));
            let answer = overrides.apply(now, &Command { schema, id, valid_until: None, action });
            assert_eq!(answer.outcome, Outcome::Done, "{request:?}: {}", answer.text);
        }
    }
    let boosts = overrides.wishes().iter().filter(|w| matches!(w.kind, WishKind::Boost { .. }));
    assert_eq!(boosts.count(), 0, "zero ended the boost, off the others");
    assert_eq!(Request::Auto.actions(now, &plant), [Action::Resume]);
}

#[test]
fn sources_and_sinks_are_devices_that_can_be_set() {
    let spec = TreeSpec {
        sources: vec![
            TreeSource { name: "Ground".into(), pump: true },
            TreeSource { name: "boiler".into(), pump: false },
        ],
        sinks: vec![
            TreeSink { name: "buffer".into(), rooms: false },
            TreeSink { name: "rooms".into(), rooms: true },
        ],
        ..spec()
    };
    let tree = Tree::new(&spec).expect("a tree");
    let held = held(tree.descriptions());
    for (id, words, has) in [
        ("source-ground", "\"request\"", true),
        ("source-boiler", "\"request\"", false),
        ("sink-rooms", "7:25:0.5", true),
        ("sink-buffer", "7:25:0.5", false),
    ] {
        let text = &held[&format!("homie/5/mill-{id}/$description")];
        HomieDeviceDescription::from_json_strict(text).expect("a strict description");
        assert_eq!(text.contains(words), has, "{text}");
    }
    let asked = |topic: &str, payload: &[u8]| {
        let asked = tree.request(topic, payload, false).expect("a topic of the tree");
        asked.expect("a request").0
    };
    assert_eq!(
        asked("homie/5/mill-source-boiler/source/off/set", b"PT1H"),
        Request::SourceOff { source: 1, seconds: 3_600 }
    );
    assert_eq!(asked("homie/5/mill-sink-rooms/sink/low/set", b"17.5"), Request::Rooms(17.5));
    assert!(tree.request("homie/5/mill-sink-buffer/sink/low/set", b"17.5", false).is_none());
    let value = tree.value(Device::Source(0), "source", "request", Value::Text("forced"));
    assert!(
        value.is_ok()
            && tree.value(Device::Source(0), "source", "request", Value::Text("x")).is_err()
    );
}
