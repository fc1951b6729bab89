//! Why a replay came out as it did: what each limit cost, and what was not known.

use optimiser::problem::ProblemError;
use optimiser::replay::{Foreknown, Ledger, Planning, Settings, Stage, Timeline};
use optimiser::sizing::multipliers;

use super::{Progress, Replayed, period_solver};
use crate::size::margins::{Value, value};

/// stowheat once more over the same days, with something known beforehand.
#[derive(Debug, Clone, PartialEq)]
pub struct Knowing {
    /// What was known.
    pub what: &'static str,
    /// Cost with what is left valued alike [minor].
    pub cost: f64,
    /// Draw heat that arrived cold [%].
    pub unmet_percent: f64,
}

/// What can be known beforehand, one by one and all of it.
pub const KINDS: [&str; 5] = ["the prices", "the draws", "the sun", "the load", "everything"];

/// What a unit more of each capacity would have saved somebody who knows the whole
/// period, near the present sizes only; `None` for a house without a bound.
///
/// # Errors
/// Why there is no answer, in words.
pub fn limits(replayed: &Replayed<'_>) -> Option<Result<Vec<Value>, String>> {
    replayed.stage.has_bound().then(|| {
        let found = multipliers(&replayed.stage, replayed.worth, &[], &mut period_solver())?;
        Ok(found.iter().map(|m| value(replayed.house, m.capacity, m.up, m.down)).collect())
    })
}

/// Runs stowheat again with each thing known beforehand that it did not know.
///
/// # Errors
/// If the site's state or draws do not fit its stores.
pub fn remainder(
    replayed: &Replayed<'_>,
    settings: Settings,
    progress: &mut dyn FnMut(Progress),
) -> Result<Vec<Knowing>, ProblemError> {
    let timeline = replayed.stage.timeline();
    let known = timeline.record().foreknown;
    let mut all = Vec::new();
    for what in KINDS {
        let more = knowing(known, what);
        if more == known {
            continue;
        }
        let timeline = told(timeline, more, what == "everything");
        let stage = Stage::new(&replayed.house.site, &timeline, replayed.stage.start())?;
        let slots = stage.horizon().len();
        let mut planning = Planning::new(&replayed.house.site, settings);
        let run = stage.run(&mut planning, &mut |done| {
            progress(Progress::Knowing(what, done, slots));
        });
        let whole = Ledger::of(&stage, &run, 0..slots);
        let (cost, unmet_percent) = (whole.cost(replayed.worth), whole.taps.unmet_percent());
        all.push(Knowing { what, cost, unmet_percent });
    }
    Ok(all)
}

fn knowing(known: Foreknown, what: &str) -> Foreknown {
    let also = |own: bool, name: &str| own || what == name || what == "everything";
    Foreknown {
        prices: also(known.prices, "the prices"),
        draws: also(known.draws, "the draws"),
        pv: also(known.pv, "the sun"),
        base_load: also(known.base_load, "the load"),
    }
}

/// The same days with other things known beforehand, the weather among them or not.
fn told(timeline: &Timeline, known: Foreknown, weather: bool) -> Timeline {
    let mut around = timeline.surroundings().clone();
    around.foreknown |= weather;
    timeline.clone().with_foreknown(known).with_surroundings(around)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_is_all_that_there_is() {
        let none = Foreknown::default();
        let each = KINDS[..4].iter().fold(none, |known, what| knowing(known, what));
        assert_eq!(each, knowing(none, "everything"));
        assert!(KINDS[..4].iter().all(|what| knowing(none, what) != none));
        assert_eq!(knowing(each, "the prices"), each);
    }
}
