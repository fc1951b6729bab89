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
            Self::Forecast(ForecastOf::Outdoor) => "outdoor forecast",
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
pub async fn watch_url(subject: Subject, url: String, every_s: u64, to: UnboundedSender<Delivery>) {
    let mut address = Address::new(url);
    let mut failures = 0;
    loop {
        let asked = tokio::task::spawn_blocking(move || {
            let answer = address.ask();
            (address, answer)
        });
        // Only a panic of the client leaves nothing behind.
        let Ok((back, answer)) = asked.await else { return };
        address = back;
        failures = if answer.is_ok() { 0 } else { failures + 1 };
        // What is as it was needs no delivery.
        if let Some(content) = answer.transpose()
            && to.send(Delivery { subject, content, age_s: 0 }).is_err()
        {
            return;
        }
        tokio::time::sleep(Duration::from_secs(pause_s(failures, every_s))).await;
    }
}

/// How long to wait after so many failures in a row [s]: half a minute, doubled each
/// time, and never longer than usual.
fn pause_s(failures: u32, every_s: u64) -> u64 {
    match failures {
        0 => every_s,
        n => every_s.min(30 << (n - 1).min(10)),
    }
}

/// An address, and what it said of its last document.
struct Address {
    url: String,
    agent: ureq::Agent,
    tag: Option<String>,
}

impl Address {
    fn new(url: String) -> Self {
        let agent = ureq::Agent::config_builder()
            .timeout_global(Some(ANSWER_LIMIT))
            .http_status_as_error(false)
            .max_redirects(0)
            .build()
            .into();
        Self { url, agent, tag: None }
    }

    /// Its document; `None` if that is the one of before. After a failure all of it
    /// is asked for again, so that who was told of the failure hears of its end.
    fn ask(&mut self) -> Result<Option<Vec<u8>>, String> {
        let answer = self.get();
        if answer.is_err() {
            self.tag = None;
        }
        answer
    }

    fn get(&mut self) -> Result<Option<Vec<u8>>, String> {
        let url = &self.url;
        let words = |error: ureq::Error| format!("{url}: {error}");
        let mut request = self.agent.get(url);
        if let Some(tag) = &self.tag {
            request = request.header("If-None-Match", tag);
        }
        let mut answer = request.call().map_err(words)?;
        match answer.status().as_u16() {
            200 => {}
            304 => return Ok(None),
            status @ 300..400 => {
                let text = "it leads elsewhere, and is not followed; give the address it leads to";
                return Err(format!("{url}: answer {status}: {text}"));
            }
            status => return Err(format!("{url}: answer {status}; it is asked again")),
        }
        let tag = answer.headers().get("ETag").and_then(|tag| tag.to_str().ok()).map(str::to_owned);
        let body = answer.body_mut().with_config().limit(MAX_BYTES).read_to_vec();
        let body = body.map_err(words)?;
        self.tag = tag;
        Ok(Some(body))
    }
}

#[cfg(test)]
mod tests {
    use std::io::{Read, Write};
    use std::net::TcpListener;

    use super::*;

    /// A server on loopback that gives these answers, one a connection, and returns
    /// the requests.
    fn server(answers: Vec<Vec<u8>>) -> (String, std::thread::JoinHandle<Vec<String>>) {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let url = format!("http://{}/prices", listener.local_addr().expect("bound"));
        let thread = std::thread::spawn(move || {
            let serve = |answer: Vec<u8>| {
                let (mut stream, _) = listener.accept().expect("a client");
                let mut request = Vec::new();
                let mut byte = [0; 1];
                while !request.ends_with(b"\r\n\r\n")
                    && stream.read(&mut byte).expect("a client") > 0
                {
                    request.extend(byte);
                }
                // The client may hang up in the middle of what is too long.
                let _hung_up = stream.write_all(&answer);
                String::from_utf8_lossy(&request).to_lowercase()
            };
            answers.into_iter().map(serve).collect()
        });
        (url, thread)
    }

    fn answer(status: &str, headers: &str, body: &[u8]) -> Vec<u8> {
        let head = format!(
            "HTTP/1.1 {status}\r\nConnection: close\r\nContent-Length: {}\r\n{headers}\r\n",
            body.len()
        );
        [head.as_bytes(), body].concat()
    }

    #[test]
    fn an_address_is_asked_and_only_news_are_taken() {
        let (url, server) = server(vec![
            answer("200 OK", "ETag: \"a1\"\r\n", b"[1]"),
            answer("304 Not Modified", "", b""),
            answer("500 Internal Server Error", "", b"oh"),
            answer("302 Found", "Location: http://127.0.0.1:1/\r\n", b""),
            answer("200 OK", "", &vec![b' '; MAX_BYTES as usize + 1]),
            answer("200 OK", "", b"[1]"),
        ]);
        let mut address = Address::new(url);
        assert_eq!(address.ask(), Ok(Some(b"[1]".to_vec())));
        assert_eq!(address.ask(), Ok(None), "as it was");
        assert!(address.ask().expect_err("a fault of the server").contains("500"));
        let redirect = address.ask().expect_err("a redirect");
        assert!(redirect.contains("302") && redirect.contains("not followed"), "{redirect}");
        assert!(address.ask().is_err(), "too much");
        assert_eq!(address.ask(), Ok(Some(b"[1]".to_vec())), "all of it after a failure");
        let requests = server.join().expect("the server lives");
        assert!(!requests[0].contains("if-none-match"));
        assert!(requests[1].contains("if-none-match: \"a1\""), "{}", requests[1]);
        assert!(requests[3..].iter().all(|request| !request.contains("if-none-match")));
    }

    #[test]
    fn nobody_there_is_an_error_in_words() {
        let port = TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("bound");
        let error = Address::new(format!("http://{port}/")).ask().expect_err("nobody listens");
        assert!(error.contains(&port.to_string()), "{error}");
    }

    #[test]
    fn failures_are_asked_again_later_and_later_all_day() {
        let waits: Vec<u64> = (0..8).map(|failures| pause_s(failures, 900)).collect();
        assert_eq!(waits, [900, 30, 60, 120, 240, 480, 900, 900]);
        assert_eq!(pause_s(u32::MAX, 900), 900);
        assert_eq!(pause_s(3, 60), 60, "never longer than usual");
    }
}
