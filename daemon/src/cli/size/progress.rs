//! How far a study is.

use std::io::{IsTerminal, Write};
use std::time::Instant;

use super::super::say;

/// A progress bar with the time left; lines where there is no terminal.
pub(super) struct Bar {
    kept: usize,
    done: usize,
    all: usize,
    began: Instant,
    shown: bool,
}

impl Bar {
    const WIDTH: usize = 30;

    /// Of all pieces of work, some are kept already.
    pub(super) fn new(kept: usize, all: usize) -> Self {
        let bar = Self {
            kept,
            done: kept,
            all,
            began: Instant::now(),
            shown: std::io::stderr().is_terminal(),
        };
        if kept > 0 {
            say(&format!("{kept} of {all} results are kept from before"));
        }
        bar
    }

    /// One more is done.
    pub(super) fn done(&mut self, name: &str) {
        self.done += 1;
        let seconds = self.began.elapsed().as_secs_f64();
        let each = seconds / (self.done - self.kept) as f64;
        let left = told(each * (self.all - self.done) as f64);
        let line = format!("{} of {}: {name}", self.done, self.all);
        if self.shown {
            let filled = Self::WIDTH * self.done / self.all.max(1);
            let bar = format!("{:─<1$}", "━".repeat(filled), Self::WIDTH);
            put(&format!("{line}\n"));
            put(&format!("{bar} {left} left"));
        } else {
            say(&format!("{line}, {left} left"));
        }
    }

    pub(super) fn clear(&self) {
        if self.shown {
            put("");
        }
    }
}

/// A time in words.
fn told(seconds: f64) -> String {
    match seconds.round() as u64 {
        s if s < 90 => format!("{s} s"),
        s if s < 5_400 => format!("{} min", (s + 30) / 60),
        s => format!("{:.1} h", s as f64 / 3_600.0),
    }
}

/// Rewrites the line of the bar.
fn put(text: &str) {
    let mut err = std::io::stderr().lock();
    let _ = write!(err, "\r\u{1b}[2K{text}").and_then(|()| err.flush());
}
