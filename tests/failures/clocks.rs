//! The time of day is wrong, steps, or stands still.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use crate::broker::Broker;
use crate::party::{Heard, Listener, PROGRAM, Service, always_on, folder, say, site, time};
use crate::{OPEN, fault, report, set_point};

/// A year [s].
const YEAR: i64 = 365 * 86_400;

/// The library of Debian's `faketime`, which shifts the time of an unchanged program.
fn library() -> Option<PathBuf> {
    let folders = ["/usr/lib/x86_64-linux-gnu", "/usr/lib/aarch64-linux-gnu", "/usr/lib"];
    let files = folders.map(|folder| Path::new(folder).join("faketime/libfaketime.so.1"));
    let found = files.into_iter().find(|file| file.exists());
    if found.is_none() {
        report("skipped: libfaketime is not installed");
    }
    found
}

// Failure case 5: a year behind, right, a year ahead, and right again.
#[test]
fn a_clock_that_is_a_year_wrong_and_steps_harms_nobody() {
    let (Some(library), Some(broker)) = (library(), Broker::start("clock", OPEN)) else { return };
    let (port, folder) = (broker.port, folder("clock"));
    let shift = folder.join("shift");
    let set = |text: &str| {
        // Renamed into place, so that no half-written time is ever read.
        let part = folder.join("shift.part");
        std::fs::write(&part, text).expect("the folder is writable");
        std::fs::rename(&part, &shift).expect("the folder is writable");
    };
    let now = || chrono::Utc::now().timestamp();
    // A time from before the program was written, whatever the year of this test.
    let ages = format!("-{}", now() - 1_750_000_000);
    set(&ages);
    let mut command = Command::new(PROGRAM);
    command
        .env("LD_PRELOAD", library)
        .env("FAKETIME_TIMESTAMP_FILE", &shift)
        .env("FAKETIME_NO_CACHE", "1")
        .env("FAKETIME_DONT_FAKE_MONOTONIC", "1");
    let listener = Listener::start(port);
    let text = always_on(&site(port, &folder, "homie = false", ""));
    let service = Service::start_by(command, &folder, &text, &[]);
    listener.after(0, "the fault", |m| fault(m, "unsynchronised"));
    say(port, "house/top", "52");
    // Heat costs less than nothing, and still none is given by price.
    listener.after(0, "a reason", |m| {
        set_point(m, 0) && m.payload.contains("the time of day cannot be trusted")
    });
    assert!(listener.all().iter().all(|m| !set_point(m, 3_000)));

    for offset in [0, YEAR, 0, -3_600, 0] {
        let from = listener.count();
        let steps = || service.log().matches("the time of day stepped").count();
        let before = steps();
        set(&format!("{offset:+}"));
        let end = Instant::now() + Duration::from_secs(30);
        while steps() == before {
            assert!(Instant::now() < end, "a step to {offset} went unnoticed");
            std::thread::sleep(Duration::from_millis(20));
        }
        let begun = now() + offset;
        listener.after(from, "a plan of that time", |m| {
            m.is("plan") && (time(&m.json()["issued_at"]) - begun).abs() < 120
        });
        let heats = |m: &Heard| {
            set_point(m, 3_000) && {
                let document = m.json();
                let (issued, until) =
                    (time(&document["issued_at"]), time(&document["valid_until"]));
                (issued - begun).abs() < 120 && (0..=600).contains(&(until - issued))
            }
        };
        let heard = (0..60).any(|tenth| {
            say(port, "house/top", &format!("52.{}", tenth % 10));
            listener.within(Duration::from_millis(500), from, heats).is_some()
        });
        assert!(heard, "no heat after a step to {offset}\n{}", service.log());
    }
    for message in listener.all().iter().filter(|m| m.topic.ends_with("/set-point")) {
        let document = message.json();
        let lasts = time(&document["valid_until"]) - time(&document["issued_at"]);
        assert!((0..=600).contains(&lasts), "{document}");
    }
    assert_eq!(service.stop().0, Some(0));
}

// Failure cases 5 and 28: the system may take its time over the question whether its
// clock is right. Until it answers the time is not trusted, and nobody waits for it.
#[test]
fn a_system_that_says_nothing_of_its_clock_holds_nothing_up() {
    if Path::new("/run/systemd/timesync/synchronized").exists() {
        report("skipped: this system's clock is known to be right without a question");
        return;
    }
    let Some(broker) = Broker::start("mute-clock", OPEN) else { return };
    let (port, folder) = (broker.port, folder("mute-clock"));
    let programs = folder.join("programs");
    fs::create_dir(&programs).expect("a folder");
    let silent = programs.join("timedatectl");
    fs::write(&silent, "#!/bin/sh\nexec sleep 20\n").expect("the folder is writable");
    fs::set_permissions(&silent, fs::Permissions::from_mode(0o755)).expect("our own file");
    let listener = Listener::start(port);
    let mut command = Command::new(PROGRAM);
    let path = std::env::var("PATH").expect("a shell's own");
    command.env("PATH", format!("{}:{path}", programs.display()));
    let service = Service::start_by(command, &folder, &site(port, &folder, "", ""), &[]);
    listener.after(0, "a plan", |m| m.is("plan"));
    let unsure = |m: &Heard| m.is("health") && m.json()["clock_synchronised"] == false;
    listener.after(0, "that the time is not trusted", unsure);
    let (code, took) = service.stop();
    assert_eq!(code, Some(0));
    assert!(took < Duration::from_secs(5), "{took:?}");
}

// Failure case 31: three hours of an invented clock in twelve seconds of sleep. A
// half-hour lasts two, so that a slow machine makes no burst of its own.
#[test]
fn after_a_sleep_it_plans_at_once_and_repeats_nothing() {
    const RATE: i64 = 900;
    let Some(broker) = Broker::start("sleep", OPEN) else { return };
    let (port, folder) = (broker.port, folder("sleep"));
    let listener = Listener::start(port);
    let arguments = ["--clock-from", "2026-01-15T00:00:00Z", "--clock-rate", "900"];
    let text = site(port, &folder, "homie = false", "");
    let service = Service::start(&folder, &text, &arguments);
    listener.after(0, "a plan", |m| m.is("plan"));
    service.signal("STOP");
    std::thread::sleep(Duration::from_millis(300));
    let before = listener.all();
    let slept = Instant::now();
    std::thread::sleep(Duration::from_secs(12));
    service.signal("CONT");
    let passed = slept.elapsed().as_secs() as i64 * RATE;
    let last = before.iter().rfind(|m| m.is("plan")).expect("a plan").json();
    let last = time(&last["issued_at"]);
    // But for one that was being made, the next plan is of afterwards: each slot that
    // passed in between is left out.
    let of_now = |m: &Heard| m.is("plan") && time(&m.json()["issued_at"]) >= last + passed - RATE;
    listener.after(before.len(), "a plan of now", of_now);
    let stale =
        listener.all()[before.len()..].iter().filter(|m| m.is("plan") && !of_now(m)).count();
    assert!(stale <= 1, "{stale} plans of the time it slept through");
    std::thread::sleep(Duration::from_millis(400));
    let heard = listener.all();
    let plans = heard[before.len()..].iter().filter(|m| m.is("plan")).count();
    assert!(plans <= 6, "{plans} plans in a burst");
    assert_eq!(service.stop().0, Some(0));
}
