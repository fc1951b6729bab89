//! Those who take part: the service, a listener, a speaker.

use std::fs::{self, File};
use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use chrono::{DateTime, TimeDelta, Timelike as _, Utc};
use chrono_tz::{Europe::Dublin, Tz};
use serde_json::Value;

/// The program under test.
pub(crate) const PROGRAM: &str = env!("CARGO_BIN_EXE_stowheat");

/// First levels of the service's own topics.
pub(crate) const PREFIX: &str = "stowheat/mill-cottage";

const SITE: &str = include_str!("../../fixtures/sites/mill-cottage.toml");

/// The small site with a service; `more` adds to `[service]`, `tables` comes last.
pub(crate) fn site(port: u16, folder: &std::path::Path, more: &str, tables: &str) -> String {
    format!(
        "{SITE}\n[service]\nstate_folder = \"{}\"\nstart_offset = false\n{more}\n\
         [service.broker]\nport = {port}\n\
         [[service.input]]\nname = \"top\"\nmeasures = \"store-temperature\"\n\
         height_fraction = 0.85\ntopic = \"house/top\"\nunit = \"°C\"\n{tables}\n",
        folder.display()
    )
}

/// The site with something else in place of its bands.
fn with_rates(site: &str, rates: &str) -> String {
    let begin = site.find("bands = [").expect("the bands");
    let end = site[begin..].find("\n]\n").expect("their end") + begin + 3;
    format!("{}{rates}{}", &site[..begin], &site[end..])
}

/// The same site with a tariff that follows prices from a topic.
pub(crate) fn indexed(site: &str) -> String {
    let table = "[service.prices]\ntopic = \"prices\"\nform = \"json\"\nunit = \"EUR/MWh\"\n\
                 start_pointer = \"/start\"\nvalue_pointer = \"/price\"\n";
    with_rates(site, "factor = 1.2\nvat_percent = 9\n") + table
}

/// The same site paid for use in the hours around this one and no others, with a store
/// too large to be filled in them: whatever the time of day, no later slot of theirs can
/// stand in for the present one, and the element is on whenever it may be.
pub(crate) fn always_on(site: &str) -> String {
    let now = Utc::now().with_timezone(&Dublin);
    let (from, until) =
        (bound(now - TimeDelta::hours(2)), bound(now + TimeDelta::minutes(2 * 60 + 30)));
    let rates = format!(
        "bands = [\n{{ from = \"{from}\", until = \"{until}\", rate_minor_per_kwh = -20 }},\n\
         {{ from = \"{until}\", until = \"{from}\", rate_minor_per_kwh = 40 }},\n]\n"
    );
    let (usual, large) = ("volume_litres = 150", "volume_litres = 400");
    assert!(site.contains(usual), "the store's volume is {usual}");
    with_rates(&site.replace(usual, large), &rates)
}

/// The half-hour that an instant is in, as a bound of a band.
fn bound(time: DateTime<Tz>) -> String {
    format!("{:02}:{:02}", time.hour(), time.minute() / 30 * 30)
}

/// A folder of the test.
pub(crate) fn folder(name: &str) -> PathBuf {
    let path = std::env::temp_dir().join(format!("stowheat-{name}-{}-s", std::process::id()));
    let _none = fs::remove_dir_all(&path);
    fs::create_dir_all(&path).expect("a folder");
    path
}

/// A running service.
pub(crate) struct Service {
    child: Child,
    log: PathBuf,
}

impl Service {
    /// Starts the program on a site file.
    pub(crate) fn start(folder: &std::path::Path, site: &str, arguments: &[&str]) -> Self {
        Self::start_by(Command::new(PROGRAM), folder, site, arguments)
    }

    /// Starts it by a command that ends with the program, such as one that sets
    /// limits or variables first.
    pub(crate) fn start_by(
        mut command: Command,
        folder: &std::path::Path,
        site: &str,
        arguments: &[&str],
    ) -> Self {
        let file = folder.join("site.toml");
        fs::write(&file, site).expect("the folder is writable");
        let log = folder.join(format!("log-{}", fs::read_dir(folder).expect("a folder").count()));
        let child = command
            .arg("run")
            .arg(&file)
            .args(arguments)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(File::create(&log).expect("the folder is writable"))
            .spawn()
            .expect("the program starts");
        Self { child, log }
    }

    pub(crate) fn log(&self) -> String {
        fs::read_to_string(&self.log).unwrap_or_default()
    }

    pub(crate) fn id(&self) -> u32 {
        self.child.id()
    }

    /// Sends SIGTERM; returns the exit code and how long it took.
    pub(crate) fn stop(mut self) -> (Option<i32>, Duration) {
        let begun = Instant::now();
        self.signal("TERM");
        (self.wait(), begun.elapsed())
    }

    /// Sends a signal.
    pub(crate) fn signal(&self, name: &str) {
        let id = self.child.id().to_string();
        let sent = Command::new("kill").args([&format!("-{name}"), &id]).status();
        assert!(sent.expect("kill is there").success());
    }

    /// Waits until the log has these words.
    pub(crate) fn says(&self, words: &str) {
        let end = Instant::now() + Duration::from_mins(1);
        while !self.log().contains(words) {
            assert!(Instant::now() < end, "not said in 60 s: {words}\n{}", self.log());
            let is_alive = fs::read_to_string(format!("/proc/{}/stat", self.id()));
            let is_alive = is_alive.is_ok_and(|stat| !stat.contains(") Z"));
            assert!(is_alive, "it ended: {words}\n{}", self.log());
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// Waits for the end by itself.
    pub(crate) fn wait(&mut self) -> Option<i32> {
        let end = Instant::now() + Duration::from_secs(15);
        loop {
            if let Some(status) = self.child.try_wait().expect("our own child") {
                return status.code();
            }
            assert!(Instant::now() < end, "the program does not end:\n{}", self.log());
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// Ends it without warning.
    pub(crate) fn kill(mut self) {
        self.child.kill().expect("our own child");
        self.child.wait().expect("our own child");
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        let _ended = self.child.kill();
        let _ended = self.child.wait();
    }
}

/// A message on the wire.
#[derive(Debug, Clone)]
pub(crate) struct Heard {
    pub(crate) topic: String,
    pub(crate) payload: String,
    pub(crate) at: Instant,
}

impl Heard {
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.payload).unwrap_or_else(|e| panic!("{e}: {}", self.payload))
    }

    pub(crate) fn is(&self, below: &str) -> bool {
        self.topic.strip_prefix(PREFIX).is_some_and(|rest| rest == format!("/v1/{below}"))
    }
}

/// Somebody who hears everything.
pub(crate) struct Listener {
    child: Child,
    heard: Arc<Mutex<Vec<Heard>>>,
}

impl Listener {
    /// Listens from now on; on a busy machine a client now and then does not get there.
    pub(crate) fn start(port: u16) -> Self {
        (0..3).find_map(|_| Self::attempt(port)).expect("a listener hears itself")
    }

    fn attempt(port: u16) -> Option<Self> {
        let mut child = Command::new("mosquitto_sub")
            .args(["-p", &port.to_string(), "-t", "#", "-F", "%t %p", "-q", "1"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("mosquitto's clients are installed");
        let heard: Arc<Mutex<Vec<Heard>>> = Arc::default();
        let (into, pipe) = (Arc::clone(&heard), child.stdout.take().expect("piped"));
        std::thread::spawn(move || {
            for line in BufReader::new(pipe).lines().map_while(Result::ok) {
                let (topic, payload) = line.split_once(' ').unwrap_or((&line, ""));
                let (topic, payload) = (topic.to_owned(), payload.to_owned());
                let message = Heard { topic, payload, at: Instant::now() };
                into.lock().unwrap_or_else(PoisonError::into_inner).push(message);
            }
        });
        let listener = Self { child, heard };
        // It listens once it hears itself.
        let end = Instant::now() + Duration::from_secs(10);
        while listener.all().iter().all(|heard| heard.topic != "test/ready") {
            if Instant::now() >= end {
                return None;
            }
            // A word that is lost is said again.
            let _said = publish(port, "test/ready", "1");
        }
        Some(listener)
    }

    pub(crate) fn all(&self) -> Vec<Heard> {
        self.heard.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    pub(crate) fn count(&self) -> usize {
        self.heard.lock().unwrap_or_else(PoisonError::into_inner).len()
    }

    /// Waits for a message, from the one of this number on.
    pub(crate) fn after(&self, from: usize, what: &str, is_it: impl Fn(&Heard) -> bool) -> Heard {
        self.within(Duration::from_secs(30), from, is_it)
            .unwrap_or_else(|| panic!("not heard in 30 s: {what}"))
    }

    /// Waits until the last word on a topic is this one.
    pub(crate) fn until_last(&self, topic: &str, payload: &str) {
        let end = Instant::now() + Duration::from_secs(30);
        let last = || self.all().into_iter().rfind(|heard| heard.topic == topic);
        while last().is_none_or(|heard| heard.payload != payload) {
            assert!(Instant::now() < end, "{topic} is not {payload} within 30 s");
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// Waits for a message no longer than this.
    pub(crate) fn within(
        &self,
        patience: Duration,
        from: usize,
        is_it: impl Fn(&Heard) -> bool,
    ) -> Option<Heard> {
        let end = Instant::now() + patience;
        let mut next = from;
        loop {
            let fresh: Vec<Heard> = {
                let heard = self.heard.lock().unwrap_or_else(PoisonError::into_inner);
                heard.get(next..).map(<[Heard]>::to_vec).unwrap_or_default()
            };
            next += fresh.len();
            if let Some(found) = fresh.into_iter().find(|heard| is_it(heard)) {
                return Some(found);
            }
            if Instant::now() >= end {
                return None;
            }
            std::thread::sleep(Duration::from_millis(2));
        }
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        let _ended = self.child.kill();
        let _ended = self.child.wait();
    }
}

/// What the broker holds for a newcomer, by topic.
pub(crate) fn held(port: u16) -> Vec<(String, String)> {
    let output = Command::new("mosquitto_sub")
        .args(["-p", &port.to_string(), "-t", "#", "-F", "%t %p", "-W", "2", "--retained-only"])
        .output()
        .expect("mosquitto's clients are installed");
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let pairs = text.lines().filter_map(|line| line.split_once(' '));
    pairs.map(|(topic, payload)| (topic.to_owned(), payload.to_owned())).collect()
}

/// Says one thing; on a busy machine a client now and then does not get there.
pub(crate) fn say(port: u16, topic: &str, payload: &str) {
    assert!((0..3).any(|_| publish(port, topic, payload)), "{topic}");
}

/// Whether the broker took what was said.
fn publish(port: u16, topic: &str, payload: &str) -> bool {
    Command::new("mosquitto_pub")
        .args(["-p", &port.to_string(), "-t", topic, "-m", payload])
        .status()
        .expect("mosquitto's clients are installed")
        .success()
}

/// Says it again and again, as a probe does, until this is heard; on an invented clock
/// that runs fast, what is said once is soon old.
pub(crate) fn say_until(
    port: u16,
    (topic, payload): (&str, &str),
    listener: &Listener,
    what: &str,
    is_it: impl Fn(&Heard) -> bool,
) -> Heard {
    let (from, end) = (listener.count(), Instant::now() + Duration::from_mins(1));
    loop {
        say(port, topic, payload);
        if let Some(heard) = listener.within(Duration::from_millis(100), from, &is_it) {
            return heard;
        }
        assert!(Instant::now() < end, "not heard in 60 s: {what}");
    }
}

/// Somebody who goes on speaking on one topic.
pub(crate) struct Speaker {
    child: Child,
    pipe: ChildStdin,
    port: u16,
    topic: String,
}

impl Speaker {
    pub(crate) fn start(port: u16, topic: &str) -> Self {
        let mut child = Command::new("mosquitto_pub")
            .args(["-p", &port.to_string(), "-t", topic, "-l"])
            .stdin(Stdio::piped())
            .spawn()
            .expect("mosquitto's clients are installed");
        let pipe = child.stdin.take().expect("piped");
        Self { child, pipe, port, topic: topic.to_owned() }
    }

    /// Says it; by another client where the last one did not get there.
    pub(crate) fn say(&mut self, payload: &str) {
        let line = format!("{payload}\n");
        let is_said = (0..3).any(|_| {
            let said = self.pipe.write_all(line.as_bytes()).and_then(|()| self.pipe.flush());
            if said.is_err() {
                *self = Self::start(self.port, &self.topic);
            }
            said.is_ok()
        });
        assert!(is_said, "no client goes on speaking on {}", self.topic);
    }
}

impl Drop for Speaker {
    fn drop(&mut self) {
        let _ended = self.child.kill();
        let _ended = self.child.wait();
    }
}

/// A command of the own tree.
pub(crate) fn command(port: u16, id: &str, action: &Value) {
    let document = serde_json::json!({"schema": "stowheat/command/1", "id": id, "action": action});
    say(port, &format!("{PREFIX}/v1/command"), &document.to_string());
}

/// A time of a document.
pub(crate) fn time(value: &Value) -> i64 {
    let text = value.as_str().expect("a time");
    chrono::DateTime::parse_from_rfc3339(text).expect("RFC 3339").timestamp()
}

/// Half-hourly prices from the start of this hour as a list in JSON.
pub(crate) fn prices(half_hours: std::ops::Range<i64>, price: impl Fn(i64) -> f64) -> String {
    let hour = chrono::Utc::now().timestamp().div_euclid(3_600) * 3_600;
    let entries: Vec<Value> = half_hours
        .map(|i| {
            let start = chrono::DateTime::from_timestamp(hour + i * 1_800, 0).expect("a time");
            serde_json::json!({"start": start.to_rfc3339(), "price": price(i)})
        })
        .collect();
    Value::Array(entries).to_string()
}
