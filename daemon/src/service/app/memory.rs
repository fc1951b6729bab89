//! The archive on a thread of its own, because the disk may take its time.

use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::{Duration, Instant as Moment};

use optimiser::time::Instant;
use tokio::sync::mpsc::UnboundedSender;

use crate::service::archive::{Archive, ArchiveError, MAX_BYTES, Record};

/// Records are gathered for this long, to spare the disk. A power cut loses at
/// most what came in that time.
const GATHER: Duration = Duration::from_secs(2);

/// Records that may wait; more are dropped rather than fill the memory.
const MAX_WAITING: usize = 10_000;

/// How often room is made [s].
const PRUNE_EVERY_S: i64 = 86_400;

/// The thread wakes at least this often.
const IDLE: Duration = Duration::from_hours(1);

enum Order {
    Keep(Instant, Record),
    Close(Sender<()>),
}

/// What is to be remembered goes here.
pub(super) struct Memory(Option<Sender<Order>>);

impl Memory {
    /// Starts the thread; without an archive nothing is remembered. Whether writing
    /// works is told whenever that changes.
    pub(super) fn start(archive: Option<Archive>, persisted: UnboundedSender<bool>) -> Self {
        let Some(archive) = archive else { return Self(None) };
        let (sender, orders) = channel();
        let thread = std::thread::Builder::new().name("archive".to_owned());
        match thread.spawn(move || write(archive, &orders, &persisted)) {
            Ok(_) => Self(Some(sender)),
            Err(error) => {
                tracing::error!(%error, "no thread for the archive");
                Self(None)
            }
        }
    }

    /// Remembers something.
    pub(super) fn keep(&self, now: Instant, record: Record) {
        if let Some(sender) = &self.0 {
            let _ended = sender.send(Order::Keep(now, record));
        }
    }

    /// Writes what is left, and waits for it a while.
    pub(super) fn close(&self, limit: Duration) {
        let (done, closed) = channel();
        if let Some(sender) = &self.0
            && sender.send(Order::Close(done)).is_ok()
        {
            let _late = closed.recv_timeout(limit);
        }
    }
}

fn write(mut archive: Archive, orders: &Receiver<Order>, persisted: &UnboundedSender<bool>) {
    let mut waiting: Vec<Record> = Vec::new();
    let mut due: Option<Moment> = None;
    let mut pruned: Option<Instant> = None;
    let mut worked = true;
    loop {
        let wait = due.map_or(IDLE, |due| due.saturating_duration_since(Moment::now()));
        let closing = match orders.recv_timeout(wait) {
            Ok(Order::Keep(now, record)) => {
                due.get_or_insert_with(|| Moment::now() + GATHER);
                if waiting.len() < MAX_WAITING {
                    waiting.push(record);
                }
                if pruned.is_none_or(|last| !(0..PRUNE_EVERY_S).contains(&(now - last))) {
                    pruned = Some(now);
                    tell(&archive.prune(now, MAX_BYTES), &mut worked, persisted);
                }
                if due.is_some_and(|due| due > Moment::now()) {
                    continue;
                }
                None
            }
            Ok(Order::Close(done)) => Some(done),
            Err(RecvTimeoutError::Timeout) => None,
            Err(RecvTimeoutError::Disconnected) => return,
        };
        due = None;
        if !waiting.is_empty() {
            tell(&archive.write(&waiting), &mut worked, persisted);
            waiting.clear();
        }
        if let Some(done) = closing {
            // Whoever waits may open it again.
            drop(archive);
            let _gone = done.send(());
            return;
        }
    }
}

fn tell(outcome: &Result<(), ArchiveError>, worked: &mut bool, persisted: &UnboundedSender<bool>) {
    if let Err(error) = outcome
        && *worked
    {
        tracing::error!(%error, "nothing is remembered");
    }
    if outcome.is_ok() != *worked {
        *worked = outcome.is_ok();
        let _ended = persisted.send(*worked);
    }
}
