//! The broker, the network or the names go away.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use stowheat::service::seed::Dice;

use crate::broker::Broker;
use crate::party::{
    Heard, Listener, Service, always_on, command, folder, held, say_until, site, time,
};
use crate::{OPEN, count, report, set_point};

/// Recovery after the return of the broker that is aimed at is 10 s; a slow machine
/// may take longer, a livelock takes for ever.
const RECOVERY_LIMIT: Duration = Duration::from_secs(30);

fn fresh(message: &Heard, since: i64) -> bool {
    message.is("health") && time(&message.json()["issued_at"]) >= since
}

// Failure case 7: at any moment of its work.
#[test]
fn a_hundred_restarts_of_the_broker_lose_nothing() {
    let rounds = count("STOWHEAT_BROKER_RESTARTS", 100).div_ceil(10);
    let threads: Vec<_> =
        (0..10).map(|number| std::thread::spawn(move || restarts(number, rounds))).collect();
    let took: Vec<_> = threads.into_iter().filter_map(|t| t.join().expect("it holds")).collect();
    if let Some(worst) = took.iter().max() {
        report(&format!("{} restarts of a broker; longest recovery {worst:?}", 10 * rounds));
    }
}

/// The longest recovery.
fn restarts(number: u64, rounds: u64) -> Option<Duration> {
    let name = format!("restarts-{number}");
    let mut broker = Broker::start(&name, OPEN)?;
    let (port, folder) = (broker.port, folder(&name));
    let service = Service::start(&folder, &site(port, &folder, "homie = false", ""), &[]);
    let mut dice = Dice::new(number);
    let mut longest = Duration::ZERO;
    for round in 0..rounds {
        std::thread::sleep(Duration::from_millis(dice.roll() % 700));
        broker.kill();
        std::thread::sleep(Duration::from_millis(dice.roll() % 300));
        // Documents are in whole seconds; what is of this second is of afterwards.
        let since = chrono::Utc::now().timestamp();
        broker.run();
        let back = Instant::now();
        let listener = Listener::start(port);
        listener
            .within(RECOVERY_LIMIT, 0, |m| fresh(m, since))
            .unwrap_or_else(|| panic!("{name}, round {round}: lost\n{}", service.log()));
        longest = longest.max(back.elapsed());
        // What it holds is what the service has: the answer follows the plan.
        let from = listener.count();
        command(port, &format!("r{round}"), &json!({"kind": "replan"}));
        let plan = listener.after(from, "a plan", |m| m.is("plan")).json();
        if round + 1 == rounds {
            let kept = held(port);
            let of = |tail: &str| kept.iter().filter(|(t, _)| t.ends_with(tail)).count();
            assert_eq!((of("/v1/plan"), of("/set-point"), of("/answer")), (1, 0, 0));
            let (_, kept) = kept.iter().find(|(t, _)| t.ends_with("/v1/plan")).expect("counted");
            let kept: Value = serde_json::from_str(kept).expect("JSON");
            assert_eq!(kept["boot_id"], plan["boot_id"]);
            assert!(kept["seq"].as_u64() >= plan["seq"].as_u64(), "{kept}");
        }
    }
    Some(longest)
}

// Failure case 6: a simulated day in a third of a minute.
#[test]
fn after_a_day_without_a_broker_everything_is_of_now() {
    const RATE: i64 = 1_800;
    let Some(mut broker) = Broker::start("day", OPEN) else { return };
    let (port, folder) = (broker.port, folder("day"));
    let begun = Instant::now();
    let start = 1_768_435_200; // 2026-01-15T00:00:00Z
    let arguments = ["--clock-from", "2026-01-15T00:00:00Z", "--clock-rate", "1800"];
    let text = always_on(&site(port, &folder, "homie = false", ""));
    let service = Service::start(&folder, &text, &arguments);
    let listener = Listener::start(port);
    listener.after(0, "a plan", |m| m.is("plan"));
    say_until(port, ("house/top", "30"), &listener, "heat", |m| set_point(m, 3_000));
    drop(listener);
    broker.kill();
    std::thread::sleep(Duration::from_secs(48));
    // The invented clock began at the latest now, and at the earliest before the start.
    let earliest_now = start + (begun.elapsed().as_secs() as i64 - 10) * RATE;
    let latest_now = |begun: Instant| start + (begun.elapsed().as_secs() as i64 + 1) * RATE;
    broker.run();
    let listener = Listener::start(port);
    let plan = listener.within(RECOVERY_LIMIT, 0, |m| m.is("plan")).expect("a plan").json();
    assert!(time(&plan["issued_at"]) > earliest_now - 1_800, "{}", plan["issued_at"]);
    // A reading of now is listened to again; without one nothing was heated.
    say_until(port, ("house/top", "31"), &listener, "heat", |m| set_point(m, 3_000));
    for message in listener.all().iter().filter(|m| m.topic.ends_with("/set-point")) {
        let document = message.json();
        let issued = time(&document["issued_at"]);
        assert!(issued > earliest_now && issued <= latest_now(begun), "a backlog: {document}");
        assert!(time(&document["valid_until"]) - issued <= 600, "{document}");
    }
    assert_eq!(service.stop().0, Some(0));
}

/// Stands between service and broker, and can stop passing on without a word.
struct Proxy {
    port: u16,
    passes: Arc<AtomicBool>,
}

impl Proxy {
    fn start(to: u16) -> Self {
        let socket = TcpListener::bind("127.0.0.1:0").expect("a port");
        let port = socket.local_addr().expect("an address").port();
        let passes = Arc::new(AtomicBool::new(true));
        let of_all = Arc::clone(&passes);
        std::thread::spawn(move || {
            for near in socket.incoming().map_while(Result::ok) {
                let Ok(far) = TcpStream::connect(("127.0.0.1", to)) else { continue };
                for (from, into) in [(&near, &far), (&far, &near)] {
                    let (from, into) = (from.try_clone(), into.try_clone());
                    let (from, into) = (from.expect("a socket"), into.expect("a socket"));
                    let passes = Arc::clone(&of_all);
                    std::thread::spawn(move || pump(from, into, &passes));
                }
            }
        });
        Self { port, passes }
    }
}

/// A connection through which nothing passed once never lives again.
fn pump(mut from: TcpStream, mut into: TcpStream, passes: &AtomicBool) {
    let mut bytes = [0; 4_096];
    let mut alive = true;
    while let Ok(length) = from.read(&mut bytes) {
        alive &= passes.load(Ordering::Relaxed);
        if !alive {
            // Not even the end is passed on.
            std::mem::forget((from, into));
            return;
        }
        if length == 0 {
            break;
        }
        if into.write_all(&bytes[..length]).is_err() {
            break;
        }
    }
    let _closed = into.shutdown(std::net::Shutdown::Both);
}

// Failure case 32.
#[test]
fn a_peer_that_falls_silent_is_noticed() {
    let Some(broker) = Broker::start("silent", OPEN) else { return };
    let (port, folder) = (broker.port, folder("silent"));
    let proxy = Proxy::start(port);
    let listener = Listener::start(port);
    let service = Service::start(&folder, &site(proxy.port, &folder, "", ""), &[]);
    listener.after(0, "a plan", |m| m.is("plan"));
    proxy.passes.store(false, Ordering::Relaxed);
    let begun = Instant::now();
    service.says("the broker gave no sign of life");
    let noticed = begun.elapsed();
    assert!(noticed <= Duration::from_secs(40), "{noticed:?}");
    // The greeting of the next attempt is swallowed as well, until this.
    let (since, from) = (chrono::Utc::now().timestamp(), listener.count());
    proxy.passes.store(true, Ordering::Relaxed);
    let back = Instant::now();
    listener.within(RECOVERY_LIMIT, from, |m| fresh(m, since)).expect("it comes back");
    report(&format!(
        "a silent peer was noticed after {noticed:?}, and back after {:?}",
        back.elapsed()
    ));
}

/// Processor time [ticks of 10 ms].
fn ticks(id: u32) -> u64 {
    let stat = std::fs::read_to_string(format!("/proc/{id}/stat")).expect("it lives");
    let after = stat.rsplit(')').next().expect("a name in brackets");
    // Fields 14 and 15 of proc_pid_stat(5), user and system time; the first here is 3.
    after.split_whitespace().skip(11).take(2).filter_map(|n| n.parse::<u64>().ok()).sum()
}

// Failure case 33: ten seconds of it, an hour with STOWHEAT_NAMELESS_SECONDS=3600; the
// spacing of attempts and lines over an hour is tested in `link/pace.rs` as well.
#[test]
fn without_names_it_is_quiet_and_cheap() {
    let folder = folder("names");
    // RFC 6761, section 6.4: this name never resolves.
    let text = site(1_883, &folder, "homie = false", "")
        .replace("[service.broker]\n", "[service.broker]\nhost = \"broker.invalid\"\n");
    let service = Service::start(&folder, &text, &[]);
    service.says("no connection to the broker");
    // The first plans are made and polished by then.
    std::thread::sleep(Duration::from_secs(20));
    let before = ticks(service.id());
    let seconds = count("STOWHEAT_NAMELESS_SECONDS", 10);
    std::thread::sleep(Duration::from_secs(seconds));
    let used = ticks(service.id()) - before;
    assert!(used <= 2 * seconds, "{used} ticks in {seconds} s are more than 2 % of a core");
    let lines = service.log().matches("no connection to the broker").count() as u64;
    assert!(lines <= 3 + seconds / 60, "one a minute for each cause:\n{}", service.log());
    report(&format!("{seconds} s without names: {used} ticks of 10 ms, {lines} lines"));
    assert_eq!(service.stop().0, Some(0));
}
