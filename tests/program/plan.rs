//! `stowheat plan`: what it prints and writes.

use std::path::Path;

use serde_json::Value;

use super::{
    DEMO, DEMO_AT, DEMO_PRICES, DEMO_WEATHER, EVERYTHING, done, fixture, fixture_plans, says, with,
    written,
};

#[test]
fn the_demo_needs_nothing() {
    let ran = done(&["plan"]);
    says(
        &ran.data,
        &[
            "Harbour Row",
            "Fri 17 Apr 06:00",
            "p/kWh",
            "bottom",
            "total",
            "stowheat is not a safety device",
        ],
    );
    assert!(!ran.data.contains('\u{1b}'), "no colours where no terminal is");
}

#[test]
fn the_demo_is_its_fixtures() {
    let own = done(&[
        "plan",
        DEMO,
        "--prices",
        DEMO_PRICES,
        "--weather",
        DEMO_WEATHER,
        "--at",
        DEMO_AT,
        "--json",
    ]);
    assert_eq!(done(&["plan", "--json"]).data, own.data);
}

#[test]
fn the_same_question_has_the_same_answer() {
    for arguments in fixture_plans("again") {
        for more in [&[][..], &["--json"], &["--explain"]] {
            let arguments = with(&arguments, more);
            let (first, second) = (done(&arguments), done(&arguments));
            assert!(first.data == second.data, "{arguments:?} differs between two runs");
            assert!(first.messages == second.messages, "{arguments:?} differs between two runs");
        }
    }
}

#[test]
fn slots_follow_each_other_and_add_up() {
    for arguments in fixture_plans("sums") {
        let text = done(&with(&arguments, &["--json"])).data;
        let plan: Value = serde_json::from_str(&text).expect("JSON");
        let slots = plan["slots"].as_array().expect("slots");
        for pair in slots.windows(2) {
            assert_eq!(pair[0]["end"], pair[1]["start"]);
        }
        let cost = &plan["cost"];
        let number = |name: &str| cost[name].as_f64().expect("money");
        let sum = number("import") - number("export_income") + number("wear") + number("fuel")
            - number("end_value");
        assert!((sum - number("total")).abs() < 0.01, "{cost}");
    }
}

#[test]
fn a_decision_is_explained() {
    let all = done(&["plan", "--explain"]).data;
    says(&all, &["Now", "cylinder/bottom", "price now"]);
    let one = done(&["plan", "--explain", "bottom@13:00"]).data;
    says(&one, &["cylinder/bottom", "Fri 17 Apr", "13:00", "would change"]);
    // Where no limit is told, none keeps it off.
    let is_free = one.contains("none: only the prices decide");
    assert!(!is_free || !one.contains("a limit keeps it off"), "{one}");
}

#[test]
fn a_chart_is_well_formed_and_says_what_it_shows() {
    let path = written("plan.svg", "");
    let ran = done(&["plan", "--chart", &path]);
    says(&ran.messages, &["chart written to", "plan.svg"]);
    says(&ran.data, &["Harbour Row"]);
    let svg = std::fs::read_to_string(Path::new(&path)).expect("the chart");
    let names = elements(&svg);
    assert_eq!(names.first().map(String::as_str), Some("svg"));
    for name in ["title", "desc"] {
        assert_eq!(names.iter().filter(|n| *n == name).count(), 1, "{name}");
        let start = svg.find(&format!("<{name}")).expect("an element");
        let text = &svg[start..svg[start..].find("</").expect("its end") + start];
        let text = text.split_once('>').expect("its text").1;
        assert!(text.len() > 10 && text.contains("Harbour Row") || name == "desc", "{text}");
        assert!(!text.trim().is_empty());
    }
    let again = written("again.svg", "");
    done(&["plan", "--chart", &again]);
    assert_eq!(svg, std::fs::read_to_string(again).expect("the chart"));
}

/// Names of the elements of an XML document in their order; every one must be
/// closed where it was opened, every attribute quoted, every `&` an entity.
fn elements(xml: &str) -> Vec<String> {
    let (mut open, mut names): (Vec<String>, Vec<String>) = (Vec::new(), Vec::new());
    let mut rest = xml;
    while let Some(at) = rest.find('<') {
        assert_entities(&rest[..at]);
        let end = rest.find('>').expect("a tag ends");
        let tag = &rest[at + 1..end];
        rest = &rest[end + 1..];
        if tag.starts_with(['?', '!']) {
            continue;
        }
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(name.trim()), "closed in its turn");
            continue;
        }
        assert!(!tag.contains('<'), "{tag}");
        assert_eq!(tag.matches('"').count() % 2, 0, "{tag}");
        assert_entities(tag);
        let name = tag.split(|c: char| c.is_whitespace() || c == '/').next().expect("a name");
        names.push(name.to_owned());
        if !tag.ends_with('/') {
            open.push(name.to_owned());
        }
    }
    assert!(open.is_empty(), "{open:?} stay open");
    assert_eq!(rest.trim(), "");
    names
}

#[track_caller]
fn assert_entities(text: &str) {
    for (at, _) in text.match_indices('&') {
        let known = ["&amp;", "&lt;", "&gt;", "&quot;", "&apos;", "&#"];
        assert!(known.iter().any(|entity| text[at..].starts_with(entity)), "{text}");
    }
}

// Sources, elements and battery of this house could together take some 32 kW.
#[test]
fn a_house_whose_sources_exceed_its_fuse_has_a_plan() {
    let one_phase = fixture(EVERYTHING)
        .replace("fuse_amperes = 40\nphases = 3", "fuse_amperes = 100\nphases = 1");
    let one_phase =
        one_phase.replace("68\nphases = 3\ncircuit_amperes = 16", "68\ncircuit_amperes = 32");
    let small = one_phase.replace("fuse_amperes = 100", "fuse_amperes = 60");
    let named = fixture(EVERYTHING)
        .replace(
            "fuse_amperes = 40\nphases = 3",
            "fuse_amperes = 25\nphases = 3\nmetering = \"per-phase\"",
        )
        .replace(
            "circuit_amperes = 16\n\n[[store.coil]]\nname = \"solar\"",
            "circuit_amperes = 16\nphase = 2\n\n[[store.coil]]\nname = \"solar\"",
        )
        .replace("source = \"ground\"\n", "source = \"ground\"\nphase = 1\n")
        .replace("source = \"air\"\n", "source = \"air\"\nphase = 2\n");
    for (name, text) in [("one-phase", one_phase), ("small", small), ("named", named)] {
        let site = written(&format!("{name}.toml"), &text);
        let arguments =
            ["plan", &site, "--prices", DEMO_PRICES, "--weather", DEMO_WEATHER, "--at", DEMO_AT];
        let plan = done(&with(&arguments.map(str::to_owned), &["--json"]));
        assert!(!plan.messages.contains("rule"), "{name}: {}", plan.messages);
        let plan: Value = serde_json::from_str(&plan.data).expect("JSON");
        assert_ne!(plan["origin"], "rule", "{name}");
    }
}
