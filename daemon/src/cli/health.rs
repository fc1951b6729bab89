//! `stowheat health`: asks a running service, for containers and people.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::Duration;

use crate::site_file;

use super::arguments::Health;
use super::{Failure, Problem, colour, files, print};

/// Limit on each step.
const LIMIT: Duration = Duration::from_secs(5);

pub(super) fn health(arguments: &Health) -> Result<(), Problem> {
    let (name, text) = files::site_text(&arguments.site)?;
    let checked = site_file::read(&text, &name)
        .map_err(|report| Problem::new(Failure::Site, report.rendered(colour())))?;
    let address = checked.service.and_then(|settings| settings.http).ok_or_else(|| {
        let text = format!("{name}: `[service]` has no `http_address`, so nobody can be asked");
        Problem::new(Failure::Site, text)
    })?;
    let answer = ask(address).map_err(|error| {
        Problem::new(Failure::Failed, format!("the service at {address} does not answer: {error}"))
    })?;
    let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
    if head.starts_with("HTTP/1.1 200 ") {
        print(body);
        Ok(())
    } else {
        Err(Problem::new(Failure::Failed, body))
    }
}

fn ask(address: SocketAddr) -> std::io::Result<String> {
    let mut stream = TcpStream::connect_timeout(&address, LIMIT)?;
    stream.set_read_timeout(Some(LIMIT))?;
    stream.set_write_timeout(Some(LIMIT))?;
    stream.write_all(b"GET /readyz HTTP/1.1\r\nHost: stowheat\r\nConnection: close\r\n\r\n")?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer)?;
    Ok(answer)
}
