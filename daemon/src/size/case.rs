//! One candidate in one world, as it is kept: `stowheat/case/2`.

use optimiser::problem::ProblemError;
use optimiser::replay::Settings;
use optimiser::sizing::{days, heat_cost};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::candidate::Candidate;
use super::daily::typical;
pub use super::daily::{DaysAt, Detail, SlotRow, TypicalDay};
use super::{World, sha256};
use crate::assemble::PeriodError;
use crate::house::House;
use crate::replay::{Entry, Progress, Replayed, document::Document, replay};

/// Name and version of the document.
pub const SCHEMA: &str = "stowheat/case/2";

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
    /// The replay, as `replay --json` prints it.
    pub replay: Document,
    /// Days of stowheat's run.
    pub stowheat: Detail,
    /// Days of the best rule's run.
    pub best_rule: Option<Detail>,
    /// Rating of the main fuse [A].
    pub fuse_amperes: f64,
    /// Current at the import limit, per phase [A].
    pub limit_amperes: f64,
    /// Days to look at slot by slot.
    pub typical_days: Vec<TypicalDay>,
}

/// Why a case has no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CaseError {
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
    let house = world.house(&candidate.house);
    let period = world.period(&house)?;
    let replayed = replay(&house, &period, Settings::default(), true, progress)?;
    Ok(Case::of(&house, &replayed, input(candidate, world)))
}

impl Case {
    /// The case of a replay; `input` names what it was made from.
    pub fn of(house: &House, replayed: &Replayed<'_>, input: String) -> Self {
        let stage = &replayed.stage;
        let own = replayed.stowheat();
        let volts = house.supply.volts * f64::from(house.supply.phases);
        Self {
            schema: SCHEMA.to_owned(),
            program: env!("CARGO_PKG_VERSION").to_owned(),
            input,
            replay: Document::new(replayed),
            stowheat: detail(house, replayed, own),
            best_rule: replayed.best_rule().map(|rule| detail(house, replayed, rule)),
            fuse_amperes: house.supply.fuse.amperes(),
            limit_amperes: house.site.grid.import_limit.kw() * 1_000.0 / volts,
            typical_days: typical(house, stage, &own.run, &days(stage, &own.run)),
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

fn detail(house: &House, replayed: &Replayed<'_>, entry: &Entry) -> Detail {
    let stage = &replayed.stage;
    let cost = heat_cost(stage, &entry.run, replayed.worth, 0..stage.horizon().len());
    Detail::of(house, stage, &entry.run, &days(stage, &entry.run), cost)
}
