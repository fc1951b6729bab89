//! Documents that only a whole plant room has.

#![allow(
    rustdoc::broken_intra_doc_links,
    reason = "the comments are the schema's descriptions, with units in plain brackets"
)]

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Mode, Stamp};
use crate::present::document::Requested;
use crate::present::four_state::FourState;

/// What a source, or a circuit of the buffer, is to do for a few minutes. Never
/// retained.
///
/// The receiver refuses it when it is expired, not newer than the last one of the same
/// `boot_id`, of an unknown schema, or above what the source can do. At `valid_until`
/// it leaves the source to its own controls, whatever happens to the network.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SourceSetPoint {
    /// `stowheat/source-set-point/1`.
    pub schema: String,
    /// Drawn anew at each start of the service.
    pub boot_id: String,
    /// Rises by one with each set-point for this source.
    pub seq: u64,
    /// When this was written.
    pub issued_at: Stamp,
    /// When it no longer holds.
    pub valid_until: Stamp,
    /// Name of the source or circuit.
    pub source: String,
    /// Name of the sink that it serves: a store (`store/coil` where it has several
    /// coils), `buffer`, `rooms` or `pool`; none while it is off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sink: Option<String>,
    /// Heat that is wanted, as far as it can be made [W]; 0 while it is off, and where
    /// the sun alone decides.
    pub heat_w: u32,
    /// Flow temperature that this takes [°C]; none where nobody sets one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flow_c: Option<f64>,
    /// The same for a heat pump that is asked over two contacts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub request: Option<Contacts>,
    /// Why, for people.
    pub reason: String,
}

/// A state of the four-state interface of heat pumps, held for ten minutes at least.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Contacts {
    /// The state.
    pub state: Requested,
    /// Its number in the interface, 1 to 4.
    #[schemars(range(min = 1, max = 4))]
    pub number: u8,
    /// Whether the first contact is closed.
    pub contact_1: bool,
    /// Whether the second contact is closed.
    pub contact_2: bool,
}

impl From<FourState> for Contacts {
    fn from(state: FourState) -> Self {
        let [contact_1, contact_2] = state.contacts();
        Self { state: state.into(), number: state.number(), contact_1, contact_2 }
    }
}

/// What is known of buffer, rooms or pool.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SinkState {
    /// `stowheat/sink/1`.
    pub schema: String,
    /// When this was written.
    pub issued_at: Stamp,
    /// When it no longer holds.
    pub valid_until: Stamp,
    /// `buffer`, `rooms` or `pool`.
    pub sink: String,
    /// Whether the temperature is measured; otherwise it is carried on from the last
    /// schedule.
    pub measured: bool,
    /// Water, or the air of the rooms [°C].
    pub temperature_c: f64,
    /// Walls and floors of the rooms, as the model has them [°C].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass_c: Option<f64>,
    /// Lowest temperature that is asked for now [°C].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low_c: Option<f64>,
    /// Highest temperature that is asked for now [°C].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub high_c: Option<f64>,
    /// Who decides over it now.
    pub mode: Mode,
}
