//! Figures of the running service; not tests. Run them on a quiet machine:
//! `cargo test --release -p stowheat --test service -- --ignored --nocapture figures`.

use std::time::{Duration, Instant};

use crate::broker::Broker;
use crate::party::{Heard, Listener, Service, Speaker, folder, indexed, prices, site};

const OPEN: &str = "topic readwrite #\n";

#[expect(clippy::print_stdout, reason = "figures are for people")]
fn report(text: &str) {
    println!("{text}");
}

fn percentile(sorted: &[Duration], share: f64) -> f64 {
    sorted[((sorted.len() - 1) as f64 * share).round() as usize].as_secs_f64() * 1e3
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
    let fields: Vec<&str> = after.split_whitespace().collect();
    // Fields 14 and 15 of proc_pid_stat(5), user and system time; the first here is 3.
    let number = |index: usize| fields[index].parse::<u64>().expect("a number");
    number(11) + number(12)
}

#[test]
#[ignore = "figures, not a test"]
fn figures_of_latency() {
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
    let measure = |what: &str, mut event: Box<dyn FnMut(i64) + '_>| {
        let mut took: Vec<Duration> = (1..=200)
            .map(|round| {
                std::thread::sleep(Duration::from_millis(150));
                let (from, begun) = (listener.count(), Instant::now());
                event(round);
                listener.after(from, "a plan", |m: &Heard| m.is("plan")).at - begun
            })
            .collect();
        took.sort_unstable();
        let (median, p99) = (percentile(&took, 0.5), percentile(&took, 0.99));
        report(&format!(
            "{what} -> schedule on the wire, 200 times: median {median:.1} ms, p99 {p99:.1} ms"
        ));
    };
    measure("new prices", Box::new(|round| market.say(&prices(0..60, price(round)))));
    // Each reading moves the battery by 0.58 kWh, down and up again.
    measure("a reading", Box::new(|round| probe.say(if round % 2 == 0 { "50" } else { "52.9" })));
    report(&format!("resident memory afterwards: {:.1} MB", resident(service.id()) as f64 / 1e3));
}

#[test]
#[ignore = "figures, not a test"]
fn figures_of_rest() {
    let Some(broker) = Broker::start("rest", OPEN) else { return };
    let (port, folder) = (broker.port, folder("rest"));
    let listener = Listener::start(port);
    let service = Service::start(&folder, &site(port, &folder, "", ""), &[]);
    let mut probe = Speaker::start(port, "house/top");
    probe.say("45");
    listener.after(0, "a plan", |m| m.is("plan"));
    // The polish of the first plan is over by then.
    std::thread::sleep(Duration::from_secs(25));
    let before = ticks(service.id());
    std::thread::sleep(Duration::from_mins(1));
    let share = (ticks(service.id()) - before) as f64 / 100.0 / 60.0 * 100.0;
    report(&format!(
        "idle for 60 s: {share:.2} % of a core, {:.1} MB",
        resident(service.id()) as f64 / 1e3
    ));
}

#[test]
#[ignore = "figures, not a test"]
fn figures_of_an_hour() {
    let Some(broker) = Broker::start("hour", OPEN) else { return };
    let (port, folder) = (broker.port, folder("hour"));
    let listener = Listener::start(port);
    let arguments = ["--clock-from", "2026-01-15T05:00:00Z", "--clock-rate", "60"];
    let service = Service::start(&folder, &site(port, &folder, "", ""), &arguments);
    let mut probe = Speaker::start(port, "house/top");
    for second in 0..60 {
        probe.say(&format!("{:.1}", 45.0 + f64::from(second % 20) * 0.3));
        std::thread::sleep(Duration::from_secs(1));
    }
    let plans = listener.all().iter().filter(|m| m.is("plan")).count();
    report(&format!(
        "an hour of work ({plans} plans): {:.1} MB resident",
        resident(service.id()) as f64 / 1e3
    ));
}
