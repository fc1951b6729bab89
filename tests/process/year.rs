//! A year of half-hours through the unchanged loop of the service, on a clock that is
//! moved when everything of the moment before was said.

use std::collections::HashMap;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use optimiser::judge::Effort;
use optimiser::plan::{Outcome, Planner};
use optimiser::problem::Problem;
use optimiser::time::Instant;
use serde_json::Value;
use stowheat::service::app::{Setup, run};
use stowheat::service::clock::{Clock, Synchronised};
use stowheat::service::link::{BrokerLink, Filter, Link, LinkConfig, LinkEvent, Topic};
use stowheat::service::supervision::{Order, Supervision};
use stowheat::site_file;
use tokio::sync::mpsc::unbounded_channel;

use crate::broker::Broker;

const SITE: &str = include_str!("../../fixtures/sites/mill-cottage.toml");

const SERVICE: &str = r#"
[service]
homie = false
start_offset = false
[[service.input]]
name = "top"
measures = "store-temperature"
height_fraction = 0.85
topic = "house/top"
unit = "°C"
"#;

/// Length of a step of the clock [s]; three readings in a half-hour.
const STEP_S: u32 = 600;

/// A clock that stands until it is moved; the loop looks at it every few milliseconds.
struct Hand(Mutex<(Instant, Duration)>);

impl Hand {
    fn pass(&self, seconds: u32) {
        let mut inner = self.0.lock().expect("nobody panics here");
        inner.0 = inner.0 + i64::from(seconds);
        inner.1 += Duration::from_secs(u64::from(seconds));
    }
}

impl Clock for Hand {
    fn now(&self) -> Instant {
        self.0.lock().expect("nobody panics here").0
    }

    fn elapsed(&self) -> Duration {
        self.0.lock().expect("nobody panics here").1
    }

    fn synchronised(&self) -> Synchronised {
        Synchronised::Yes
    }

    fn pace(&self) -> u32 {
        500
    }
}

/// What the process takes.
#[derive(Debug, Clone, Copy)]
struct Use {
    resident_kb: u64,
    files: usize,
    threads: usize,
    folder_bytes: u64,
}

impl Use {
    fn now(folder: &Path) -> Self {
        let status = std::fs::read_to_string("/proc/self/status").expect("Linux");
        let line = status.lines().find(|line| line.starts_with("VmRSS:")).expect("a line");
        let resident = line.split_whitespace().nth(1).and_then(|kb| kb.parse().ok());
        let count = |path: &str| std::fs::read_dir(path).expect("Linux").count();
        let files = std::fs::read_dir(folder).expect("the folder").map_while(Result::ok);
        Self {
            resident_kb: resident.expect("a number"),
            files: count("/proc/self/fd"),
            threads: count("/proc/self/task"),
            folder_bytes: files.filter_map(|file| Some(file.metadata().ok()?.len())).sum(),
        }
    }
}

fn time(value: &Value) -> i64 {
    let text = value.as_str().expect("a time");
    chrono::DateTime::parse_from_rfc3339(text).expect("RFC 3339").timestamp()
}

/// Kinds of documents that are listened to.
const KINDS: [&str; 2] = ["plan", "health"];

/// Somebody who keeps the latest document of each kind, as any may come first.
struct Ear {
    link: BrokerLink,
    latest: HashMap<&'static str, Value>,
}

impl Ear {
    fn start(port: u16) -> Self {
        let mut config = LinkConfig::new("127.0.0.1", port, "ear");
        let filter = |kind| format!("stowheat/mill-cottage/v1/{kind}");
        config.subscriptions =
            KINDS.iter().map(|kind| Filter::new(filter(kind)).expect("a filter")).collect();
        let link = BrokerLink::start(config.check().expect("settings that work"));
        Self { link, latest: HashMap::new() }
    }

    /// Waits for a document of a kind that is of this time or later.
    async fn document(&mut self, kind: &'static str, since: Instant) -> &Value {
        let is_due = |latest: &HashMap<_, Value>| {
            latest.get(kind).is_some_and(|held| time(&held["issued_at"]) >= since.unix())
        };
        let wait = async {
            while !is_due(&self.latest) {
                let LinkEvent::Message { topic, payload, .. } = self.link.next_event().await else {
                    continue;
                };
                let said = KINDS.iter().find(|kind| topic.ends_with(*kind)).expect("a kind");
                let document = serde_json::from_slice(&payload).expect("JSON");
                self.latest.insert(said, document);
            }
        };
        let limit = Duration::from_mins(2);
        let heard = tokio::time::timeout(limit, wait).await;
        heard.unwrap_or_else(|_| panic!("no {kind} of {since}"));
        &self.latest[kind]
    }
}

/// The water that the schedule expects at the top [°C].
fn expected(plan: &Value, now: Instant) -> f64 {
    let slots = plan["slots"].as_array().expect("slots");
    let slot = slots.iter().find(|slot| time(&slot["end"]) > now.unix()).expect("a slot of now");
    slot["stores"][0]["top_c"].as_f64().expect("a number")
}

/// The planner with next to no simulations: a year asks for 17,520 schedules and more, and
/// what is looked at here is the loop around it.
fn brief(planner: &mut Planner, problem: &Problem) -> Outcome {
    let effort = Effort { rounds: 0, simulations: 10, rolling: false };
    *planner = std::mem::take(planner).with_effort(effort);
    planner.plan(problem)
}

// Failure case 38: two days; a year with STOWHEAT_YEAR_DAYS=365, with shorter searches.
#[tokio::test]
async fn every_half_hour_has_its_plan_and_nothing_grows() {
    let days = std::env::var("STOWHEAT_YEAR_DAYS").ok().and_then(|text| text.parse().ok());
    let half_hours: u32 = days.unwrap_or(2) * 48;
    let Some(broker) = Broker::start("year", "topic readwrite #\n") else { return };
    let folder = std::env::temp_dir().join(format!("stowheat-year-{}-s", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder");
    let text = format!("{SITE}{SERVICE}[service.broker]\nport = {}\n", broker.port);
    let checked = site_file::read(&text, "the site").expect("a site");
    let setup = Setup {
        house: checked.house,
        settings: checked.service.expect("a service"),
        folder: folder.clone(),
        credentials: None,
        tls: None,
        shadow: false,
        program: if half_hours > 96 { brief } else { Planner::plan },
    };
    // 2026-01-01T00:00:00Z.
    let start = Instant::from_unix(1_767_225_600);
    let clock = Arc::new(Hand(Mutex::new((start, Duration::ZERO))));
    let (say, orders) = unbounded_channel();
    let service = run(setup, Arc::<Hand>::clone(&clock), orders, Supervision::none());
    let drive = async {
        let mut ear = Ear::start(broker.port);
        let probe = Topic::new("house/top").expect("a topic");
        let mut plan = ear.document("plan", start).await.clone();
        let mut early = None;
        for half_hour in 0..half_hours {
            for _ in 0..1_800 / STEP_S {
                clock.pass(STEP_S);
                let now = clock.now();
                ear.document("health", now).await;
                // A tenth to and fro, as probes do.
                let wobble = f64::from(half_hour % 2) * 0.1;
                let reading = format!("{:.2}", expected(&plan, now) + wobble);
                ear.link
                    .publish_once(probe.clone(), reading.into_bytes())
                    .expect("it is connected");
            }
            // Each edge has a plan of its own, or this waits for it in vain.
            let edge = start + i64::from(half_hour + 1) * 1_800;
            plan = ear.document("plan", edge).await.clone();
            if half_hour == half_hours / 10 {
                early = Some(Use::now(&folder));
            }
        }
        let _gone = say.send(Order::Stop);
        ear.link.stop().await;
        (early.expect("a tenth"), Use::now(&folder))
    };
    let (outcome, (early, late)) = tokio::join!(service, drive);
    assert!(outcome.is_ok(), "{outcome:?}");
    report(&format!(
        "{half_hours} half-hours, none missed; after a tenth {early:?}, at the end {late:?}"
    ));
    assert!(late.resident_kb < early.resident_kb + 16 * 1_024, "{early:?} {late:?}");
    assert!(late.files <= early.files + 8 && late.threads <= early.threads + 4, "{late:?}");
    // The archive is held at 256 MiB; its log may hold some more.
    assert!(late.folder_bytes < 350 << 20, "{late:?}");
    let _gone = std::fs::remove_dir_all(&folder);
}

#[expect(clippy::print_stdout, reason = "figures are for people")]
fn report(text: &str) {
    println!("{text}");
}
