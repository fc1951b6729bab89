//! A replay of past data: stowheat beside the rules that people have today and
//! beside what could have been done knowing everything.

pub mod day;
pub mod document;
pub mod reasons;
pub mod table;

use chrono::NaiveDate;
use optimiser::problem::{ProblemError, State};
use optimiser::replay::baseline::{Kind, Tuned, tune};
use optimiser::replay::bound::{Bound, Comfort, prescient};
use optimiser::replay::{Ledger, Planning, RoomsAndPool, Run, Settings, Stage, StoredWorth};
use optimiser::solve::SolveLimits;

use self::reasons::Knowing;
use crate::assemble::{Gaps, Period};
use crate::house::House;
use crate::local_time::local_date;
use crate::size::margins::Value;

/// Share of draw heat that may arrive cold.
pub const ALLOWED_UNMET: f64 = 0.001;

/// Why a plant room has no bound, in words.
pub const NO_BOUND: &str = "the linear program is not everywhere kinder than the simulated plant room, so what it would cost knowing everything is not certain to be the least";

/// Time that each bound may take [s].
const BOUND_SECONDS: f64 = 300.0;

/// Everything that came of a replay.
#[derive(Debug, Clone)]
pub struct Replayed<'a> {
    /// The house.
    pub house: &'a House,
    /// The period.
    pub period: &'a Period,
    /// House and period, as they were run.
    pub stage: Stage<'a>,
    /// stowheat first, then the rules.
    pub entries: Vec<Entry>,
    /// What knowing everything would have cost, if it was asked for: with the
    /// draws alone, and at equal comfort, leaving at the end what stowheat left; or
    /// why there is no answer.
    pub bounds: Option<[Result<Bound, String>; 2]>,
    /// What a unit more of each capacity would have saved, if it was asked for.
    pub limits: Option<Result<Vec<Value>, String>>,
    /// stowheat with things known beforehand, if it was asked for.
    pub remainder: Option<Vec<Knowing>>,
    /// What stored energy is valued at.
    pub worth: StoredWorth,
    /// Slots that stowheat decided by rule, and why the last time.
    pub by_rule: (usize, Option<String>),
    /// Time that planning took [s].
    pub planning_seconds: f64,
}

/// One controller's run.
#[derive(Debug, Clone)]
pub struct Entry {
    /// Name used in files.
    pub name: &'static str,
    /// Settings of a rule, in words.
    pub settings: Option<String>,
    /// Whether unmet heat, and cold rooms and pool, stayed within what is allowed.
    pub comfortable: bool,
    /// What the plant did.
    pub run: Run,
    /// Sums over the whole period.
    pub whole: Ledger,
    /// Sums by local month, with the first day of each that is in the period.
    pub months: Vec<(NaiveDate, Ledger)>,
}

impl Entry {
    fn new(stage: &Stage<'_>, house: &House, name: &'static str, run: Run) -> Self {
        let slots = stage.horizon().len();
        let whole = Ledger::of(stage, &run, 0..slots);
        let record = stage.timeline().record();
        let first = stage.timeline().judged().start;
        let month = |slot: usize| record.marks[first + slot].month;
        let mut months = Vec::new();
        let mut from = 0;
        for slot in 1..=slots {
            if slot == slots || month(slot) != month(from) {
                let date = local_date(stage.horizon().slots()[from].start(), house.time_zone);
                months.push((date, Ledger::of(stage, &run, from..slot)));
                from = slot;
            }
        }
        let comfortable = whole.is_comfortable(ALLOWED_UNMET);
        Self { name, settings: None, comfortable, run, whole, months }
    }
}

impl Replayed<'_> {
    /// stowheat's own run.
    pub fn stowheat(&self) -> &Entry {
        &self.entries[0]
    }

    /// The cheapest rule among those that kept everything warm enough, or else the
    /// one that came nearest.
    pub fn best_rule(&self) -> Option<&Entry> {
        let cost = |entry: &&Entry| entry.whole.cost(self.worth);
        let rules = &self.entries[1..];
        rules
            .iter()
            .filter(|entry| entry.comfortable)
            .min_by(|a, b| cost(a).total_cmp(&cost(b)))
            .or_else(|| {
                let short = |entry: &&Entry| entry.whole.discomfort();
                rules.iter().min_by(|a, b| short(a).total_cmp(&short(b)))
            })
    }

    /// What a run left cold, in words.
    pub fn shortfall(&self, entry: &Entry) -> String {
        let mut parts = Vec::new();
        let whole = &entry.whole;
        if 0.01 * whole.taps.unmet_percent() > ALLOWED_UNMET {
            parts.push(format!(
                "{} left {:.2} % of the hot water's heat unmet, more than the 0.10 % allowed",
                entry.name,
                whole.taps.unmet_percent()
            ));
        }
        let room = whole.plant_room.as_ref();
        let kept = [
            ("the rooms", room.and_then(|room| room.rooms), RoomsAndPool::ROOMS_K),
            ("the pool", room.and_then(|room| room.pool), RoomsAndPool::POOL_K),
        ];
        for (name, sums, allowed) in kept {
            let mean = sums.map_or(0.0, |sums| sums.mean_below());
            if mean > allowed {
                parts.push(format!(
                    "{} left {name} too cold by {mean:.2} K in the mean, more than the {allowed} K allowed",
                    entry.name
                ));
            }
        }
        parts.join(", and ")
    }

    /// Saving of stowheat against a rule: cost without less cost with, each
    /// with what is left at the end valued alike [minor].
    pub fn saving(&self, rule: &Entry) -> f64 {
        rule.whole.cost(self.worth) - self.stowheat().whole.cost(self.worth)
    }

    /// Share of what was to be gained over the best rule that stowheat gained,
    /// measured against the bound at equal comfort; `None` if stowheat itself
    /// left more unmet than is allowed, since money saved by cold water counts
    /// for nothing.
    pub fn captured(&self) -> Option<f64> {
        let rule = self.best_rule().filter(|rule| rule.comfortable)?;
        if !self.stowheat().comfortable {
            return None;
        }
        let [_, Ok(bound)] = self.bounds.as_ref()? else { return None };
        let most = rule.whole.cost(self.worth) - bound.cost;
        (most > 1e-6).then(|| self.saving(rule) / most)
    }

    /// Days of the period.
    pub fn day_count(&self) -> i64 {
        (self.period.days.1 - self.period.days.0).num_days() + 1
    }

    /// Standing charge over the period [minor].
    pub fn standing_charge(&self) -> f64 {
        self.house.tariff.standing_charge_per_day * self.day_count() as f64
    }

    /// Slots of the period without a value.
    pub fn gaps(&self) -> Gaps {
        self.period.gaps
    }
}

/// What is worth telling while a replay runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progress {
    /// Slots planned and driven so far, of all.
    Slots(usize, usize),
    /// A kind of rule is being tuned.
    Tuning(Kind),
    /// The bound is being solved.
    Bound,
    /// Slots planned knowing something beforehand, of all.
    Knowing(&'static str, usize, usize),
}

/// Replays a period.
///
/// # Errors
/// If the site's state or draws do not fit its stores.
pub fn replay<'a>(
    house: &'a House,
    period: &'a Period,
    settings: Settings,
    with_bound: bool,
    progress: &mut dyn FnMut(Progress),
) -> Result<Replayed<'a>, ProblemError> {
    let start = State {
        battery: house.state.battery,
        stores: house.state.stores.clone(),
        plant_room: house.state.plant_room.clone(),
    };
    let stage = Stage::new(&house.site, &period.timeline, &start)?;
    let slots = stage.horizon().len();
    let worth = stage.stored_worth();
    let mut planning = Planning::new(&house.site, settings);
    let began = std::time::Instant::now();
    let run = stage.run(&mut planning, &mut |done| progress(Progress::Slots(done, slots)));
    let planning_seconds = began.elapsed().as_secs_f64();
    let mut entries = vec![Entry::new(&stage, house, "stowheat", run)];
    for kind in Kind::ALL {
        progress(Progress::Tuning(kind));
        if let Some(Tuned { ruled, run, .. }) = tune(&stage, kind, ALLOWED_UNMET, worth) {
            let mut entry = Entry::new(&stage, house, kind.name(), run);
            entry.settings = Some(ruled.to_string());
            entries.push(entry);
        }
    }
    let bounds = (with_bound && stage.has_bound()).then(|| {
        let limits = SolveLimits { seconds: BOUND_SECONDS, ..SolveLimits::default() };
        [Comfort::Draws, Comfort::Ready].map(|comfort| {
            progress(Progress::Bound);
            prescient(&stage, worth, comfort, &entries[0].run, limits)
        })
    });
    Ok(Replayed {
        house,
        period,
        entries,
        bounds,
        limits: None,
        remainder: None,
        worth,
        by_rule: (planning.by_rule(), planning.last_failure().map(str::to_owned)),
        planning_seconds,
        stage,
    })
}
