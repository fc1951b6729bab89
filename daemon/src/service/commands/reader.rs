//! From a payload to a command that can be obeyed.

use optimiser::time::Instant;

use crate::service::wire::{Action, Command};

/// The schema that is understood.
const SCHEMA: &str = "stowheat/command/1";

/// Longest payload looked at [bytes].
const MAX_BYTES: usize = 4_096;

/// Why a command is not obeyed, in words that say what would help.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{text}")]
pub struct Refusal {
    /// The text of the command, if it could be read.
    pub id: String,
    /// Why not, and what would help.
    pub text: String,
}

impl Refusal {
    pub(super) fn new(id: &str, text: impl Into<String>) -> Self {
        Self { id: id.to_owned(), text: text.into() }
    }
}

/// Reads a command.
///
/// # Errors
/// If it was kept by the broker, is void, or cannot be understood.
pub fn read(payload: &[u8], retained: bool, now: Instant) -> Result<Command, Refusal> {
    if retained {
        let text = "a command that the broker kept is not obeyed; send it without retain, and \
                    remove the kept one";
        return Err(Refusal::new("", text));
    }
    if payload.len() > MAX_BYTES {
        return Err(Refusal::new("", format!("a command has at most {MAX_BYTES} bytes")));
    }
    let command: Command = serde_json::from_slice(payload)
        .map_err(|error| Refusal::new("", format!("the command cannot be read: {error}")))?;
    let id = command.id.as_str();
    if command.schema != SCHEMA {
        let text = format!("`schema` must be `{SCHEMA}`");
        return Err(Refusal::new(id, text));
    }
    if id.is_empty() || id.len() > 64 || id.chars().any(char::is_control) {
        return Err(Refusal::new("", "`id` must be a text of 1 to 64 bytes"));
    }
    if command.valid_until.is_some_and(|until| until.0 <= now) {
        return Err(Refusal::new(id, "the command arrived after its `valid_until`"));
    }
    Ok(command)
}

/// The rules on times that need nothing but the time.
pub(super) fn check_times(command: &Command, now: Instant) -> Result<(), Refusal> {
    const DAY_S: i64 = 86_400;
    let id = &command.id;
    let rule = |holds: bool, text: &str| {
        if holds { Ok(()) } else { Err(Refusal::new(id, text)) }
    };
    match &command.action {
        Action::Boost { minutes, .. } => rule(
            minutes.is_none_or(|minutes| (1..=720).contains(&minutes)),
            "`minutes` must be 1 to 720",
        ),
        Action::Off { until, .. } => {
            let span = until.0 - now;
            rule((1..=14 * DAY_S).contains(&span), "`until` must lie within the next 14 days")
        }
        Action::Away { from, to } => {
            rule(from.0 < to.0, "`from` must be before `to`")?;
            rule(to.0 > now, "`to` is past")?;
            rule(to.0 - now <= 365 * DAY_S, "`to` must lie within a year")
        }
        Action::Guests { from, to, people } => {
            rule((1..=20).contains(people), "`people` must be 1 to 20")?;
            rule(from.0 < to.0, "`from` must be before `to`")?;
            rule(to.0 > now, "`to` is past")?;
            rule(to.0 - now <= 60 * DAY_S, "`to` must lie within 60 days")
        }
        Action::Target { until, .. } | Action::Rooms { until, .. } => {
            let span = until.0 - now;
            rule((1..=60 * DAY_S).contains(&span), "`until` must lie within the next 60 days")
        }
        Action::ReadyBy { by, .. } => {
            let span = by.0 - now;
            rule((60..=7 * DAY_S).contains(&span), "`by` must lie within the next 7 days")
        }
        Action::Resume | Action::Replan => Ok(()),
    }
}
