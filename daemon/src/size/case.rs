//! One candidate in one world, as it is kept: `stowheat/case/3`.

use optimiser::problem::ProblemError;
use optimiser::replay::Settings;
use optimiser::sizing::{Day, days, heat_cost};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::candidate::Candidate;
use super::daily::typical;
pub use super::daily::{DaysAt, Detail, SlotRow, TypicalDay};
use super::{World, sha256};
use crate::assemble::PeriodError;
use crate::house::House;
use crate::replay::document::{Controller, Document};
use crate::replay::{Entry, Progress, Replayed, replay_together};

/// Name and version of the document.
pub const SCHEMA: &str = "stowheat/case/3";

/// A candidate replayed in a world.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// Name and version of this document.
    pub schema: String,
    /// Version of the program.
    pub program: String,
    /// Hash of everything that it was made from.
    pub input: String,
    /// Each part of the year that was lived through.
    pub parts: Vec<Part>,
    /// Rating of the main fuse [A].
    pub fuse_amperes: f64,
    /// Current at the import limit, per phase [A].
    pub limit_amperes: f64,
}

/// A part of a year.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// How many times its figures count in those of the year.
    pub times: f64,
    /// The replay, as `replay --json` prints it; the best rule is that of all parts.
    pub replay: Document,
    /// Days of stowheat's run.
    pub stowheat: Detail,
    /// Days of the best rule's run.
    pub best_rule: Option<Detail>,
    /// Days to look at slot by slot.
    pub typical_days: Vec<TypicalDay>,
}

/// Why a case has no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CaseError {
    /// There is no such house.
    #[error("{0}")]
    House(String),
    /// There is no period to replay.
    #[error(transparent)]
    Period(#[from] PeriodError),
    /// The house does not fit itself.
    #[error(transparent)]
    Problem(#[from] ProblemError),
}

/// The hash that names a case: the same inputs and program, the same hash.
pub fn input(candidate: &Candidate, world: &World) -> String {
    let parts = [
        SCHEMA,
        env!("CARGO_PKG_VERSION"),
        &candidate.text,
        &candidate.left_out.join(","),
        &world.identity(),
    ];
    sha256(parts.join("\u{0}").as_bytes())
}

/// Replays a candidate in a world.
///
/// # Errors
/// If the world does not fit the house.
pub fn case(
    candidate: &Candidate,
    world: &World,
    progress: &mut dyn FnMut(Progress),
) -> Result<Case, CaseError> {
    let house = world.of(candidate).map_err(CaseError::House)?;
    let periods = world.led_in(&house)?;
    let parts: Vec<_> = periods.iter().map(|(period, times)| (period, *times)).collect();
    let replayed = replay_together(&house, &parts, Settings::rolling(), true, progress)?;
    let times = parts.iter().map(|(_, times)| *times);
    Ok(Case::of(&house, &replayed.iter().zip(times).collect::<Vec<_>>(), input(candidate, world)))
}

impl Case {
    /// The case of replays of parts of a year, each with how many times it counts;
    /// `input` names what it was made from.
    pub fn of(house: &House, replays: &[(&Replayed<'_>, f64)], input: String) -> Self {
        let volts = house.supply.volts * f64::from(house.supply.phases);
        Self {
            schema: SCHEMA.to_owned(),
            program: env!("CARGO_PKG_VERSION").to_owned(),
            input,
            parts: replays.iter().map(|(own, times)| Part::of(house, own, *times)).collect(),
            fuse_amperes: house.supply.fuse.amperes(),
            limit_amperes: house.site.grid.import_limit.kw() * 1_000.0 / volts,
        }
    }

    /// The case as JSON on one line.
    ///
    /// # Panics
    /// Never: every part has a JSON form.
    pub fn to_json(&self) -> String {
        serde_json::to_string(self).expect("a case has a JSON form") + "\n"
    }
}

impl Part {
    fn of(house: &House, replayed: &Replayed<'_>, times: f64) -> Self {
        let (stage, own) = (&replayed.stage, replayed.stowheat());
        Self {
            times,
            replay: Document::new(replayed),
            stowheat: detail(house, replayed, own),
            best_rule: replayed.best_rule().map(|rule| detail(house, replayed, rule)),
            typical_days: typical(house, stage, &own.run, &counted(replayed, own)),
        }
    }

    /// The controller that savings are counted against: the best rule of all parts.
    pub fn rule(&self) -> Option<&Controller> {
        let name = self.replay.best_rule.as_ref()?;
        self.replay.controllers.iter().find(|controller| controller.name == *name)
    }

    /// stowheat's own run.
    ///
    /// # Panics
    /// Never: a replay begins with it.
    pub fn own(&self) -> &Controller {
        self.replay.controllers.first().expect("stowheat comes first")
    }
}

fn detail(house: &House, replayed: &Replayed<'_>, entry: &Entry) -> Detail {
    let stage = &replayed.stage;
    let slots = replayed.period.lead..stage.horizon().len();
    let worth = replayed.worth;
    // What is left at the end was heated for later, and what was there before.
    let cost = heat_cost(stage, &entry.run, worth, slots) - entry.whole.heat_gain(worth);
    Detail::of(house, stage, &entry.run, &counted(replayed, entry), cost)
}

/// The days that count.
fn counted(replayed: &Replayed<'_>, entry: &Entry) -> Vec<Day> {
    let all = days(&replayed.stage, &entry.run);
    all.into_iter().filter(|day| day.slots.start >= replayed.period.lead).collect()
}
