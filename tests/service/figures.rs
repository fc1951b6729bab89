//! What the running service takes: time, memory, processor. Bounds that hold on a busy
//! machine are asserted; on a quiet one, with the goals and more rounds:
//! `STOWHEAT_LATENCY_ROUNDS=200 STOWHEAT_LATENCY_MS=100 cargo test --release -p stowheat
//! --test service figures -- --nocapture --test-threads 1`.

use std::time::{Duration, Instant};

use serde_json::Value;

use crate::broker::Broker;
use crate::party::{Heard, Listener, Service, Speaker, folder, indexed, prices, site, time};

const OPEN: &str = "topic readwrite #\n";

/// Resident memory that the service may take [KiB].
const MEMORY_KIB: u64 = 40_000;

/// Processor time at rest [% of a core].
const REST_PERCENT: f64 = 0.5;

#[expect(clippy::print_stdout, reason = "figures are for people")]
fn report(text: &str) {
    println!("{text}");
}

fn number(variable: &str, usual: u64) -> u64 {
    std::env::var(variable).ok().and_then(|text| text.parse().ok()).unwrap_or(usual)
}

fn percentile(sorted: &[Duration], share: f64) -> Duration {
    sorted[((sorted.len() - 1) as f64 * share).round() as usize]
}

/// Resident memory [KiB].
fn resident(id: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{id}/status")).expect("it lives");
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).expect("a line");
    line.split_whitespace().nth(1).and_then(|kib| kib.parse().ok()).expect("a number")
}

/// Processor time [ticks of 10 ms].
fn ticks(id: u32) -> u64 {
    let stat = std::fs::read_to_string(format!("/proc/{id}/stat")).expect("it lives");
    let after = stat.rsplit(')').next().expect("a name in brackets");
    // Fields 14 and 15 of proc_pid_stat(5), user and system time; the first here is 3.
    after.split_whitespace().skip(11).take(2).filter_map(|n| n.parse::<u64>().ok()).sum()
}

/// Whether a plan answers an event.
type Answered = Box<dyn Fn(&Value) -> bool>;

#[test]
fn figures_of_latency() {
    let rounds = number("STOWHEAT_LATENCY_ROUNDS", 20) as i64;
    let limit = Duration::from_millis(number("STOWHEAT_LATENCY_MS", 3_000));
    let Some(broker) = Broker::start("latency", OPEN) else { return };
    let (port, folder) = (broker.port, folder("latency"));
    let listener = Listener::start(port);
    let input = "[[service.input]]\nname = \"level\"\nmeasures = \"battery-level\"\n\
                 topic = \"house/battery\"\nunit = \"%\"\n\
                 [battery]\ncapacity_kwh = 20\ncharge_limit_kw = 5\ndischarge_limit_kw = 5\n";
    let text = indexed(&site(port, &folder, "", input));
    let service = Service::start(&folder, &text, &[]);
    let mut market = Speaker::start(port, "prices");
    let mut probe = Speaker::start(port, "house/battery");
    let price = |round: i64| move |i: i64| 70.0 + 40.0 * ((i + round) as f64 * 0.37).sin();
    market.say(&prices(0..60, price(0)));
    probe.say("50");
    crate::party::say(port, "house/top", "45");
    listener.after(0, "a plan", |m| m.is("plan"));
    std::thread::sleep(Duration::from_secs(3));
    // A plan that began before the event says nothing of it, so it is told apart.
    let measure = |what: &str, event: &mut dyn FnMut(i64) -> Answered| {
        let ticks_before = ticks(service.id());
        let mut took: Vec<Duration> = (1..=rounds)
            .map(|round| {
                std::thread::sleep(Duration::from_millis(150));
                let (from, begun) = (listener.count(), Instant::now());
                let answers = event(round);
                let is_it = |m: &Heard| m.is("plan") && answers(&m.json());
                listener.after(from, what, is_it).at - begun
            })
            .collect();
        took.sort_unstable();
        let (median, p99) = (percentile(&took, 0.5), percentile(&took, 0.99));
        // Does not depend on what else runs; everything that an event leads to is in it.
        let used_ms = (ticks(service.id()) - ticks_before) as f64 * 10.0 / rounds as f64;
        report(&format!(
            "{what} -> schedule, {rounds} times: median {median:?}, p99 {p99:?}, \
             {used_ms:.0} ms of processor time each"
        ));
        assert!(p99 <= limit, "{what}: {p99:?}, of all {took:?}");
    };
    let number = |slot: &Value, key: &str| slot[key].as_f64().expect("a number");
    measure("new prices", &mut |round| {
        market.say(&prices(0..60, price(round)));
        // EUR/MWh to minor units per kWh, with the site's factor and VAT.
        let hour = chrono::Utc::now().timestamp().div_euclid(3_600) * 3_600;
        Box::new(move |plan| {
            let slot = &plan["slots"][4];
            let rate = price(round)((time(&slot["start"]) - hour) / 1_800) / 10.0 * 1.2 * 1.09;
            (number(slot, "import_price") - rate).abs() < 0.01
        })
    });
    // Each reading moves the battery by 0.58 kWh, down and up again.
    measure("a reading", &mut |round| {
        let percent = if round % 2 == 0 { 50.0 } else { 52.9 };
        probe.say(&percent.to_string());
        Box::new(move |plan| {
            let slot = &plan["slots"][0];
            let flow = 0.95 * number(slot, "charge_kwh") - number(slot, "discharge_kwh") / 0.95;
            (number(slot, "battery_kwh") - flow - 0.2 * percent).abs() < 0.25
        })
    });
    let resident = resident(service.id());
    report(&format!("memory afterwards: {resident} KiB"));
    assert!(resident <= MEMORY_KIB, "{resident} KiB");
}

#[test]
fn figures_of_rest() {
    let Some(broker) = Broker::start("rest", OPEN) else { return };
    let (port, folder) = (broker.port, folder("rest"));
    let listener = Listener::start(port);
    // Far from the next half-hour, whose plan is no rest.
    let arguments = ["--clock-from", "2026-01-15T05:05:00Z", "--clock-rate", "1"];
    let service = Service::start(&folder, &site(port, &folder, "", ""), &arguments);
    let mut probe = Speaker::start(port, "house/top");
    probe.say("45");
    listener.after(0, "a plan", |m| m.is("plan"));
    // The polish of the first plan is over by then.
    std::thread::sleep(Duration::from_secs(25));
    let (before, begun) = (ticks(service.id()), Instant::now());
    std::thread::sleep(Duration::from_secs(20));
    let used_s = (ticks(service.id()) - before) as f64 / 100.0;
    let share = used_s / begun.elapsed().as_secs_f64() * 100.0;
    report(&format!("at rest: {share:.2} % of a core, {} KiB", resident(service.id())));
    assert!(share <= REST_PERCENT, "{share} % of a core at rest");
}

#[test]
fn figures_of_two_hours() {
    const RATE: &str = "480";
    let Some(broker) = Broker::start("hours", OPEN) else { return };
    let (port, folder) = (broker.port, folder("hours"));
    let listener = Listener::start(port);
    let arguments = ["--clock-from", "2026-01-15T05:00:00Z", "--clock-rate", RATE];
    let service = Service::start(&folder, &site(port, &folder, "", ""), &arguments);
    let mut probe = Speaker::start(port, "house/top");
    for round in 0..75 {
        probe.say(&format!("{:.1}", 45.0 + f64::from(round % 20) * 0.3));
        std::thread::sleep(Duration::from_millis(200));
    }
    let plans = listener.all().iter().filter(|m| m.is("plan")).count();
    let resident = resident(service.id());
    report(&format!("two hours of work ({plans} plans): {resident} KiB"));
    assert!(plans >= 4, "{plans}");
    assert!(resident <= MEMORY_KIB, "{resident} KiB");
}
