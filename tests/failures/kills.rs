//! Killed without warning, at any moment of its work.

use std::time::{Duration, Instant};

use serde_json::Value;
use stowheat::service::seed::Dice;

use crate::broker::Broker;
use crate::party::{Listener, Service, Speaker, always_on, folder, held, site, time};
use crate::{OPEN, count, report, set_point};

const THREADS: u64 = 4;

// Failure cases 1, 11 in part, and 28: 500 times, more with STOWHEAT_KILLS=10000.
#[test]
fn whenever_it_is_killed_nothing_goes_on_heating_and_it_starts_again() {
    let kills = count("STOWHEAT_KILLS", 500).div_ceil(THREADS);
    let threads: Vec<_> =
        (0..THREADS).map(|number| std::thread::spawn(move || killed(number, kills))).collect();
    let heated: u64 = threads
        .into_iter()
        .map(|t| t.join().unwrap_or_else(|cause| std::panic::resume_unwind(cause)))
        .sum();
    report(&format!("{} kills survived, {heated} of them while it heated", THREADS * kills));
}

/// How often it was heating when it was killed.
fn killed(number: u64, kills: u64) -> u64 {
    let name = format!("kills-{number}");
    let Some(broker) = Broker::start(&name, OPEN) else { return 0 };
    let (port, folder) = (broker.port, folder(&name));
    let text = always_on(&site(port, &folder, "", ""));
    let mut dice = Dice::new(number);
    let mut probe = Speaker::start(port, "house/top");
    let mut person = Speaker::start(port, "stowheat/mill-cottage/v1/command");
    let mut heated = 0;
    for round in 0..kills {
        let listener = (round % 20 == 0).then(|| Listener::start(port));
        let mut service = Service::start(&folder, &text, &[]);
        // Long enough, now and then, for the archive to be written: it gathers 2 s.
        let lives = if round % 20 == 0 { 2_000 + dice.roll() % 1_000 } else { dice.roll() % 450 };
        let end = Instant::now() + Duration::from_millis(lives);
        while Instant::now() < end {
            probe.say(&format!("{:.1}", 30.0 + (dice.roll() % 10) as f64 * 0.1));
            if dice.roll().is_multiple_of(8) {
                person.say(&boost(round, dice.roll()));
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let log = service.log();
        heated += u64::from(log.contains("power_w=3000"));
        for bad in ["panic", "set aside", "damaged", "without a memory"] {
            assert!(!log.contains(bad), "{name}, round {round}: {bad}\n{log}");
        }
        if round % 10 == 9 {
            let begun = Instant::now();
            service.signal("TERM");
            let code = service.wait();
            assert!(begun.elapsed() < Duration::from_secs(5), "{:?}", begun.elapsed());
            // Before its handlers stand, the signal itself ends it.
            let log = service.log();
            assert!(code == Some(0) || !log.contains("stopping"), "{code:?}\n{log}");
        } else {
            service.kill();
        }
        if let Some(listener) = listener {
            for message in listener.all().iter().filter(|m| set_point(m, 3_000)) {
                let document = message.json();
                let lasts = time(&document["valid_until"]) - time(&document["issued_at"]);
                assert!((0..=600).contains(&lasts), "{document}");
            }
            let kept = held(port);
            assert!(kept.iter().all(|(topic, _)| !topic.ends_with("/set-point")), "{kept:?}");
            for (topic, payload) in kept.iter().filter(|(t, _)| t.contains("/v1/")) {
                assert!(serde_json::from_str::<Value>(payload).is_ok(), "{topic}: {payload}");
            }
        }
    }
    let listener = Listener::start(port);
    let from = listener.count();
    let service = Service::start(&folder, &text, &[]);
    listener.after(from, "a plan after all that", |m| m.is("plan"));
    assert_eq!(service.stop().0, Some(0));
    let files = std::fs::read_dir(&folder).expect("a folder").map_while(Result::ok);
    let mut names = files.map(|file| file.file_name().to_string_lossy().into_owned());
    assert!(names.all(|name| !name.contains("set-aside")), "an archive was given up");
    heated
}

fn boost(round: u64, dice: u64) -> String {
    format!(
        "{{\"schema\":\"stowheat/command/1\",\"id\":\"k{round}-{dice}\",\
         \"action\":{{\"kind\":\"boost\",\"store\":\"cylinder\",\"minutes\":20}}}}"
    )
}
