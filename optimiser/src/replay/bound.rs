//! What could have been done knowing everything: one linear program over the
//! whole period.
//!
//! It has the physics of the plans, which is kinder than the plant: water may
//! be lifted litre by litre, and meter and battery may go both ways in a slot.
//! It owes no pasteurisation and no promise. So it is a bound below, not a plan.
//!
//! The **bound at equal comfort** also keeps, at each local time of day, the
//! water that an honest controller must keep because it does not know the next
//! draw: nearly the most that was ever drawn in the hour that follows (the
//! 99.9 % quantile over the period), less what the heaters can make meanwhile.
//!
//! In a plant room the program is not kinder than the plant everywhere: it takes each
//! step of a heat pump and the losses of a pool at fixed temperatures. What it costs
//! there is a measure beside the plant, and not certain to be below it.

mod plant_room;

pub use plant_room::TooCold;

use super::ledger::stored_in_each;
use super::{Run, Stage, StoredWorth};
use crate::model::{Formulation, Refinement};
use crate::problem::{EndValue, Problem, Ready, ValueStep, Weights};
use crate::solution::{SlotFlows, Solution};
use crate::solve::{Best, PeriodSolver, Verdict};
use crate::time::Series;
use crate::units::{Energy, Price, Volume};
use crate::water::KWH_PER_LITRE_KELVIN;

/// Quantile of the next hour's draws that is kept ready.
const READY_QUANTILE: f64 = 0.999;

/// Slots whose draws are kept ready.
const READY_SLOTS: usize = 2;

/// What the program that knows everything owes to comfort.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Comfort {
    /// The draws that happened, no more.
    Draws,
    /// Also what an honest controller must keep ready.
    Ready,
}

/// The answer of a program that knows the whole period.
#[derive(Debug, Clone, PartialEq)]
pub struct Bound {
    /// Cost that nobody can be below, counted as in [`super::Ledger::cost`] [minor].
    pub cost: f64,
    /// By how much the least cost may lie above that [minor].
    pub open: f64,
    /// Draw heat it leaves unmet [kWh].
    pub unmet_kwh: f64,
    /// How cold it leaves rooms and pool.
    pub too_cold: TooCold,
    /// Flows of each slot.
    pub slots: Vec<SlotFlows>,
    /// Heat in the stores above mains, at the start and at the end [kWh].
    pub stored_kwh: (f64, f64),
}

/// The least cost of the period for somebody who knows all of it and leaves at its
/// end what a run left: how the worth of that is put then favours nobody.
///
/// # Errors
/// Why there is no answer, in words.
pub fn prescient(
    stage: &Stage<'_>,
    worth: StoredWorth,
    comfort: Comfort,
    like: &Run,
    solver: &mut PeriodSolver,
) -> Result<Bound, String> {
    let problem = problem(stage, worth, comfort)?;
    let problem = plant_room::ending_like(problem, like);
    let problem = Problem { end_value: left_like(stage, like, &problem), ..problem };
    let formulation = Formulation::new(&problem, &Refinement::default());
    let best = solver.solve(&formulation.program).map_err(|error| error.to_string())?;
    let Best { answer, open } = best;
    match answer.verdict {
        Verdict::Optimal => {}
        Verdict::Limit => return Err("the time limit was reached".to_owned()),
        Verdict::Infeasible => return Err("the limits leave load unserved".to_owned()),
        Verdict::Failed(why) => return Err(why.to_owned()),
    }
    let solution = Solution::new(&problem, &formulation, &answer);
    let wear = problem.site.battery.map_or(0.0, |b| b.wear.per_kwh());
    let fuel = problem.site.plant_room.boiler.as_ref().map_or(0.0, |b| b.fuel_price.per_kwh());
    let flows = solution.slots.iter().enumerate();
    let paid: f64 = flows
        .map(|(slot, flow)| {
            flow.import * problem.import_price[slot].per_kwh()
                - flow.export * problem.export_price[slot].per_kwh()
                + flow.discharge * wear
                + flow.routes.iter().map(|route| route.fuel * fuel).sum::<f64>()
        })
        .sum();
    let unmet = solution.slots.iter().flat_map(|flow| &flow.stores).map(|s| s.unmet).sum();
    let stored = (stage.stored_at_start(), stored_at_end(&solution));
    let charge = match (problem.site.battery, solution.slots.last()) {
        (Some(_), Some(last)) => last.battery - stage.start().battery.kwh(),
        _ => 0.0,
    };
    let gain = (stored.1 - stored.0) * worth.heat
        + plant_room::gained(&problem, &solution) * worth.elsewhere
        + charge * worth.battery;
    Ok(Bound {
        cost: paid - gain - open,
        open,
        unmet_kwh: unmet,
        too_cold: plant_room::too_cold(stage, &solution),
        stored_kwh: stored,
        slots: solution.slots,
    })
}

/// So much for what a run left at the end that it is never cheaper to leave less,
/// and nothing for more.
pub(super) fn left_like(stage: &Stage<'_>, like: &Run, problem: &Problem) -> EndValue {
    let value = Price::clamped(0.5 * problem.weights.unmet_per_kwh);
    let step = |kwh: f64| vec![ValueStep { width: Energy::clamped(kwh.max(0.0)), value }];
    // A run that was led in has more slots than the stage.
    let end = like.outcome.house.len();
    let battery = stage.site().battery;
    let charge = like.outcome.state(end).battery.kwh() - battery.map_or(0.0, |b| b.reserve.kwh());
    EndValue {
        stores: stored_in_each(stage, like, end).into_iter().map(step).collect(),
        battery: battery.map_or_else(Vec::new, |_| step(charge)),
        ..plant_room::left_like(problem, like, value)
    }
}

/// Heat that the last litres hold above mains [kWh].
fn stored_at_end(solution: &Solution) -> f64 {
    let Some(last) = solution.slots.last() else { return 0.0 };
    let stores = last.stores.iter().zip(&solution.rungs);
    stores
        .flat_map(|(store, rungs)| store.litres.iter().map(move |zone| (zone, rungs)))
        .flat_map(|(zone, rungs)| zone.iter().zip(rungs.windows(2)))
        .map(|(litres, step)| litres * (step[1] - step[0]) * KWH_PER_LITRE_KELVIN)
        .sum()
}

/// Worth of what is stored at the start, as the end value counts it [minor].
pub(crate) fn held(stage: &Stage<'_>, worth: StoredWorth) -> f64 {
    let start = stage.start();
    let charge = stage.site().battery.map_or(0.0, |battery| {
        // The end value counts charge above the reserve, the ledger all of it.
        let floor = battery.reserve.kwh().min(start.battery.kwh());
        start.battery.kwh() - floor
    });
    stage.stored_at_start() * worth.heat + charge * worth.battery
}

/// The program of the whole period.
pub(crate) fn problem(
    stage: &Stage<'_>,
    worth: StoredWorth,
    comfort: Comfort,
) -> Result<Problem, String> {
    let record = stage.timeline().record();
    let judged = stage.timeline().judged();
    let horizon = stage.horizon().clone();
    let mut site = stage.site().clone();
    for store in &mut site.stores {
        store.held_back = Volume::constant(0.0);
    }
    let (import, export): (Vec<Price>, Vec<Price>) =
        (0..horizon.len()).map(|slot| stage.usual_prices(slot)).unzip();
    let said = |error: crate::time::TimeError| error.to_string();
    let import_price = Series::new("the import price", &horizon, import).map_err(said)?;
    let step = |kwh: f64, value: f64| {
        vec![ValueStep { width: Energy::clamped(kwh), value: Price::clamped(value) }]
    };
    let end_value = EndValue {
        stores: site
            .stores
            .iter()
            .map(|s| step(s.heat_at(s.highest_reach()), worth.heat))
            .collect(),
        battery: site.battery.map_or_else(Vec::new, |b| step(b.capacity.kwh(), worth.battery)),
        ..EndValue::default()
    };
    Problem {
        weights: Weights::for_house(&site, &import_price),
        import_price,
        export_price: Series::new("the export price", &horizon, export).map_err(said)?,
        pv: Series::new("the PV", &horizon, record.pv[judged.clone()].to_vec()).map_err(said)?,
        base_load: Series::new(
            "the base load",
            &horizon,
            record.base_load[judged.clone()].to_vec(),
        )
        .map_err(said)?,
        ambient: stage.timeline().surroundings().over(judged.clone(), &horizon),
        comfort: plant_room::comfort(stage, &horizon).map_err(said)?,
        draws: stage.timeline().draws_in(judged).to_vec(),
        ready: match comfort {
            Comfort::Draws => Vec::new(),
            Comfort::Ready => kept_ready(stage),
        },
        hygiene: Vec::new(),
        state: stage.start().clone(),
        end_value,
        by_hand: Vec::new(),
        published: None,
        site,
        horizon,
    }
    .validated()
    .map_err(|error| error.to_string())
}

/// For each store and slot boundary, the litres that must stand ready.
fn kept_ready(stage: &Stage<'_>) -> Vec<Ready> {
    let record = stage.timeline().record();
    let judged = stage.timeline().judged();
    let mut kept = Vec::new();
    for (index, store) in stage.site().stores.iter().enumerate() {
        let litres = stage.timeline().litres(index);
        let rise = store.use_temperature.above(store.mains);
        let power: f64 = store.elements.iter().map(|e| e.power.kw()).sum();
        let power = power.min(stage.site().grid.import_limit.kw());
        let power = power + plant_room::into_store(stage.site(), index);
        let made = power * 0.5 * READY_SLOTS as f64 / (KWH_PER_LITRE_KELVIN * rise);
        let need: Vec<f64> = (0..48)
            .map(|half_hour| {
                let alike = judged.clone().filter(|&k| record.marks[k].half_hour == half_hour);
                let mut drawn: Vec<f64> =
                    alike.map(|k| litres[k..k + READY_SLOTS].iter().sum()).collect();
                drawn.sort_by(f64::total_cmp);
                let at = (READY_QUANTILE * drawn.len() as f64).ceil() as usize;
                drawn.get(at.saturating_sub(1)).map_or(0.0, |most| (most - made).max(0.0))
            })
            .collect();
        for slot in judged.clone().skip(1) {
            let litres = need[usize::from(record.marks[slot].half_hour.min(47))];
            if litres > 0.0 {
                kept.push(Ready {
                    store: index,
                    by: record.horizon.slots()[slot].start(),
                    volume: Volume::clamped(litres),
                    temperature: store.use_temperature,
                    urgency: 1.0,
                });
            }
        }
    }
    kept
}
