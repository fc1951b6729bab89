//! What the service manager is told, and what it can ask for.

use std::os::unix::net::UnixDatagram;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use serde_json::json;
use stowheat::service::supervision::{EXIT_AFTER_PANIC, SOLVER_THREAD, end_on_panic};

use crate::broker::Broker;
use crate::party::{Listener, PROGRAM, Service, always_on, command, folder, held, say, site};
use crate::{OPEN, fault, set_point};

/// Hears what a service tells its manager.
struct Manager {
    path: PathBuf,
    heard: Arc<Mutex<Vec<String>>>,
}

impl Manager {
    fn start(folder: &Path) -> Self {
        let path = folder.join("manager");
        let socket = UnixDatagram::bind(&path).expect("a socket");
        let heard: Arc<Mutex<Vec<String>>> = Arc::default();
        let into = Arc::clone(&heard);
        std::thread::spawn(move || {
            let mut words = [0; 4_096];
            while let Ok(length) = socket.recv(&mut words) {
                let words = String::from_utf8_lossy(&words[..length]).into_owned();
                into.lock().expect("nobody panics here").push(words);
            }
        });
        Self { path, heard }
    }

    fn count(&self) -> usize {
        self.heard.lock().expect("nobody panics here").len()
    }

    /// Waits for words, from this number on.
    fn hears(&self, from: usize, words: &str) -> String {
        let end = Instant::now() + Duration::from_secs(30);
        loop {
            let heard = self.heard.lock().expect("nobody panics here").clone();
            if let Some(found) = heard.iter().skip(from).find(|heard| heard.contains(words)) {
                return found.clone();
            }
            assert!(Instant::now() < end, "not heard in 30 s: {words}\n{heard:?}");
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    fn command(&self) -> Command {
        let mut command = Command::new(PROGRAM);
        command.env("NOTIFY_SOCKET", &self.path).env("WATCHDOG_USEC", "2000000");
        command
    }
}

// Failure cases 28, 30 and 34.
#[test]
fn the_manager_is_told_of_start_life_reload_and_end() {
    let Some(broker) = Broker::start("managed", OPEN) else { return };
    let (port, folder) = (broker.port, folder("managed"));
    let manager = Manager::start(&folder);
    let listener = Listener::start(port);
    let text = site(port, &folder, "", "");
    let service = Service::start_by(manager.command(), &folder, &text, &[]);
    manager.hears(0, "READY=1");
    manager.hears(0, "STATUS=schedule of");
    manager.hears(0, "WATCHDOG=1");
    let from = manager.count();
    manager.hears(from, "WATCHDOG=1");

    // A file that is wrong in two places: both are said, and nothing changes.
    let bad = text.replace("height_fraction = 0.85", "height_fraction = 8.5");
    let bad = bad.replace("start_offset", "start_ofset");
    std::fs::write(folder.join("site.toml"), bad).expect("the folder is writable");
    let (from, said) = (manager.count(), listener.count());
    service.signal("HUP");
    let reloading = manager.hears(from, "RELOADING=1");
    let usec = reloading.split("MONOTONIC_USEC=").nth(1).expect("a time");
    assert!(usec.trim().parse::<u64>().expect("a number") > 0);
    manager.hears(from, "READY=1\nSTATUS=not reloaded");
    let refused = listener.after(said, "the fault", |m| fault(m, "not-reloaded"));
    assert!(refused.payload.contains("start_ofset") && refused.payload.contains("8.5"));
    command(port, "still", &json!({"kind": "replan"}));
    listener.after(said, "an answer", |m| m.is("answer") && m.json()["id"] == "still");
    let boot_of = |from: usize| {
        let online = |m: &crate::party::Heard| m.is("availability") && m.payload.contains("online");
        listener.after(from, "it is there", online).json()["boot_id"].clone()
    };
    let before = boot_of(0);

    // A good one is taken: it never stops being there for long, in one process.
    let good = text.replace("name = \"top\"", "name = \"upper probe\"");
    std::fs::write(folder.join("site.toml"), good).expect("the folder is writable");
    let (from, said) = (manager.count(), listener.count());
    service.signal("HUP");
    manager.hears(from, "RELOADING=1");
    manager.hears(from, "READY=1\nSTATUS=reloaded");
    listener.after(said, "the new name", |m| m.is("health") && m.payload.contains("upper probe"));
    assert_ne!(boot_of(said), before);
    listener.after(said, "a plan", |m| m.is("plan"));

    let from = manager.count();
    let (code, took) = service.stop();
    manager.hears(from, "STOPPING=1");
    assert_eq!(code, Some(0));
    assert!(took < Duration::from_secs(3), "{took:?}");
}

// Failure case 28: in the midst of the first solve, and at any other early moment.
#[test]
fn told_to_stop_it_ends_at_once_whatever_it_does() {
    let Some(broker) = Broker::start("midst", OPEN) else { return };
    let (port, folder) = (broker.port, folder("midst"));
    let listener = Listener::start(port);
    for wait in [60, 90, 150, 300, 600] {
        let from = listener.count();
        let service = Service::start(&folder, &site(port, &folder, "", ""), &[]);
        service.says("starting");
        std::thread::sleep(Duration::from_millis(wait));
        let (code, took) = service.stop();
        assert_eq!(code, Some(0), "after {wait} ms");
        assert!(took < Duration::from_secs(3), "{took:?} after {wait} ms");
        assert!(listener.all()[from..].iter().all(|m| !set_point(m, 3_000)));
    }
}

#[test]
fn in_the_shadow_everything_is_shown_and_nothing_is_switched() {
    let Some(broker) = Broker::start("shadow", OPEN) else { return };
    let (port, folder) = (broker.port, folder("shadow"));
    let listener = Listener::start(port);
    // Both at once, from one site file and one state folder.
    let text = always_on(&site(port, &folder, "", ""));
    let real = Service::start(&folder, &text, &[]);
    let shadow = Service::start(&folder, &text, &["--shadow"]);
    let shown = |m: &crate::party::Heard, below: &str| {
        m.topic == format!("shadow/stowheat/mill-cottage/v1/{below}")
    };
    listener.after(0, "a plan", |m| m.is("plan"));
    listener.after(0, "a plan in the shadow", |m| shown(m, "plan"));
    say(port, "house/top", "30");
    listener.after(0, "heat by the real one", |m| set_point(m, 3_000));
    listener.after(0, "the reading in the shadow", |m| {
        shown(m, "stores/cylinder") && m.json()["measured"] == true
    });
    let from = listener.count();
    let boost = r#"{"schema":"stowheat/command/1","id":"b","action":{"kind":"boost","store":"cylinder","minutes":20}}"#;
    say(port, "shadow/stowheat/mill-cottage/v1/command", boost);
    command(port, "real", &json!({"kind": "replan"}));
    listener.after(from, "an answer", |m| m.is("answer") && m.json()["id"] == "real");
    assert_eq!(shadow.stop().0, Some(0));
    listener.after(from, "the end of the shadow", |m| {
        shown(m, "availability") && m.json()["state"] == "offline"
    });
    assert_eq!(real.stop().0, Some(0));
    let heard = listener.all();
    let of_shadow: Vec<_> = heard.iter().filter(|m| m.topic.starts_with("shadow/")).collect();
    assert!(of_shadow.iter().all(|m| !m.topic.ends_with("/set-point")), "it commanded");
    assert!(of_shadow.iter().all(|m| !m.topic.ends_with("/answer")), "it took a command");
    assert!(!of_shadow.iter().any(|m| m.topic.contains("homie")));
    let tree = held(port).into_iter().find(|(topic, _)| topic == "homie/5/mill-cottage/$state");
    assert_eq!(tree.expect("the real one's tree").1, "disconnected");
}

/// Not a test of its own: the process that panics in the next one.
#[test]
fn process_that_panics() {
    let Ok(name) = std::env::var("STOWHEAT_TEST_PANIC") else { return };
    end_on_panic();
    let thread = std::thread::Builder::new().name(name);
    let thread = thread.spawn(|| panic!("as the test wants")).expect("a thread");
    assert!(thread.join().is_err());
}

// Failure case 29. The solver's own thread catches its panics and says so; any
// other ends the process.
#[test]
fn a_panic_outside_the_solver_ends_the_process() {
    for (name, code) in [(SOLVER_THREAD, 0), ("archive", EXIT_AFTER_PANIC)] {
        let status = Command::new(std::env::current_exe().expect("this test"))
            .args(["supervised::process_that_panics", "--exact"])
            .env("STOWHEAT_TEST_PANIC", name)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .expect("a child");
        assert_eq!(status.code(), Some(code), "{name}");
    }
}
