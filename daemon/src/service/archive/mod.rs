//! What the service remembers: readings, prices, plans, commands, what ran,
//! hygiene proofs and learned quantities, in one SQLite file.
//!
//! Every batch is one transaction on a write-ahead log that is flushed to the
//! disk before it counts, so a power cut leaves the old or the new state. A file
//! that is damaged, or written by a newer version, is set aside and said so. No
//! error here stops the service: it plans and obeys without a memory, and reports
//! that nothing is persisted.

mod error;
mod open;
mod record;

use optimiser::time::{Instant, Slot};
use rusqlite::{Connection, OptionalExtension, params};

pub use error::ArchiveError;
pub use open::Notice;
pub use record::{Learned, Price, Record, Run};

/// Largest file [bytes]; the oldest readings make room for new ones.
pub const MAX_BYTES: i64 = 256 * 1024 * 1024;

/// How long things are kept [days].
const KEEP_DAYS: i64 = 800;

/// An open archive; no other process can open it meanwhile.
#[derive(Debug)]
pub struct Archive {
    connection: Connection,
    _lock: open::Lock,
}

impl Archive {
    /// Writes a batch: all of it or nothing.
    ///
    /// # Errors
    /// If the disk is full, read-only or failing. The batch is then lost, and what
    /// was written before is still there.
    pub fn write(&mut self, records: &[Record]) -> Result<(), ArchiveError> {
        let transaction = self.connection.transaction()?;
        for record in records {
            record::insert(&transaction, record)?;
        }
        Ok(transaction.commit()?)
    }

    /// Readings of an input that were measured in a slot, in order.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn readings(&self, input: &str, slot: Slot) -> Result<Vec<(Instant, f64)>, ArchiveError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT at, value FROM readings WHERE input = ?1 AND at >= ?2 AND at < ?3 ORDER BY at",
        )?;
        let range = params![input, slot.start().unix(), slot.end().unix()];
        let rows =
            statement.query_map(range, |row| Ok((Instant::from_unix(row.get(0)?), row.get(1)?)))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Prices of a quantity that reach into a slot, in the order of their issue.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn prices(&self, quantity: &str, slot: Slot) -> Result<Vec<Price>, ArchiveError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT start, end, value, unit, issued_at FROM prices
             WHERE quantity = ?1 AND end > ?2 AND start < ?3 ORDER BY issued_at, start",
        )?;
        let range = params![quantity, slot.start().unix(), slot.end().unix()];
        let rows = statement.query_map(range, |row| {
            let at = |index| row.get(index).map(Instant::from_unix);
            Ok((Slot::new(at(0)?, at(1)?), row.get(2)?, row.get(3)?, at(4)?))
        })?;
        let mut prices = Vec::new();
        for row in rows {
            let (slot, value, unit, issued_at) = row?;
            // The table allows no empty slot.
            prices.extend(slot.map(|slot| Price {
                quantity: quantity.to_owned(),
                slot,
                value,
                unit,
                issued_at,
            }));
        }
        Ok(prices)
    }

    /// The last plan, as JSON, with its time of issue.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn last_plan(&self) -> Result<Option<(Instant, String)>, ArchiveError> {
        let query = "SELECT issued_at, json FROM plans ORDER BY issued_at DESC LIMIT 1";
        Ok(self
            .connection
            .query_row(query, [], |row| Ok((Instant::from_unix(row.get(0)?), row.get(1)?)))
            .optional()?)
    }

    /// Commands to be obeyed again after a restart, as they came and when: done,
    /// not ended, and not over.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn open_commands(&self, now: Instant) -> Result<Vec<(Instant, String)>, ArchiveError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT at, json FROM commands AS c
             WHERE outcome = 'done' AND (ends IS NULL OR ends > ?1)
               AND NOT EXISTS (SELECT 1 FROM commands AS e
                               WHERE e.id = c.id AND e.outcome = 'ended' AND e.row > c.row)
             ORDER BY row",
        )?;
        let rows = statement
            .query_map([now.unix()], |row| Ok((Instant::from_unix(row.get(0)?), row.get(1)?)))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// What heaters did in a slot, in order.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn runs(&self, slot: Slot) -> Result<Vec<Run>, ArchiveError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT store, heater, start, end, energy_kwh, measured, why FROM runs
             WHERE end > ?1 AND start < ?2 ORDER BY start, store, heater",
        )?;
        let range = params![slot.start().unix(), slot.end().unix()];
        let mut rows = statement.query(range)?;
        let mut runs = Vec::new();
        while let Some(row) = rows.next()? {
            let at = |index| row.get(index).map(Instant::from_unix);
            if let Some(slot) = Slot::new(at(2)?, at(3)?) {
                let (store, heater) = (row.get(0)?, row.get(1)?);
                let (energy_kwh, measured, why) = (row.get(4)?, row.get(5)?, row.get(6)?);
                runs.push(Run { store, heater, slot, energy_kwh, measured, why });
            }
        }
        Ok(runs)
    }

    /// When a pasteurisation of a store was last proven.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn last_hygiene(&self, store: &str) -> Result<Option<Instant>, ArchiveError> {
        let query = "SELECT max(proven_at) FROM hygiene WHERE store = ?1";
        let seconds: Option<i64> = self.connection.query_row(query, [store], |row| row.get(0))?;
        Ok(seconds.map(Instant::from_unix))
    }

    /// A learned quantity, if it was learned by this version of the method: what
    /// another version learned is not understood.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn learned(&self, name: &str, version: u32) -> Result<Option<String>, ArchiveError> {
        let query = "SELECT json FROM learned WHERE name = ?1 AND version = ?2";
        Ok(self.connection.query_row(query, params![name, version], |row| row.get(0)).optional()?)
    }

    /// Makes room: by age, and then by size, a tenth of the readings at a time.
    /// Hygiene proofs and learned quantities stay.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn prune(&mut self, now: Instant, max_bytes: i64) -> Result<(), ArchiveError> {
        let oldest = (now + -KEEP_DAYS * 86_400).unix();
        for (table, column) in [
            ("readings", "at"),
            ("prices", "end"),
            ("plans", "issued_at"),
            ("commands", "at"),
            ("runs", "end"),
        ] {
            self.connection
                .execute(&format!("DELETE FROM {table} WHERE {column} < ?1"), [oldest])?;
        }
        while self.used_bytes()? > max_bytes {
            let tenth = "DELETE FROM {} WHERE rowid IN
                (SELECT rowid FROM {} ORDER BY rowid LIMIT 1 + (SELECT count(*) FROM {}) / 10)";
            let mut gone = 0;
            for table in ["readings", "plans", "prices"] {
                gone += self.connection.execute(&tenth.replace("{}", table), [])?;
            }
            if gone == 0 {
                break;
            }
        }
        Ok(())
    }

    /// Bytes in use within the file; free pages are used again.
    fn used_bytes(&self) -> Result<i64, ArchiveError> {
        let pragma = |name: &str| -> rusqlite::Result<i64> {
            self.connection.query_row(&format!("PRAGMA {name}"), [], |row| row.get(0))
        };
        Ok((pragma("page_count")? - pragma("freelist_count")?) * pragma("page_size")?)
    }
}

#[cfg(test)]
mod tests;
