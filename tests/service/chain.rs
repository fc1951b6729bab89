//! The chain of what stands in when the program gives no plan, in a service of this
//! process whose program fails as the test wants.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicI64, AtomicU8, Ordering};
use std::time::{Duration, Instant as Moment};

use optimiser::plan::{Outcome, Planner};
use optimiser::problem::Problem;
use optimiser::time::Instant;
use serde_json::json;
use stowheat::service::app::{Setup, run};
use stowheat::service::clock::{Clock, Synchronised, SystemClock};
use stowheat::service::planning::Program;
use stowheat::service::supervision::{Order, Supervision};
use stowheat::site_file;
use tokio::sync::mpsc::{UnboundedSender, unbounded_channel};

use crate::broker::Broker;
use crate::party::{Heard, Listener, command, folder, say, site};

const OPEN: &str = "topic readwrite #\n";

/// The system's clock, moved on by hand.
struct Moved {
    system: SystemClock,
    ahead_s: AtomicI64,
    trusted: AtomicBool,
}

impl Moved {
    fn pass(&self, seconds: i64) {
        self.ahead_s.fetch_add(seconds, Ordering::Relaxed);
    }
}

impl Clock for Moved {
    fn now(&self) -> Instant {
        self.system.now() + self.ahead_s.load(Ordering::Relaxed)
    }

    fn elapsed(&self) -> Duration {
        let ahead = self.ahead_s.load(Ordering::Relaxed);
        self.system.elapsed() + Duration::from_secs(ahead.unsigned_abs())
    }

    fn synchronised(&self) -> Synchronised {
        if self.trusted.load(Ordering::Relaxed) { Synchronised::Yes } else { Synchronised::No }
    }
}

/// A service in this process.
struct Inside {
    listener: Listener,
    port: u16,
    clock: Arc<Moved>,
    orders: UnboundedSender<Order<Setup>>,
    thread: std::thread::JoinHandle<()>,
    _broker: Broker,
}

impl Inside {
    fn start(name: &str, program: Program, trusted: bool) -> Option<Self> {
        let broker = Broker::start(name, OPEN)?;
        let (port, folder) = (broker.port, folder(name));
        let text = site(port, &folder, "homie = false", "");
        let checked = site_file::read(&text, "the site").expect("a site");
        let setup = Setup {
            house: checked.house,
            settings: checked.service.expect("a service"),
            folder,
            credentials: None,
            tls: None,
            shadow: false,
            program,
        };
        let listener = Listener::start(port);
        let clock = Arc::new(Moved {
            system: SystemClock::start(),
            ahead_s: AtomicI64::new(0),
            trusted: AtomicBool::new(trusted),
        });
        let (orders, ordered) = unbounded_channel();
        let own = Arc::<Moved>::clone(&clock);
        let thread = std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
            let runtime = runtime.expect("a runtime");
            runtime.block_on(run(setup, own, ordered, Supervision::none())).expect("it runs");
        });
        Some(Self { listener, port, clock, orders, thread, _broker: broker })
    }

    fn replan(&self, id: &str) {
        command(self.port, id, &json!({"kind": "replan"}));
    }

    /// Waits for a plan of this status.
    fn status(&self, from: usize, status: &str) -> Heard {
        let is_it = |m: &Heard| m.is("plan") && m.json()["status"] == status;
        self.listener.after(from, &format!("a plan that is `{status}`"), is_it)
    }

    /// Waits until no plan has come for a while: of two in a row only the later is sent.
    fn rest(&self) {
        let plans = || self.listener.all().iter().filter(|m| m.is("plan")).count();
        let is_quiet = |_: &i32| {
            let before = plans();
            std::thread::sleep(Duration::from_secs(3));
            plans() == before
        };
        assert!((0..20).find(is_quiet).is_some(), "plans come without an end");
    }

    fn fault(&self, from: usize, words: &str) {
        self.listener.after(from, words, |m| m.is("faults") && m.payload.contains(words));
    }

    fn stop(self) {
        let _gone = self.orders.send(Order::Stop);
        self.thread.join().expect("it stops by itself");
    }
}

static FAILING: AtomicU8 = AtomicU8::new(0);

fn failing(planner: &mut Planner, problem: &Problem) -> Outcome {
    match FAILING.load(Ordering::Relaxed) {
        0 => planner.plan(problem),
        1 => Outcome::Failed("as the test wants".to_owned()),
        _ => panic!("as the test wants"),
    }
}

#[test]
fn a_program_that_fails_is_stood_in_for_until_it_works_again() {
    let Some(inside) = Inside::start("chain", failing, true) else { return };
    let set = |kind| FAILING.store(kind, Ordering::Relaxed);
    let listener = &inside.listener;
    say(inside.port, "house/top", "45");
    inside.status(0, "optimal");
    inside.rest();

    set(1);
    let from = listener.count();
    inside.replan("1");
    let kept = inside.status(from, "previous").json();
    let heard = listener.all();
    let is_last = |m: &&Heard| m.is("plan") && m.json()["status"] == "optimal";
    let last = heard.iter().rfind(is_last).expect("a plan").json();
    assert_eq!((&kept["slots"], &kept["issued_at"]), (&last["slots"], &last["issued_at"]));
    inside.fault(from, "as the test wants");
    listener.after(from, "its rung", |m| m.is("health") && m.json()["schedule"] == "previous");

    // It is not acted on beyond its end.
    let from = listener.count();
    inside.clock.pass(6 * 3_600 + 60);
    let by_rule = inside.status(from, "rule").json();
    assert!(by_rule["slots"].as_array().is_some_and(|slots| slots.len() > 48));
    inside.fault(from, "planned by rule, because");

    set(2);
    let from = listener.count();
    inside.replan("2");
    inside.status(from, "rule");
    inside.fault(from, "the planner panicked: as the test wants");

    set(0);
    let from = listener.count();
    inside.replan("3");
    inside.status(from, "optimal");
    listener.after(from, "good news", |m| m.is("faults") && !m.payload.contains("planner"));
    inside.stop();
}

static HANGING: AtomicU8 = AtomicU8::new(0);

fn hanging(planner: &mut Planner, problem: &Problem) -> Outcome {
    if HANGING.load(Ordering::Relaxed) == 1 {
        // Longer than the test lives; nobody waits for this thread.
        std::thread::sleep(Duration::from_mins(10));
    }
    planner.plan(problem)
}

// Failure case 8: a schedule stands in within 30 s, by a clock that nobody can set.
#[test]
fn a_solver_that_hangs_is_left_behind_after_20_s() {
    let Some(inside) = Inside::start("hanging", hanging, true) else { return };
    let listener = &inside.listener;
    inside.status(0, "optimal");
    for (ahead_s, stands_in) in [(0, "previous"), (7 * 3_600, "rule")] {
        HANGING.store(1, Ordering::Relaxed);
        let (from, begun) = (listener.count(), Moment::now());
        inside.clock.pass(ahead_s);
        inside.replan(stands_in);
        inside.status(from, stands_in);
        let took = begun.elapsed();
        assert!((19..30).contains(&took.as_secs()), "{stands_in} after {took:?}");
        inside.fault(from, "did not answer in time");
        // What is told last of its health says so too, as soon as it is told again.
        let stands =
            |m: &Heard| ["previous", "rule"].iter().any(|own| m.json()["schedule"] == *own);
        while !listener.all().iter().rfind(|m| m.is("health")).is_some_and(stands) {
            assert!(
                begun.elapsed().as_secs() < 60,
                "its health does not say that {stands_in} stands in"
            );
            std::thread::sleep(Duration::from_millis(10));
        }
    }
    // A new thread answers as soon as the program does.
    HANGING.store(0, Ordering::Relaxed);
    let from = listener.count();
    inside.replan("again");
    inside.status(from, "optimal");
    inside.stop();
}

// The last rung: no schedule is believed while the time of day is not.
#[test]
fn without_the_time_of_day_water_is_kept_just_useful() {
    let Some(inside) = Inside::start("comfort", Planner::plan, false) else { return };
    let listener = &inside.listener;
    let told = |from: usize, celsius: &str, power_w: u32| {
        say(inside.port, "house/top", celsius);
        listener.after(from, celsius, |m| {
            m.is("heaters/cylinder/immersion/set-point")
                && m.json()["power_w"] == power_w
                && m.payload.contains("the time of day cannot be trusted")
        })
    };
    inside.fault(0, "unsynchronised");
    let on = told(0, "36", 3_000);
    assert!(on.payload.contains("comfort minimum"), "{}", on.payload);
    // As fast as water may warm.
    inside.clock.pass(840);
    let from = listener.count();
    told(from, "46", 0);
    inside.stop();
}
