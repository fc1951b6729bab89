//! Opening the archive: lock, integrity, version.

use std::ffi::OsString;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};

use optimiser::time::Instant;
use rusqlite::Connection;

use super::error::ArchiveError;
use super::{Archive, MAX_BYTES};

/// Each step takes the tables from its number to the next.
const MIGRATIONS: [&str; 3] = [
    "CREATE TABLE readings (input TEXT NOT NULL, at INTEGER NOT NULL, value REAL NOT NULL,
                            UNIQUE (input, at));
     CREATE TABLE prices (quantity TEXT NOT NULL, start INTEGER NOT NULL, end INTEGER NOT NULL,
                          value REAL NOT NULL, unit TEXT NOT NULL, issued_at INTEGER NOT NULL,
                          UNIQUE (quantity, start, issued_at), CHECK (start < end));
     CREATE TABLE plans (issued_at INTEGER NOT NULL, json TEXT NOT NULL);
     CREATE INDEX plans_by_time ON plans (issued_at);
     CREATE TABLE commands (row INTEGER PRIMARY KEY, at INTEGER NOT NULL, id TEXT NOT NULL,
                            json TEXT NOT NULL, outcome TEXT NOT NULL, ends INTEGER);
     CREATE INDEX commands_by_id ON commands (id);
     CREATE TABLE runs (store TEXT NOT NULL, heater TEXT NOT NULL, start INTEGER NOT NULL,
                        end INTEGER NOT NULL, energy_kwh REAL NOT NULL, why TEXT NOT NULL,
                        UNIQUE (store, heater, start), CHECK (start < end));
     CREATE TABLE hygiene (store TEXT NOT NULL, proven_at INTEGER NOT NULL,
                           coldest_c REAL NOT NULL, hold_minutes REAL NOT NULL,
                           UNIQUE (store, proven_at));",
    "CREATE TABLE learned (name TEXT PRIMARY KEY, version INTEGER NOT NULL,
                           json TEXT NOT NULL, at INTEGER NOT NULL);",
    "ALTER TABLE runs ADD COLUMN measured INTEGER NOT NULL DEFAULT 0;",
];

/// Something that its owner should know about the opening.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Notice {
    /// The file was damaged and is kept under this name; the archive begins anew.
    SetAside {
        /// Its new name.
        kept_as: PathBuf,
        /// What was wrong with it.
        cause: String,
    },
}

impl Archive {
    /// Opens an archive, or makes a new one. `now` names a file that is set aside.
    ///
    /// # Errors
    /// If another process has it, or the place cannot be written to.
    pub fn open(path: &Path, now: Instant) -> Result<(Self, Option<Notice>), ArchiveError> {
        let lock = lock(path)?;
        let cause = match connect(path) {
            Ok(connection) => return Ok((Self { connection, _lock: lock }, None)),
            Err(ArchiveError::Damaged(cause)) => cause,
            Err(error) => return Err(error),
        };
        let kept_as = beside(path, &format!(".set-aside-{}", now.unix()));
        for ending in ["", "-wal", "-shm"] {
            let from = beside(path, ending);
            if from.exists() {
                let to = beside(&kept_as, ending);
                fs::rename(&from, &to).map_err(|error| ArchiveError::of_file(&from, &error))?;
            }
        }
        let archive = Self { connection: connect(path)?, _lock: lock };
        Ok((archive, Some(Notice::SetAside { kept_as, cause })))
    }
}

/// A lock that dies with the process, so a file left over from a crash is harmless.
#[derive(Debug)]
pub(super) struct Lock(File);

impl Drop for Lock {
    /// A child on its way from `fork` to `exec` holds a copy of the file, so closing
    /// our own would not free it.
    fn drop(&mut self) {
        let _freed = self.0.unlock();
    }
}

fn lock(path: &Path) -> Result<Lock, ArchiveError> {
    let lock_path = beside(path, ".lock");
    let file = OpenOptions::new()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&lock_path)
        .map_err(|error| ArchiveError::of_file(&lock_path, &error))?;
    match file.try_lock() {
        Ok(()) => Ok(Lock(file)),
        Err(TryLockError::WouldBlock) => Err(ArchiveError::Locked(path.to_owned())),
        Err(TryLockError::Error(error)) => Err(ArchiveError::of_file(&lock_path, &error)),
    }
}

fn connect(path: &Path) -> Result<Connection, ArchiveError> {
    let mut connection = Connection::open(path)?;
    connection.pragma_update(None, "journal_mode", "WAL")?;
    connection.pragma_update(None, "synchronous", "FULL")?;
    let page_bytes: i64 = connection.query_row("PRAGMA page_size", [], |row| row.get(0))?;
    // A quarter above the size that pruning aims at: the end of all growth.
    connection.pragma_update(None, "max_page_count", MAX_BYTES / 4 * 5 / page_bytes)?;
    let found: String = connection.query_row("PRAGMA quick_check(1)", [], |row| row.get(0))?;
    if found != "ok" {
        return Err(ArchiveError::Damaged(found));
    }
    migrate(&mut connection)?;
    Ok(connection)
}

fn migrate(connection: &mut Connection) -> Result<(), ArchiveError> {
    let version: i64 = connection.pragma_query_value(None, "user_version", |row| row.get(0))?;
    let done = usize::try_from(version).ok().filter(|done| *done <= MIGRATIONS.len());
    let Some(done) = done else {
        let text = format!("version {version} is newer than this program's {}", MIGRATIONS.len());
        return Err(ArchiveError::Damaged(text));
    };
    let transaction = connection.transaction()?;
    for migration in &MIGRATIONS[done..] {
        transaction.execute_batch(migration)?;
    }
    transaction.pragma_update(None, "user_version", MIGRATIONS.len() as i64)?;
    Ok(transaction.commit()?)
}

fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(ending);
    name.into()
}
