//! What is to be explained: `HEATER@TIME` or `SOURCE@TIME`.

use chrono::{DateTime, NaiveTime};
use optimiser::site::Source;
use optimiser::time::Instant;

use crate::present::{Plan, local};

/// A slot of the plan and what is asked about in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Target {
    /// Index of the slot.
    pub slot: usize,
    /// What is asked about.
    pub of: Subject,
}

/// What can be asked about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    /// A heater, by its index in the order of the problem's heaters.
    Heater(usize),
    /// A source of the plant room.
    Source(Source),
}

/// Why nothing can be explained.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TargetError {
    /// The text is not of the right form.
    #[error("`{0}` is not HEATER@TIME; write for example `{1}@13:00`")]
    Form(String, String),
    /// No heater or source has this name.
    #[error("there is no heater or source `{name}`; this site has {known}")]
    Heater {
        /// The name given.
        name: String,
        /// The names that exist.
        known: String,
    },
    /// Several stores have a heater of this name.
    #[error("several stores have a heater `{name}`; write {known}")]
    Ambiguous {
        /// The name given.
        name: String,
        /// The full names that fit.
        known: String,
    },
    /// The time is no time.
    #[error(
        "`{0}` is not a time; write a local time as `13:00` or one with its offset as `2023-07-02T13:00+01:00`"
    )]
    Time(String),
    /// The plan does not reach there.
    #[error("the plan has no slot at {time}; it runs from {from} to {until}")]
    Slot {
        /// The time given.
        time: String,
        /// First instant of the plan.
        from: String,
        /// First instant after the plan.
        until: String,
    },
}

impl Target {
    /// Reads `HEATER@TIME` or `SOURCE@TIME`, where the heater is `element` or
    /// `store/element`, the source has its name in the site file and the time is RFC 3339 (seconds may be left out) or the next such
    /// local time of day.
    ///
    /// # Errors
    /// If there is no such heater or slot; the message lists what exists.
    pub fn parse(plan: &Plan<'_>, text: &str) -> Result<Self, TargetError> {
        let (name, time) = text.rsplit_once('@').ok_or_else(|| {
            let example =
                plan.problem.heaters().next().map_or_else(String::new, |id| plan.short_name(id));
            TargetError::Form(text.to_owned(), example)
        })?;
        Ok(Self { of: subject(plan, name.trim())?, slot: slot(plan, time.trim())? })
    }
}

fn subject(plan: &Plan<'_>, name: &str) -> Result<Subject, TargetError> {
    let sources = plan.problem.site.plant_room.sources();
    let named = sources.into_iter().find(|source| plan.house.source_name(*source) == name);
    match (heater(plan, name), named) {
        (Err(TargetError::Heater { .. }), Some(source)) => Ok(Subject::Source(source)),
        (found, _) => found.map(Subject::Heater),
    }
}

fn sources(plan: &Plan<'_>) -> impl Iterator<Item = String> {
    let sources = plan.problem.site.plant_room.sources();
    sources.into_iter().map(|source| plan.house.source_name(source))
}

fn heater(plan: &Plan<'_>, name: &str) -> Result<usize, TargetError> {
    let list =
        |names: Vec<String>| names.iter().map(|n| format!("`{n}`")).collect::<Vec<_>>().join(", ");
    let ids = || plan.problem.heaters().enumerate();
    let fits: Vec<_> = ids()
        .filter(|&(_, id)| plan.element(id).name == name || plan.full_name(id) == name)
        .collect();
    match fits.as_slice() {
        [(index, _)] => Ok(*index),
        [] => Err(TargetError::Heater {
            name: name.to_owned(),
            known: list(ids().map(|(_, id)| plan.full_name(id)).chain(sources(plan)).collect()),
        }),
        several => Err(TargetError::Ambiguous {
            name: name.to_owned(),
            known: list(several.iter().map(|&(_, id)| plan.full_name(id)).collect()),
        }),
    }
}

fn slot(plan: &Plan<'_>, text: &str) -> Result<usize, TargetError> {
    let instant = match NaiveTime::parse_from_str(text, "%H:%M") {
        Ok(time) => at_local_time(plan, time),
        Err(_) => Some(instant(text).ok_or_else(|| TargetError::Time(text.to_owned()))?),
    };
    instant.and_then(|instant| plan.problem.horizon.index_at(instant)).ok_or_else(|| {
        let (from, until) = plan.window();
        TargetError::Slot {
            time: text.to_owned(),
            from: local::rfc_3339(plan.zone(), from),
            until: local::rfc_3339(plan.zone(), until),
        }
    })
}

fn instant(text: &str) -> Option<Instant> {
    let with_zero = text.replace('Z', "+00:00");
    ["%Y-%m-%dT%H:%M:%S%:z", "%Y-%m-%dT%H:%M%:z"]
        .iter()
        .find_map(|form| DateTime::parse_from_str(&with_zero, form).ok())
        .map(|time| Instant::from_unix(time.timestamp()))
}

/// The first instant of the plan at which the local clock shows a time.
fn at_local_time(plan: &Plan<'_>, time: NaiveTime) -> Option<Instant> {
    let (from, until) = plan.window();
    let minute = from.unix().div_euclid(60) * 60;
    let minutes = (minute..until.unix()).step_by(60).map(Instant::from_unix);
    minutes
        .map(|at| if at < from { from } else { at })
        .find(|&at| local::clock(plan.zone(), at) == time.format("%H:%M").to_string())
}
