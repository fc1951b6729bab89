//! Three answers over HTTP, usually on loopback only: `/livez`, `/readyz`, `/metrics`.
//!
//! Written by hand on tokio, because three fixed GET answers without routes,
//! bodies, keep-alive or streams do not earn the two dozen packages of a web
//! framework in a program that runs for years beside a hot-water cylinder. When
//! pages and live events come, they should bring their framework with them.

use std::fmt::Write as _;
use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, watch};
use tokio::time::timeout;

/// Longest request that is read [bytes].
const MAX_REQUEST: usize = 8 * 1024;

/// Limit on reading a request, and on writing the answer.
const LIMIT: Duration = Duration::from_secs(5);

/// Connections served at once; more wait in the system's queue.
const MAX_CONNECTIONS: usize = 16;

/// What the answers are made of; replaced whenever it changes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Status {
    /// Why the service is not ready; empty when it is. Ready means: the site file
    /// is valid, the broker connected, and a schedule published and fresh.
    pub not_ready: Vec<String>,
    /// Numbers for monitoring.
    pub metrics: Vec<Metric>,
}

/// A number, or one for each of several labels, for monitoring.
#[derive(Debug, Clone, PartialEq)]
pub struct Metric {
    /// Name, with the base unit at its end; `_total` is added to a counter.
    pub name: &'static str,
    /// What it is.
    pub help: &'static str,
    /// Whether it only rises.
    pub counts: bool,
    /// Its values by label, such as `("input", "cylinder top")`.
    pub samples: Vec<(Option<(&'static str, String)>, f64)>,
}

/// Opens an address; port 0 lets the system choose.
///
/// # Errors
/// If the port is taken, or the address is not of this machine.
pub async fn bind(address: SocketAddr) -> io::Result<TcpListener> {
    TcpListener::bind(address).await
}

/// Answers until the task is dropped.
pub async fn serve(listener: TcpListener, status: watch::Receiver<Status>) {
    let places = Arc::new(Semaphore::new(MAX_CONNECTIONS));
    loop {
        let Ok(place) = Arc::clone(&places).acquire_owned().await else { return };
        match listener.accept().await {
            Ok((stream, _)) => {
                let status = status.clone();
                tokio::spawn(async move {
                    let _closed = answer(stream, &status).await;
                    drop(place);
                });
            }
            // Out of file handles, most likely; others must close theirs first.
            Err(error) => {
                tracing::warn!(%error, "no connection for monitoring");
                tokio::time::sleep(Duration::from_secs(1)).await;
            }
        }
    }
}

async fn answer(mut stream: TcpStream, status: &watch::Receiver<Status>) -> io::Result<()> {
    let mut request = Vec::new();
    let read = timeout(LIMIT, read_head(&mut stream, &mut request)).await;
    let (code, kind, body) = match read {
        Ok(Ok(true)) => respond(&request, &status.borrow()),
        Ok(Ok(false)) => ("431 Request Header Fields Too Large", TEXT, String::new()),
        Ok(Err(error)) => return Err(error),
        Err(_) => ("408 Request Timeout", TEXT, String::new()),
    };
    let head = format!(
        "HTTP/1.1 {code}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\n\
         Cache-Control: no-store\r\nX-Content-Type-Options: nosniff\r\nConnection: close\r\n\r\n",
        body.len()
    );
    timeout(LIMIT, async {
        stream.write_all(head.as_bytes()).await?;
        stream.write_all(body.as_bytes()).await?;
        stream.shutdown().await
    })
    .await?
}

/// Reads up to the empty line; false if that is too far.
async fn read_head(stream: &mut TcpStream, request: &mut Vec<u8>) -> io::Result<bool> {
    let mut part = [0; 1_024];
    while !request.windows(4).any(|four| four == b"\r\n\r\n") {
        if request.len() >= MAX_REQUEST {
            return Ok(false);
        }
        match stream.read(&mut part).await? {
            0 => return Err(io::ErrorKind::UnexpectedEof.into()),
            count => request.extend_from_slice(&part[..count]),
        }
    }
    Ok(true)
}

const TEXT: &str = "text/plain; charset=utf-8";
const OPEN_METRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

fn respond(request: &[u8], status: &Status) -> (&'static str, &'static str, String) {
    let line = request.split(|byte| *byte == b'\r').next().unwrap_or_default();
    let line = String::from_utf8_lossy(line);
    let mut words = line.split(' ');
    let (method, target) = (words.next(), words.next().unwrap_or_default());
    if method != Some("GET") {
        return ("405 Method Not Allowed", TEXT, "only GET\n".to_owned());
    }
    match target.split('?').next().unwrap_or_default() {
        "/livez" => ("200 OK", TEXT, "live\n".to_owned()),
        "/readyz" if status.not_ready.is_empty() => ("200 OK", TEXT, "ready\n".to_owned()),
        "/readyz" => {
            ("503 Service Unavailable", TEXT, format!("{}\n", status.not_ready.join("\n")))
        }
        "/metrics" => ("200 OK", OPEN_METRICS, open_metrics(&status.metrics)),
        _ => ("404 Not Found", TEXT, "/livez, /readyz or /metrics\n".to_owned()),
    }
}

/// OpenMetrics 1.0 text (github.com/OpenObservability/OpenMetrics).
fn open_metrics(metrics: &[Metric]) -> String {
    let mut text = String::new();
    for metric in metrics {
        let Metric { name, help, counts, samples } = metric;
        let kind = if *counts { "counter" } else { "gauge" };
        let _infallible = writeln!(text, "# TYPE {name} {kind}\n# HELP {name} {}", escape(help));
        let suffix = if *counts { "_total" } else { "" };
        for (label, value) in samples {
            let label = label.as_ref().map_or_else(String::new, |(key, value)| {
                format!("{{{key}=\"{}\"}}", escape(value))
            });
            let value = if value.is_nan() { "NaN".to_owned() } else { value.to_string() };
            let _infallible = writeln!(text, "{name}{suffix}{label} {value}");
        }
    }
    text.push_str("# EOF\n");
    text
}

fn escape(text: &str) -> String {
    text.replace('\\', "\\\\").replace('\n', "\\n").replace('"', "\\\"")
}

#[cfg(test)]
mod tests {
    use std::net::Ipv4Addr;

    use super::*;

    async fn get(port: u16, request: &str) -> String {
        let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, port)).await.expect("connected");
        stream.write_all(request.as_bytes()).await.expect("written");
        let mut answer = String::new();
        stream.read_to_string(&mut answer).await.expect("text");
        answer
    }

    async fn start() -> (u16, watch::Sender<Status>) {
        let listener = bind(([127, 0, 0, 1], 0).into()).await.expect("a port");
        let port = listener.local_addr().expect("an address").port();
        let (sender, receiver) = watch::channel(Status::default());
        tokio::spawn(serve(listener, receiver));
        (port, sender)
    }

    #[tokio::test]
    async fn live_and_ready_are_separate_questions() {
        let (port, status) = start().await;
        status.send_modify(|status| status.not_ready = vec!["no schedule yet".into()]);
        let live = get(port, "GET /livez HTTP/1.1\r\nHost: x\r\n\r\n").await;
        assert!(live.starts_with("HTTP/1.1 200 OK\r\n") && live.ends_with("live\n"), "{live}");
        let ready = get(port, "GET /readyz HTTP/1.1\r\n\r\n").await;
        assert!(ready.starts_with("HTTP/1.1 503 ") && ready.ends_with("no schedule yet\n"));
        status.send_modify(|status| status.not_ready.clear());
        let ready = get(port, "GET /readyz?verbose HTTP/1.1\r\n\r\n").await;
        assert!(ready.starts_with("HTTP/1.1 200 "), "{ready}");
        assert!(get(port, "GET / HTTP/1.1\r\n\r\n").await.starts_with("HTTP/1.1 404 "));
        assert!(get(port, "POST /livez HTTP/1.1\r\n\r\n").await.starts_with("HTTP/1.1 405 "));
    }

    #[tokio::test]
    async fn an_endless_request_is_cut_off() {
        let (port, _status) = start().await;
        let head = format!("GET /livez HTTP/1.1\r\nX: {}", "x".repeat(MAX_REQUEST));
        assert!(get(port, &head).await.starts_with("HTTP/1.1 431 "));
    }

    // The exposition format of OpenMetrics 1.0.0, sections 3.2.2 and 5.1.
    #[test]
    fn metrics_follow_the_exposition_format() {
        let metrics = [
            Metric {
                name: "stowheat_reading_age_seconds",
                help: "Age of the last reading believed.",
                counts: false,
                samples: vec![(Some(("input", "top \"A\"\n".into())), 12.5)],
            },
            Metric {
                name: "stowheat_readings_refused",
                help: "Readings refused.",
                counts: true,
                samples: vec![(None, 3.0)],
            },
        ];
        assert_eq!(
            open_metrics(&metrics),
            "# TYPE stowheat_reading_age_seconds gauge\n\
             # HELP stowheat_reading_age_seconds Age of the last reading believed.\n\
             stowheat_reading_age_seconds{input=\"top \\\"A\\\"\\n\"} 12.5\n\
             # TYPE stowheat_readings_refused counter\n\
             # HELP stowheat_readings_refused Readings refused.\n\
             stowheat_readings_refused_total 3\n\
             # EOF\n"
        );
    }
}
