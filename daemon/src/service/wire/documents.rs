//! The documents, field by field.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Stamp;
use crate::present::document::BatteryMode;
use crate::service::setpoints::Due;

/// Whether the service is there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Availability {
    /// `stowheat/availability/1`.
    pub schema: String,
    /// Drawn anew at each start of the service.
    pub boot_id: String,
    /// What it is.
    pub state: AvailabilityState,
    /// `online` is over at this instant unless it is renewed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub valid_until: Option<Stamp>,
}

/// Whether the service is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum AvailabilityState {
    /// It runs and listens.
    Online,
    /// It was stopped, or vanished.
    Offline,
}

/// What is known of a store.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StoreState {
    /// `stowheat/store/1`.
    pub schema: String,
    /// When this was written.
    pub issued_at: Stamp,
    /// When it no longer holds.
    pub valid_until: Stamp,
    /// Name of the store.
    pub store: String,
    /// Whether the numbers are measured; otherwise they are the model's estimate.
    pub measured: bool,
    /// Temperature at the top [°C].
    pub top_c: f64,
    /// Temperature at the bottom [°C].
    pub bottom_c: f64,
    /// Heat above mains temperature [kWh].
    pub stored_kwh: f64,
    /// Litres at the use temperature that could be drawn now.
    pub usable_litres: f64,
    /// Who decides over the store now.
    pub mode: Mode,
}

/// Who decides over a store or heater.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Mode {
    /// The plan.
    Plan,
    /// A boost by hand.
    Boost,
    /// Switched off by hand.
    Off,
    /// Nobody is at home.
    Away,
}

/// Everything that is wrong at the moment; an empty list is good news.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Faults {
    /// `stowheat/faults/1`.
    pub schema: String,
    /// When this was written.
    pub issued_at: Stamp,
    /// What is wrong.
    pub faults: Vec<Fault>,
}

/// Something that is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Fault {
    /// What it concerns: an input, a store, the link, the clock.
    pub what: String,
    /// Short name of the kind of fault, for machines.
    pub kind: String,
    /// What was seen, which rule it broke, and what would mend it, for people.
    pub text: String,
    /// Since when.
    pub since: Stamp,
}

/// How the service is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Health {
    /// `stowheat/health/1`.
    pub schema: String,
    /// Drawn anew at each start of the service.
    pub boot_id: String,
    /// When this was written.
    pub issued_at: Stamp,
    /// When it no longer holds.
    pub valid_until: Stamp,
    /// Version of the program.
    pub version: String,
    /// Where the schedule comes from: `optimal`, `rule`, …; none before the first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schedule: Option<String>,
    /// Age of the schedule [s].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schedule_age_s: Option<i64>,
    /// Whether the time of day can be trusted.
    pub clock_synchronised: bool,
    /// Whether what is learned and heard reaches the disk.
    pub persisted: bool,
    /// What stands in, in the schedule, for something that is not known.
    #[serde(default)]
    pub estimates: Vec<String>,
    /// Every input.
    pub inputs: Vec<InputHealth>,
}

/// How an input is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct InputHealth {
    /// Name of the input.
    pub input: String,
    /// Age of the last reading that was believed [s]; none if there never was one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub age_s: Option<i64>,
    /// Readings refused since the start.
    pub refused: u64,
}

/// What a heater is to do, for a few minutes. Never retained.
///
/// The receiver refuses it when it is expired, not newer than the last one of the
/// same `boot_id`, of an unknown schema, or above the rating; and it switches off
/// by itself at `valid_until`, whatever happens to the network.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetPoint {
    /// `stowheat/set-point/1`.
    pub schema: String,
    /// Drawn anew at each start of the service.
    pub boot_id: String,
    /// Rises by one with each set-point for this heater.
    pub seq: u64,
    /// When this was written.
    pub issued_at: Stamp,
    /// When the heater goes off by itself.
    pub valid_until: Stamp,
    /// Power [W].
    pub power_w: u32,
    /// Why, for people.
    pub reason: String,
}

impl SetPoint {
    /// The document of a set-point that is due.
    pub fn new(boot_id: &str, due: Due<u32>) -> Self {
        Self {
            schema: "stowheat/set-point/1".to_owned(),
            boot_id: boot_id.to_owned(),
            seq: due.seq,
            issued_at: Stamp(due.issued_at),
            valid_until: Stamp(due.valid_until),
            power_w: due.order,
            reason: due.reason,
        }
    }
}

/// What a battery that takes commands is to do, for a few minutes. Never retained.
///
/// The receiver refuses it as it would a heater's, and regulates itself from
/// `valid_until` on, whatever happens to the network.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BatterySetPoint {
    /// `stowheat/battery/1`.
    pub schema: String,
    /// Drawn anew at each start of the service.
    pub boot_id: String,
    /// Rises by one with each set-point for the battery.
    pub seq: u64,
    /// When this was written.
    pub issued_at: Stamp,
    /// When the battery regulates itself again.
    pub valid_until: Stamp,
    /// In which way it works.
    pub mode: BatteryMode,
    /// AC power in the modes `charge` and `discharge` \[W\]; 0 in the others, where the
    /// house says how much.
    pub power_w: u32,
    /// Why, for people.
    pub reason: String,
}

/// Something a person or another program asks for. Never retained.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Command {
    /// `stowheat/command/1`.
    pub schema: String,
    /// Any text; the answer repeats it, and a second command of the same text is
    /// taken for a repetition.
    #[schemars(length(min = 1, max = 64))]
    pub id: String,
    /// The command is void from then on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub valid_until: Option<Stamp>,
    /// What is asked for.
    pub action: Action,
}

/// What can be asked for. All of it ends by itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Action {
    /// Heat now, whatever the price, for some minutes or until a temperature.
    Boost {
        /// Name of the store.
        store: String,
        /// Name of one heater; all of the store if not given.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        heater: Option<String>,
        /// How long at most [min].
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schemars(range(min = 1, max = 720))]
        minutes: Option<u32>,
        /// Temperature at the top at which it ends [°C].
        #[serde(default, skip_serializing_if = "Option::is_none")]
        until_c: Option<f64>,
    },
    /// Do not heat until then.
    Off {
        /// Name of the store; everything, sources as well, if not given.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        store: Option<String>,
        /// Name of one heater; all of the store if not given.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        heater: Option<String>,
        /// Name of one source or circuit, in place of a store.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        source: Option<String>,
        /// When the plan decides again.
        until: Stamp,
    },
    /// Another lowest temperature of the rooms.
    Rooms {
        /// Temperature of the air [°C].
        #[schemars(range(min = 7, max = 25))]
        low_c: f64,
        /// When the site file's comfort holds again.
        until: Stamp,
    },
    /// Nobody is at home.
    Away {
        /// From then.
        from: Stamp,
        /// Until then.
        to: Stamp,
    },
    /// More people than usual are at home.
    Guests {
        /// From then.
        from: Stamp,
        /// Until then.
        to: Stamp,
        /// How many more.
        #[schemars(range(min = 1, max = 20))]
        people: u8,
    },
    /// Another temperature to aim at.
    Target {
        /// Name of the store.
        store: String,
        /// Temperature [°C].
        temperature_c: f64,
        /// When the site file's temperature holds again.
        until: Stamp,
    },
    /// Water ready by then, once.
    ReadyBy {
        /// Name of the store.
        store: String,
        /// By then.
        by: Stamp,
        /// Litres at the tap.
        #[schemars(range(min = 1, max = 2000))]
        litres: f64,
        /// Temperature at the tap [°C].
        temperature_c: f64,
    },
    /// Back to the plan: ends every boost, off, away and so on.
    Resume,
    /// Make a new plan now.
    Replan,
}

/// What became of a command.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Answer {
    /// `stowheat/answer/1`.
    pub schema: String,
    /// The text of the command; empty if it could not be read.
    pub id: String,
    /// When this was written.
    pub issued_at: Stamp,
    /// What became of it.
    pub outcome: Outcome,
    /// What was done, or why not and what would help, for people.
    pub text: String,
    /// When it ends by itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ends: Option<Stamp>,
    /// What it costs beyond the schedule without it, in minor units such as pence;
    /// negative if it saves.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cost_minor: Option<f64>,
}

/// What became of a command.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// It is done or begun.
    Done,
    /// It was done before; the same command came twice.
    Repeated,
    /// It was refused.
    Refused,
    /// It came to its end.
    Ended,
    /// It was done before, and now it is known what it costs.
    Priced,
}
