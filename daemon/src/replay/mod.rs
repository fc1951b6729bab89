//! A replay of past data: stowheat beside the rules that people have today and
//! beside what could have been done knowing everything.

pub mod day;
pub mod document;
pub mod reasons;
pub mod table;

use std::sync::mpsc;

use chrono::NaiveDate;
use optimiser::problem::{ProblemError, State};
use optimiser::replay::baseline::{Ground, Kind, tune_together};
use optimiser::replay::bound::{Bound, Comfort, prescient};
use optimiser::replay::{Ledger, Planning, RoomsAndPool, Run, Settings, Stage, StoredWorth};
use optimiser::solve::{PeriodSolver, SolveLimits};

use self::reasons::Knowing;
use crate::assemble::{Gaps, Period};
use crate::house::House;
use crate::local_time::local_date;
use crate::size::margins::Value;

/// Share of draw heat that may arrive cold.
pub const ALLOWED_UNMET: f64 = 0.001;

/// Why a plant room has no bound, in words.
pub const NO_BOUND: &str = "the linear program is not everywhere kinder than the simulated plant room, so what it would cost knowing everything is not certain to be the least";

/// A solver of what knowing everything would have cost, for programs that are like each
/// other.
pub fn period_solver() -> PeriodSolver {
    PeriodSolver::new(SolveLimits { seconds: 300.0, ..SolveLimits::default() })
}

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
    /// why there is no answer. Of a plant room it is a measure, not certain to be the
    /// least.
    pub bounds: Option<[Result<Bound, String>; 2]>,
    /// What a unit more of each capacity would have saved, if it was asked for.
    pub limits: Option<Result<Vec<Value>, String>>,
    /// stowheat with things known beforehand, if it was asked for.
    pub remainder: Option<Vec<Knowing>>,
    /// The rule that was best over all periods that were replayed together.
    pub best: Option<Kind>,
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
    /// The run without the slots that lead in.
    fn new(
        stage: &Stage<'_>,
        (house, lead): (&House, usize),
        name: &'static str,
        run: Run,
    ) -> Self {
        let slots = stage.horizon().len();
        let whole = Ledger::of(stage, &run, lead..slots);
        let record = stage.timeline().record();
        let first = stage.timeline().judged().start;
        let month = |slot: usize| record.marks[first + slot].month;
        let mut months = Vec::new();
        let mut from = lead;
        for slot in lead + 1..=slots {
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

    /// The run of the rule that was best.
    pub fn best_rule(&self) -> Option<&Entry> {
        let best = self.best?;
        self.entries[1..].iter().find(|entry| entry.name == best.name())
    }

    /// What knowing everything would have cost over the slots that count, from the
    /// state in which stowheat began them.
    fn bounds(
        &self,
        progress: &mut dyn FnMut(Progress),
    ) -> Result<[Result<Bound, String>; 2], ProblemError> {
        let mut solver = period_solver();
        let like = &self.stowheat().run;
        let start = like.outcome.state(self.period.lead);
        let timeline = &self.period.timeline;
        let counted = timeline
            .beginning(timeline.judged().start + self.period.lead)
            .expect("days that count follow those that lead in");
        let stage = Stage::new(&self.house.site, &counted, &start)?;
        Ok([Comfort::Draws, Comfort::Ready].map(|comfort| {
            progress(Progress::Bound);
            prescient(&stage, self.worth, comfort, like, &mut solver)
        }))
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
    /// for nothing, and where the bound is not certain.
    pub fn captured(&self) -> Option<f64> {
        let rule = self.best_rule().filter(|rule| rule.comfortable)?;
        if !self.stowheat().comfortable || !self.stage.has_bound() {
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
///
/// # Panics
/// Never: one period gives one replay.
pub fn replay<'a>(
    house: &'a House,
    period: &'a Period,
    settings: Settings,
    with_bound: bool,
    progress: &mut dyn FnMut(Progress),
) -> Result<Replayed<'a>, ProblemError> {
    let all = replay_together(house, &[(period, 1.0)], settings, with_bound, progress)?;
    let mut one = all.into_iter().next().expect("one period gives one replay");
    if with_bound && one.bounds.is_none() {
        one.bounds = Some(one.bounds(progress)?);
    }
    Ok(one)
}

/// Replays several periods, each of which counts so many times. Each begins in the
/// state that the site file gives. A rule has one setting for all of them, and the
/// best rule is the one that is best over all of them. What knowing everything would have
/// cost is only told where it is certain to be the least.
///
/// # Errors
/// If the site's state or draws do not fit its stores.
pub fn replay_together<'a>(
    house: &'a House,
    periods: &[(&'a Period, f64)],
    settings: Settings,
    with_bound: bool,
    progress: &mut dyn FnMut(Progress),
) -> Result<Vec<Replayed<'a>>, ProblemError> {
    let start = State {
        battery: house.state.battery,
        stores: house.state.stores.clone(),
        plant_room: house.state.plant_room.clone(),
    };
    let stages: Vec<Stage<'a>> = periods
        .iter()
        .map(|(period, _)| Stage::new(&house.site, &period.timeline, &start))
        .collect::<Result<_, _>>()?;
    let grounds: Vec<Ground<'_>> = stages
        .iter()
        .zip(periods)
        .map(|(stage, (period, times))| {
            let (lead, worth) = (period.lead, stage.stored_worth());
            Ground { stage, lead, worth, times: *times }
        })
        .collect();
    let (sender, tuned) = mpsc::channel();
    let mut all = std::thread::scope(|scope| {
        // The rules need no solver, so they are tuned beside the plans, where there is a
        // core to spare.
        let grounds = &grounds;
        scope.spawn(move || {
            for kind in Kind::ALL {
                let found = tune_together(grounds, kind, ALLOWED_UNMET);
                if sender.send((kind, found)).is_err() {
                    break;
                }
            }
        });
        let mut all = planned(house, &stages, periods, settings, progress);
        for kind in Kind::ALL {
            progress(Progress::Tuning(kind));
            let Ok((kind, Some(tuned))) = tuned.recv() else { continue };
            for (replayed, run) in all.iter_mut().zip(tuned.runs) {
                let mut entry =
                    Entry::new(&replayed.stage, (house, replayed.period.lead), kind.name(), run);
                entry.settings = Some(tuned.ruled.to_string());
                replayed.entries.push(entry);
            }
        }
        all
    });
    let best = best_rule(&all, periods);
    for replayed in &mut all {
        replayed.best = best;
        if with_bound && replayed.stage.has_bound() {
            replayed.bounds = Some(replayed.bounds(progress)?);
        }
    }
    Ok(all)
}

/// What stowheat does with each period.
fn planned<'a>(
    house: &'a House,
    stages: &[Stage<'a>],
    periods: &[(&'a Period, f64)],
    settings: Settings,
    progress: &mut dyn FnMut(Progress),
) -> Vec<Replayed<'a>> {
    let slots: usize = stages.iter().map(|stage| stage.horizon().len()).sum();
    let mut driven = 0;
    let mut all = Vec::new();
    for (stage, (period, _)) in stages.iter().zip(periods) {
        let mut planning = Planning::new(&house.site, settings);
        let began = std::time::Instant::now();
        let run =
            stage.run(&mut planning, &mut |done| progress(Progress::Slots(driven + done, slots)));
        driven += stage.horizon().len();
        all.push(Replayed {
            house,
            period,
            planning_seconds: began.elapsed().as_secs_f64(),
            entries: vec![Entry::new(stage, (house, period.lead), "stowheat", run)],
            bounds: None,
            limits: None,
            remainder: None,
            best: None,
            worth: stage.stored_worth(),
            by_rule: (planning.by_rule(), planning.last_failure().map(str::to_owned)),
            stage: stage.clone(),
        });
    }
    all
}

/// The cheapest rule among those that kept everything warm enough over all periods,
/// or else the one that came nearest.
fn best_rule(all: &[Replayed<'_>], periods: &[(&Period, f64)]) -> Option<Kind> {
    let times = |index: usize| periods[index].1;
    let judged = Kind::ALL.into_iter().filter_map(|kind| {
        let own: Vec<&Entry> = all
            .iter()
            .map(|one| one.entries.iter().find(|entry| entry.name == kind.name()))
            .collect::<Option<_>>()?;
        let counted = own.iter().enumerate().map(|(index, e)| (&e.whole, times(index)));
        let warm = Ledger::are_comfortable(counted.clone(), ALLOWED_UNMET);
        let cost: f64 = counted.clone().zip(all).map(|((l, t), o)| t * l.cost(o.worth)).sum();
        let short: f64 = counted.map(|(ledger, times)| times * ledger.discomfort()).sum();
        Some((kind, warm, if warm { cost } else { short }))
    });
    let better =
        |a: &(Kind, bool, f64), b: &(Kind, bool, f64)| b.1.cmp(&a.1).then(a.2.total_cmp(&b.2));
    judged.min_by(better).map(|(kind, ..)| kind)
}
