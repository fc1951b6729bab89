//! Files that are read when they change, and addresses that are asked.

use std::path::PathBuf;
use std::time::{Duration, SystemTime};

use tokio::sync::mpsc::UnboundedSender;

use crate::service::settings::ForecastOf;

/// How often a file is looked at. A look is one `stat`; the service needs no
/// notification from the system, which network file systems do not give.
const LOOK: Duration = Duration::from_secs(2);

/// Largest document that is read [bytes].
const MAX_BYTES: u64 = 16 * 1024 * 1024;

/// Limit on one answer of an address.
const ANSWER_LIMIT: Duration = Duration::from_secs(30);

/// What a document is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    /// Prices.
    Prices,
    /// A forecast.
    Forecast(ForecastOf),
}

impl Subject {
    /// Its name in messages.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Prices => "prices",
            Self::Forecast(ForecastOf::Weather) => "weather forecast",
            Self::Forecast(ForecastOf::Pv) => "pv forecast",
            Self::Forecast(ForecastOf::Load) => "load forecast",
            Self::Forecast(ForecastOf::Draws) => "draws forecast",
        }
    }
}

/// A document, or why there is none.
#[derive(Debug)]
pub struct Delivery {
    /// What it is about.
    pub subject: Subject,
    /// Its bytes, or what went wrong in words.
    pub content: Result<Vec<u8>, String>,
    /// Its age on arrival [s].
    pub age_s: i64,
}

/// Reads a file now and whenever it changes, until nobody takes what it says.
pub async fn watch_file(subject: Subject, path: PathBuf, to: UnboundedSender<Delivery>) {
    let mut last: Option<Result<(SystemTime, u64), String>> = None;
    let mut interval = tokio::time::interval(LOOK);
    interval.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    loop {
        interval.tick().await;
        let look = stamp(&path);
        if last.as_ref() == Some(&look) {
            continue;
        }
        let age_s = look.as_ref().map_or(0, |(time, _)| {
            SystemTime::now().duration_since(*time).map_or(0, |age| age.as_secs() as i64)
        });
        let content = look.clone().and_then(|_| std::fs::read(&path).map_err(|e| e.to_string()));
        let content = content.map_err(|error| format!("{}: {error}", path.display()));
        last = Some(look);
        if to.send(Delivery { subject, content, age_s }).is_err() {
            return;
        }
    }
}

fn stamp(path: &std::path::Path) -> Result<(SystemTime, u64), String> {
    let data = std::fs::metadata(path).map_err(|error| error.to_string())?;
    if data.len() > MAX_BYTES {
        return Err(format!("it has {} bytes; at most {MAX_BYTES} are read", data.len()));
    }
    Ok((data.modified().map_err(|error| error.to_string())?, data.len()))
}

/// Asks an address every so many seconds, on a thread, because the client blocks.
/// A failure is asked again after a quarter of the time.
pub async fn watch_url(subject: Subject, url: String, every_s: u64, to: UnboundedSender<Delivery>) {
    loop {
        let asked = url.clone();
        let content = tokio::task::spawn_blocking(move || get(&asked)).await;
        let content = content.unwrap_or_else(|error| Err(error.to_string()));
        let wait = if content.is_ok() { every_s } else { (every_s / 4).max(30) };
        if to.send(Delivery { subject, content, age_s: 0 }).is_err() {
            return;
        }
        tokio::time::sleep(Duration::from_secs(wait)).await;
    }
}

fn get(url: &str) -> Result<Vec<u8>, String> {
    let agent: ureq::Agent =
        ureq::Agent::config_builder().timeout_global(Some(ANSWER_LIMIT)).build().into();
    let words = |error: ureq::Error| format!("{url}: {error}");
    let mut answer = agent.get(url).call().map_err(words)?;
    answer.body_mut().with_config().limit(MAX_BYTES).read_to_vec().map_err(words)
}
