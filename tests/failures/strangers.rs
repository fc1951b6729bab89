//! What others put on the broker, or keep us from.

use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::json;

use crate::broker::Broker;
use crate::party::{Listener, PREFIX, Service, Speaker, command, folder, held, say, site};
use crate::{OPEN, count, fault, report};

/// Puts a message on the broker that it keeps.
fn keep(port: u16, topic: &str, payload: &[u8]) {
    let mut sender = Command::new("mosquitto_pub")
        .args(["-p", &port.to_string(), "-t", topic, "-r", "-s"])
        .stdin(Stdio::piped())
        .spawn()
        .expect("mosquitto's clients are installed");
    let mut pipe = sender.stdin.take().expect("a pipe");
    std::io::Write::write_all(&mut pipe, payload).expect("piped");
    drop(pipe);
    assert!(sender.wait().expect("our own child").success());
}

// Failure case 2.
#[test]
fn a_command_of_last_week_is_taken_off_the_broker_and_never_repeated() {
    let Some(broker) = Broker::start("week", OPEN) else { return };
    let (port, folder) = (broker.port, folder("week"));
    let topic = format!("{PREFIX}/v1/heaters/cylinder/immersion/set-point");
    let old = json!({"schema": "stowheat/set-point/1", "power_w": 3000, "boot_id": "old"});
    keep(port, &topic, old.to_string().as_bytes());
    let listener = Listener::start(port);
    let from = listener.count();
    let service = Service::start(&folder, &site(port, &folder, "", ""), &[]);
    listener.after(from, "the fault", |m| fault(m, "kept-command") && m.payload.contains(&topic));
    listener.after(from, "its end", |m| m.topic == topic && m.payload.is_empty());
    assert!(held(port).iter().all(|(kept, _)| *kept != topic));
    assert_eq!(service.stop().0, Some(0));
    let heard = listener.all();
    let later = heard[from..].iter().filter(|m| m.topic == topic && !m.payload.is_empty());
    assert!(later.into_iter().all(|m| !m.payload.contains("old")));
}

// Failure case 13.
#[test]
fn a_fat_message_is_named_and_everything_else_lives() {
    let Some(broker) = Broker::start("fat-input", OPEN) else { return };
    let (port, folder) = (broker.port, folder("fat-input"));
    keep(port, "house/top", &vec![b'x'; 300_000]);
    let listener = Listener::start(port);
    let service = Service::start(&folder, &site(port, &folder, "", ""), &[]);
    listener.after(0, "the fault", |m| fault(m, "too-large") && m.payload.contains("house/top"));
    let from = listener.count();
    keep(port, "house/top", &vec![b'7'; 11_000]);
    listener.after(from, "the smaller one refused", |m| m.is("faults"));
    say(port, "house/top", "48");
    listener.after(from, "a reading", |m| m.is("stores/cylinder") && m.json()["measured"] == true);
    assert_eq!(service.log().matches("connected to the broker").count(), 1, "{}", service.log());
    assert_eq!(service.stop().0, Some(0));
}

// Failure case 14, both halves.
#[test]
fn what_the_broker_refuses_is_named() {
    if let Some(broker) = Broker::start_refusing("deaf", "stowheat/#") {
        let folder = folder("deaf");
        let begun = Instant::now();
        let text = site(broker.port, &folder, "homie = false", "");
        let service = Service::start(&folder, &text, &[]);
        service.says("fault what=\"house/top\" kind=\"subscription-refused\"");
        report(&format!("a refused subscription was named after {:?}", begun.elapsed()));
        assert_eq!(service.stop().0, Some(0));
    }
    let Some(broker) = Broker::start("mute", "topic read #\ntopic write house/#\n") else { return };
    let folder = folder("mute");
    let service = Service::start(&folder, &site(broker.port, &folder, "", ""), &[]);
    service.says("kind=\"echo-missing\"");
    drop(service);
}

// Failure case 15: unit and container both run, each with its own state folder.
#[test]
fn two_services_of_one_name_are_found_out_within_a_minute() {
    let Some(broker) = Broker::start("twins", OPEN) else { return };
    let (one, other) = (folder("twin-one"), folder("twin-other"));
    let first = Service::start(&one, &site(broker.port, &one, "", ""), &[]);
    let second = Service::start(&other, &site(broker.port, &other, "", ""), &[]);
    let begun = Instant::now();
    let words = "another client seems to use the name `stowheat-mill-cottage`";
    while ![&first, &second].iter().any(|service| service.log().contains(words)) {
        assert!(begun.elapsed() < Duration::from_mins(1), "{}", first.log());
        std::thread::sleep(Duration::from_millis(50));
    }
    report(&format!("two of one name were found out after {:?}", begun.elapsed()));
    // A heater that heard both heard nothing that outlives ten minutes, and each is
    // told to stop as ever.
    assert_eq!((first.stop().0, second.stop().0), (Some(0), Some(0)));
}

/// Resident memory [kB].
fn resident(id: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{id}/status")).expect("it lives");
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).expect("a line");
    line.split_whitespace().nth(1).and_then(|kib| kib.parse().ok()).expect("a number")
}

// Failure cases 26 and 27: a thousand messages a second, half of them rubbish, for
// ten seconds; for ten minutes with STOWHEAT_FLOOD_SECONDS=600.
#[test]
fn in_a_flood_commands_are_still_answered_and_memory_stays() {
    let Some(broker) = Broker::start("flood", OPEN) else { return };
    let (port, folder) = (broker.port, folder("flood"));
    let listener = Listener::start(port);
    let service = Service::start(&folder, &site(port, &folder, "", ""), &[]);
    listener.after(0, "a plan", |m| m.is("plan"));
    let before = resident(service.id());
    let mut probe = Speaker::start(port, "house/top");
    let mut stranger = Speaker::start(port, &format!("{PREFIX}/v1/command"));
    let (mut latest, mut sent) = (Duration::ZERO, 0_u64);
    let begun = Instant::now();
    for second in 0..count("STOWHEAT_FLOOD_SECONDS", 10) {
        for ten in 0..50 {
            for i in 0..10 {
                probe.say(&format!("{:.2}", 45.0 + f64::from(ten * 10 + i) * 1e-3));
                stranger.say(&format!("{{\"schema\":\"stowheat/command/1\",\"id\":{i}"));
            }
            sent += 20;
            let due = Duration::from_secs(second) + Duration::from_millis(20 * (ten as u64 + 1));
            std::thread::sleep(due.saturating_sub(begun.elapsed()));
        }
        if second % 3 == 2 {
            let (from, asked) = (listener.count(), Instant::now());
            let id = format!("f{second}");
            // Of a topic that floods only the newest are kept, so it is said again.
            let heard = (0..30).any(|_| {
                command(port, &id, &json!({"kind": "replan"}));
                let is_it = |m: &crate::party::Heard| m.is("answer") && m.payload.contains(&id);
                listener.within(Duration::from_secs(1), from, is_it).is_some()
            });
            assert!(heard, "no answer in the flood");
            latest = latest.max(asked.elapsed());
        }
    }
    let grown = resident(service.id()).saturating_sub(before);
    report(&format!(
        "{sent} messages in {:?}: slowest answer {latest:?}, memory grew by {grown} kB",
        begun.elapsed()
    ));
    assert!(grown < 32 * 1_024, "{grown} kB");
    assert_eq!(service.stop().0, Some(0));
}
