//! What is written.

use optimiser::time::{Instant, Slot};
use rusqlite::{Transaction, params};

/// A price as it was issued.
#[derive(Debug, Clone, PartialEq)]
pub struct Price {
    /// What it is the price of.
    pub quantity: String,
    /// When it holds.
    pub slot: Slot,
    /// Its value.
    pub value: f64,
    /// Unit of the value.
    pub unit: String,
    /// When the source issued it.
    pub issued_at: Instant,
}

/// What a heater did.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Name of the store.
    pub store: String,
    /// Name of the heater.
    pub heater: String,
    /// When.
    pub slot: Slot,
    /// Energy used [kWh].
    pub energy_kwh: f64,
    /// Whether a meter says so; otherwise it is what the heater was told.
    pub measured: bool,
    /// Why it was on.
    pub why: String,
}

/// A learned quantity.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Learned {
    /// Its name.
    pub name: String,
    /// Version of the method that learned it.
    pub version: u32,
    /// Its value.
    pub json: String,
    /// When it was learned.
    pub at: Instant,
}

/// Something to be remembered.
#[derive(Debug, Clone, PartialEq)]
pub enum Record {
    /// A reading that was believed.
    Reading {
        /// Name of the input.
        input: String,
        /// When it was measured.
        at: Instant,
        /// Its value, in the unit of its quantity.
        value: f64,
    },
    /// A price.
    Price(Price),
    /// A plan, as it was published.
    Plan {
        /// When it was issued.
        issued_at: Instant,
        /// The document.
        json: String,
    },
    /// A command and what became of it; another one when it ends.
    Command {
        /// When it came, or ended.
        at: Instant,
        /// Its text.
        id: String,
        /// The document.
        json: String,
        /// `done`, `refused`, `repeated` or `ended`.
        outcome: String,
        /// When it ends by itself.
        ends: Option<Instant>,
    },
    /// What a heater did.
    Run(Run),
    /// A pasteurisation that was measured.
    Hygiene {
        /// Name of the store.
        store: String,
        /// When the hold was over.
        proven_at: Instant,
        /// Coldest water during the hold [°C].
        coldest_c: f64,
        /// How long it held [min].
        hold_minutes: f64,
    },
    /// A learned quantity; it takes the place of the one before.
    Learned(Learned),
}

pub(super) fn insert(transaction: &Transaction<'_>, record: &Record) -> rusqlite::Result<()> {
    let run = |sql: &str, values: &[&dyn rusqlite::ToSql]| {
        transaction.prepare_cached(sql)?.execute(values).map(|_| ())
    };
    match record {
        Record::Reading { input, at, value } => run(
            "INSERT OR REPLACE INTO readings (input, at, value) VALUES (?1, ?2, ?3)",
            params![input, at.unix(), value],
        ),
        Record::Price(Price { quantity, slot, value, unit, issued_at }) => run(
            "INSERT OR REPLACE INTO prices (quantity, start, end, value, unit, issued_at)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            params![
                quantity,
                slot.start().unix(),
                slot.end().unix(),
                value,
                unit,
                issued_at.unix()
            ],
        ),
        Record::Plan { issued_at, json } => run(
            "INSERT INTO plans (issued_at, json) VALUES (?1, ?2)",
            params![issued_at.unix(), json],
        ),
        Record::Command { at, id, json, outcome, ends } => run(
            "INSERT INTO commands (at, id, json, outcome, ends) VALUES (?1, ?2, ?3, ?4, ?5)",
            params![at.unix(), id, json, outcome, ends.map(Instant::unix)],
        ),
        Record::Run(Run { store, heater, slot, energy_kwh, measured, why }) => run(
            "INSERT OR REPLACE INTO runs (store, heater, start, end, energy_kwh, measured, why)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            params![
                store,
                heater,
                slot.start().unix(),
                slot.end().unix(),
                energy_kwh,
                measured,
                why
            ],
        ),
        Record::Hygiene { store, proven_at, coldest_c, hold_minutes } => run(
            "INSERT OR REPLACE INTO hygiene (store, proven_at, coldest_c, hold_minutes)
             VALUES (?1, ?2, ?3, ?4)",
            params![store, proven_at.unix(), coldest_c, hold_minutes],
        ),
        Record::Learned(Learned { name, version, json, at }) => run(
            "INSERT OR REPLACE INTO learned (name, version, json, at) VALUES (?1, ?2, ?3, ?4)",
            params![name, version, json, at.unix()],
        ),
    }
}
