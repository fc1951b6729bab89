//! Days of 46 and 50 half-hours, lived through on an invented clock.

use std::time::{Duration, Instant};

use serde_json::Value;

use crate::broker::Broker;
use crate::described::check_all;
use crate::party::{Listener, Service, Speaker, folder, site, time};

const OPEN: &str = "topic readwrite #\n";

/// Seconds that pass in a second: a half-hour lasts 2.5 s, which leaves a machine that
/// is slow, or stands still for a second, the time to plan it.
const RATE: i64 = 720;

/// Lives from a time for some hours, and checks every plan and set-point on the way.
fn live(name: &str, from: &str, hours: i64, day: &str, half_hours: usize) {
    let Some(broker) = Broker::start(name, OPEN) else { return };
    let (port, folder) = (broker.port, folder(name));
    let listener = Listener::start(port);
    let rate = RATE.to_string();
    let arguments = ["--clock-from", from, "--clock-rate", &rate];
    let service = Service::start(&folder, &site(port, &folder, "homie = false", ""), &arguments);
    let mut probe = Speaker::start(port, "house/top");
    let end = Instant::now() + Duration::from_secs((hours * 3_600 / RATE) as u64);
    let mut celsius = 45.0;
    // The probe speaks every few minutes of the invented day; it drifts a little.
    while Instant::now() < end {
        celsius = if celsius > 54.0 { 45.0 } else { celsius + 0.02 };
        probe.say(&format!("{celsius:.2}"));
        std::thread::sleep(Duration::from_millis(100));
    }
    let heard = listener.all();
    assert_eq!(service.stop().0, Some(0));
    check_all(&heard);

    let plans: Vec<Value> =
        heard.iter().filter(|m| m.is("plan")).map(crate::party::Heard::json).collect();
    assert!(plans.len() as i64 >= 2 * hours, "{} plans in {hours} h", plans.len());
    for plan in &plans {
        let slots = plan["slots"].as_array().expect("slots");
        for pair in slots.windows(2) {
            assert_eq!(time(&pair[0]["end"]), time(&pair[1]["start"]), "a gap");
        }
        assert_eq!(time(&slots[0]["start"]), time(&plan["issued_at"]));
    }
    // A plan of the evening before has the whole day, in half-hours.
    let counted = plans.iter().map(|plan| {
        let slots = plan["slots"].as_array().expect("slots");
        let of_day = slots.iter().filter(|slot| {
            let is_half_hour = time(&slot["end"]) - time(&slot["start"]) == 1_800;
            is_half_hour && slot["start"].as_str().is_some_and(|start| start.starts_with(day))
        });
        of_day.count()
    });
    assert_eq!(counted.max(), Some(half_hours), "half-hours of {day}");
    // Every half-hour of the day was followed by a new plan at its edge.
    let mut edges: Vec<i64> = plans
        .iter()
        .filter(|plan| plan["issued_at"].as_str().is_some_and(|at| at.starts_with(day)))
        .map(|plan| time(&plan["issued_at"]).div_euclid(1_800))
        .collect();
    edges.dedup();
    assert_eq!(edges.len(), half_hours, "half-hours with a plan of their own");
    for message in heard.iter().filter(|m| m.topic.ends_with("/set-point")) {
        let document = message.json();
        let lasts = time(&document["valid_until"]) - time(&document["issued_at"]);
        assert!((0..=600).contains(&lasts), "{document}");
    }
}

#[test]
fn a_day_of_46_half_hours() {
    live("spring", "2026-03-28T22:10:00Z", 27, "2026-03-29", 46);
}

#[test]
fn a_day_of_50_half_hours() {
    live("autumn", "2026-10-24T21:10:00Z", 28, "2026-10-25", 50);
}
