//! Readings that cannot be believed, while heat flows.

use std::time::{Duration, Instant};

use crate::broker::Broker;
use crate::party::{Heard, Listener, Service, Speaker, always_on, folder, say, say_until, site};
use crate::{OPEN, fault, set_point};

/// The small site whose heat pays, believing its probe for two minutes.
fn paying(port: u16, folder: &std::path::Path) -> String {
    let text = always_on(&site(port, folder, "homie = false", ""));
    text.replace("unit = \"°C\"\n", "unit = \"°C\"\nmaximum_age_minutes = 2\n")
}

fn blind(message: &Heard) -> bool {
    set_point(message, 0) && message.payload.contains("no trustworthy reading")
}

// Failure cases 3 and 4, at the wire.
#[test]
fn a_probe_that_talks_nonsense_stops_the_heat() {
    let Some(broker) = Broker::start("nonsense", OPEN) else { return };
    let (port, folder) = (broker.port, folder("nonsense"));
    let listener = Listener::start(port);
    let service = Service::start(
        &folder,
        &paying(port, &folder),
        &["--clock-from", "2026-01-15T00:00:00Z", "--clock-rate", "30"],
    );
    listener.after(0, "a plan", |m| m.is("plan"));
    let mut celsius = 30.0;
    for (nonsense, kind) in [
        ("nan", "not-finite"),
        ("inf", "not-finite"),
        ("1e999", "not-finite"),
        ("unavailable", "unavailable"),
        ("", "unavailable"),
        ("85.0", "sentinel"),
        ("-127", "sentinel"),
        ("45000", "thousand-fold"),
    ] {
        celsius += 0.1;
        let reading = format!("{celsius:.1}");
        say_until(port, ("house/top", &reading), &listener, "heat", |m| set_point(m, 3_000));
        let from = listener.count();
        let mut probe = Speaker::start(port, "house/top");
        let end = Instant::now() + Duration::from_secs(30);
        while listener.within(Duration::ZERO, from, blind).is_none() {
            assert!(Instant::now() < end, "{nonsense} goes on heating\n{}", service.log());
            probe.say(nonsense);
            std::thread::sleep(Duration::from_millis(100));
        }
        let words = service.log();
        assert!(words.contains(&format!("kind=\"{kind}\"")), "{nonsense}: {kind}\n{words}");
    }
    assert_eq!(service.stop().0, Some(0));
}

// Failure case 4: frozen while much heat goes in.
#[test]
fn a_probe_that_stands_still_stops_the_heat() {
    let Some(broker) = Broker::start("frozen", OPEN) else { return };
    let (port, folder) = (broker.port, folder("frozen"));
    let listener = Listener::start(port);
    let service = Service::start(
        &folder,
        &always_on(&site(port, &folder, "homie = false", "")),
        &["--clock-from", "2026-01-15T00:00:00Z", "--clock-rate", "1200"],
    );
    let mut probe = Speaker::start(port, "house/top");
    let end = Instant::now() + Duration::from_mins(1);
    while listener.within(Duration::ZERO, 0, |m| fault(m, "heat-spent")).is_none() {
        assert!(Instant::now() < end, "it goes on heating\n{}", service.log());
        probe.say("40.0");
        std::thread::sleep(Duration::from_millis(100));
    }
    let from = listener.count();
    listener.after(from.saturating_sub(50), "no heat", blind);
    assert_eq!(service.stop().0, Some(0));
}

// Failure case 20: heat that is paid for never heats a store above its ceiling.
#[test]
fn a_full_store_takes_no_heat_however_cheap() {
    let Some(broker) = Broker::start("full", OPEN) else { return };
    let (port, folder) = (broker.port, folder("full"));
    let listener = Listener::start(port);
    let text = always_on(&site(port, &folder, "homie = false", ""));
    let service = Service::start(&folder, &text, &[]);
    listener.after(0, "a plan", |m| m.is("plan"));
    let from = listener.count();
    say(port, "house/top", "65.5");
    listener
        .after(from, "no heat", |m| set_point(m, 0) && m.payload.contains("as hot as it may be"));
    assert!(listener.all().iter().all(|m| !set_point(m, 3_000)));
    assert_eq!(service.stop().0, Some(0));
}
