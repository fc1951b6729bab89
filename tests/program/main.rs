//! The program itself, as somebody at a terminal or a script meets it: exit
//! codes, what goes to which output, files that are wrong.

mod check;
mod data;
mod plan;
mod refusals;
mod report;
mod schema;
mod size;

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::atomic::{AtomicUsize, Ordering};

const DEMO: &str = "fixtures/sites/harbour-row.toml";
const SMALL: &str = "fixtures/sites/mill-cottage.toml";
const LARGE: &str = "fixtures/sites/twin-gables.toml";
/// Every kind of source and sink.
const EVERYTHING: &str = "fixtures/sites/weir-lodge.toml";
const DEMO_PRICES: &str = "fixtures/prices/harbour-row.csv";
const DEMO_WEATHER: &str = "fixtures/weather/harbour-row.csv";
/// The first instant that the demo's series cover.
const DEMO_AT: &str = "2026-04-17T06:00:00+01:00";

/// What a run left behind.
struct Ran {
    code: i32,
    data: String,
    messages: String,
}

/// Runs the program in the top folder of the project.
fn stowheat(arguments: &[&str]) -> Ran {
    let output: Output = Command::new(env!("CARGO_BIN_EXE_stowheat"))
        .args(arguments)
        .current_dir(top())
        .env_remove("NO_COLOR")
        .output()
        .expect("the program starts");
    Ran {
        code: output.status.code().expect("it ends by itself"),
        data: String::from_utf8(output.stdout).expect("data are UTF-8"),
        messages: String::from_utf8(output.stderr).expect("messages are UTF-8"),
    }
}

/// The data of a run that must succeed.
#[track_caller]
fn done(arguments: &[&str]) -> Ran {
    let ran = stowheat(arguments);
    assert_eq!(ran.code, 0, "{arguments:?}: {}", ran.messages);
    assert!(!ran.data.is_empty(), "{arguments:?} printed no data");
    ran
}

/// The messages of a run that must fail with a code; it prints no data.
#[track_caller]
fn refused(code: i32, arguments: &[&str]) -> String {
    let ran = stowheat(arguments);
    assert_eq!(ran.code, code, "{arguments:?}: {}{}", ran.messages, ran.data);
    assert_eq!(ran.data, "", "{arguments:?} printed data");
    assert!(!ran.messages.trim().is_empty(), "{arguments:?} failed without a word");
    assert!(!ran.messages.contains("panicked"), "{}", ran.messages);
    ran.messages
}

#[track_caller]
fn says(text: &str, expected: &[&str]) {
    for words in expected {
        assert!(text.contains(words), "no `{words}` in\n{text}");
    }
}

fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn fixture(path: &str) -> String {
    std::fs::read_to_string(top().join(path)).expect("a fixture")
}

/// Writes a file for one test.
fn written(name: &str, text: &str) -> String {
    static COUNT: AtomicUsize = AtomicUsize::new(0);
    // Tests that run side by side write some files again while others read them.
    let own = COUNT.fetch_add(1, Ordering::Relaxed);
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let (path, fresh) = (folder.join(name), folder.join(format!("{name}.{own}")));
    std::fs::write(&fresh, text).expect("the folder for test files can be written");
    std::fs::rename(&fresh, &path).expect("a file takes the place of another");
    path.display().to_string()
}

/// Rows of a series: the header, then one value for each interval from a UTC
/// midnight on.
fn series(header: &str, day: &str, minutes: i64, values: impl IntoIterator<Item = f64>) -> String {
    let midnight = chrono::DateTime::parse_from_rfc3339(&format!("{day}T00:00:00Z"))
        .expect("a day")
        .timestamp();
    let mut text = format!("start_utc,{header}\n");
    for (index, value) in (0..).zip(values) {
        let start = chrono::DateTime::from_timestamp(midnight + index * minutes * 60, 0);
        let start = start.expect("an instant").format("%Y-%m-%dT%H:%M:%SZ");
        let _ = writeln!(text, "{start},{value}");
    }
    text
}

/// Prices for the house of two stores, as its tariff names them: the demo's,
/// in another currency.
fn large_prices(name: &str) -> String {
    let mut text = "start_utc,price_dkk_per_mwh,price_other_dkk_per_mwh\n".to_owned();
    for row in fixture(DEMO_PRICES).lines().skip(1) {
        let (start, price) = row.split_once(',').expect("two fields");
        let price = 8.0 * price.parse::<f64>().expect("a price");
        let _ = writeln!(text, "{start},{price:.2},{price:.2}");
    }
    written(name, &text)
}

/// A load for the same house: steady, with an evening.
fn large_load(name: &str) -> String {
    let evening = |half: usize| if (34..44).contains(&(half % 48)) { 1.1 } else { 0.3 };
    written(name, &series("load_kwh", "2026-04-16", 30, (0..240).map(evening)))
}

/// Arguments that plan a fixture site with what it needs beside itself.
fn fixture_plans(prefix: &str) -> Vec<Vec<String>> {
    let (prices, load) = (
        large_prices(&format!("{prefix}-prices-dkk.csv")),
        large_load(&format!("{prefix}-load.csv")),
    );
    let own = |list: &[&str]| list.iter().map(|&word| word.to_owned()).collect::<Vec<_>>();
    vec![
        own(&["plan"]),
        own(&["plan", DEMO, "--prices", DEMO_PRICES, "--at", DEMO_AT]),
        own(&["plan", SMALL, "--at", DEMO_AT]),
        own(&[
            "plan",
            LARGE,
            "--prices",
            &prices,
            "--load",
            &load,
            "--weather",
            DEMO_WEATHER,
            "--at",
            DEMO_AT,
        ]),
    ]
}

/// The same arguments with more behind them.
fn with<'a>(arguments: &'a [String], more: &[&'a str]) -> Vec<&'a str> {
    arguments.iter().map(String::as_str).chain(more.iter().copied()).collect()
}
