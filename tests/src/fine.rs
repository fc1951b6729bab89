//! A published schedule on a finer plant than the one that judged it.

use optimiser::judge::end_worth;
use optimiser::plant::{Commands, Outcome, Physics, Plant};
use optimiser::problem::Problem;
use optimiser::schedule::Schedule;
use optimiser::units::Fraction;

/// A draw that misses more than this share of its heat is cold.
const COLD_SHARE: f64 = 0.02;

/// What a schedule said and what the finer plant made of it.
#[derive(Debug, Clone)]
pub struct Finer {
    /// Net cost by the schedule [minor].
    pub planned: f64,
    /// Net cost at the finer plant's meter [minor].
    pub simulated: f64,
    /// The same less the worth of what is left [minor].
    pub total: f64,
    /// What the shares of the cost are taken of: net cost, at least 50 [minor].
    pub scale: f64,
    /// Draws that came out cold.
    pub cold: usize,
    /// Those of them that the schedule called served.
    pub broken: usize,
    /// Distances of the temperatures at the top and the bottom of each store at
    /// the end of each slot [K].
    pub apart: Vec<f64>,
}

/// Runs the published commands through a plant of twice the layers at half the
/// step. The elements stay at their heights; one that heats from the base, as
/// [`Store::lowest_heated`](optimiser::site::Store::lowest_heated) has it, still does.
pub fn finer(problem: &Problem, schedule: &Schedule) -> Finer {
    let mut site = problem.site.clone();
    for store in &mut site.stores {
        let layer = 1.0 / store.layers as f64;
        for element in store.elements.iter_mut().filter(|e| e.height.value() <= layer) {
            element.height = Fraction::clamped(element.height.value().min(0.5 * layer));
        }
        store.layers *= 2;
    }
    let mut plant = Plant::with_physics(&site, Physics { step_share: 0.5, ..Physics::default() });
    let scene = plant.scene(&problem.into()).expect("a valid problem");
    let outcome = plant.simulate(&scene, &Commands::of(problem, schedule));
    let net = outcome.cost(&site, &scene).net();
    let mut finer = Finer {
        planned: schedule.cost.net(),
        simulated: net,
        total: net - end_worth(problem, &outcome),
        scale: schedule.cost.net().abs().max(50.0),
        cold: 0,
        broken: 0,
        apart: apart(schedule, &outcome),
    };
    for (store, trace) in outcome.stores.iter().enumerate() {
        for record in trace.draws() {
            let allowed = COLD_SHARE * record.asked_kwh;
            if record.unmet_kwh() <= allowed {
                continue;
            }
            let draw = &problem.draws[record.draw];
            let runs = schedule
                .slots
                .iter()
                .filter(|plan| plan.slot.start() < draw.end() && draw.start < plan.slot.end());
            let said: f64 = runs.map(|plan| plan.stores[store].unmet_kwh).sum();
            finer.cold += 1;
            finer.broken += usize::from(said <= allowed);
        }
    }
    finer
}

/// The ends of each store as planned and as simulated, slot by slot [K].
fn apart(schedule: &Schedule, outcome: &Outcome) -> Vec<f64> {
    let mut apart = Vec::new();
    for (index, plan) in schedule.slots.iter().enumerate() {
        for (told, trace) in plan.stores.iter().zip(&outcome.stores) {
            // Two layers of the finer tank are one of the judge's.
            let layers = trace.layers(index + 1);
            let bottom = 0.5 * (layers[0] + layers[1]);
            let top = 0.5 * (layers[layers.len() - 1] + layers[layers.len() - 2]);
            apart.push((told.bottom.celsius() - bottom).abs());
            apart.push((told.top.celsius() - top).abs());
        }
    }
    apart
}

/// A value below which a share of the values lie; zero of none.
pub fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().saturating_sub(1);
    sorted.get((last as f64 * share).round() as usize).copied().unwrap_or(0.0)
}
