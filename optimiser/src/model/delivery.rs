//! Delivery at the tap.
//!
//! For each class of draws, that is each rung `k'` that some draw needs:
//!
//! - `Σ_{k≥k'} c·(θ_k − θ_0)·x[k] + w = E`, heat asked for and `w` what arrives cold;
//! - `Σ_{classes} Σ_{j≥k} x[j] ≤ Σ_z H[z,k,t−1]`: a draw uses water that was hot
//!   when the slot began, and water below rises as the draw goes on.

use crate::problem::Problem;
use crate::time::Slot;

use super::ladder::Ladder;
use super::layout::Layout;
use super::program::Program;

/// Heat asked for, sorted into classes.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Demand {
    /// For each store the rungs that its draws need, rising.
    pub(crate) classes: Vec<Vec<usize>>,
    /// Heat that can be asked of the store [kWh], `[store][class][slot]`.
    pub(crate) asked: Vec<Vec<Vec<f64>>>,
    /// Heat that no rung can give, because it is asked for too hot [kWh],
    /// `[store][slot]`.
    pub(crate) beyond: Vec<Vec<f64>>,
    /// Litres at the start of the horizon, `[store][z][k − 1]`.
    start: Vec<Vec<Vec<f64>>>,
}

impl Demand {
    pub(crate) fn new(problem: &Problem, ladders: &[Ladder]) -> Self {
        let slots = problem.horizon.len();
        let rung_of = |draw: &crate::problem::Draw| {
            ladders[draw.store].rung_for(draw.temperature).unwrap_or(ladders[draw.store].rungs())
        };
        let mut classes = vec![Vec::new(); ladders.len()];
        for draw in &problem.draws {
            classes[draw.store].push(rung_of(draw));
        }
        for own in &mut classes {
            own.sort_unstable();
            own.dedup();
        }
        let mut asked: Vec<Vec<Vec<f64>>> =
            classes.iter().map(|own| vec![vec![0.0; slots]; own.len()]).collect();
        let mut beyond = vec![vec![0.0; slots]; ladders.len()];
        for draw in &problem.draws {
            let ladder = &ladders[draw.store];
            let rung = rung_of(draw);
            let Ok(class) = classes[draw.store].binary_search(&rung) else { continue };
            let heat = draw.heat_kwh(problem.site.stores[draw.store].mains);
            let most = draw.volume.litres() * ladder.litre_kwh(ladder.rungs());
            for (slot, share) in shares(problem, draw) {
                asked[draw.store][class][slot] += heat.min(most) * share;
                beyond[draw.store][slot] += (heat - most).max(0.0) * share;
            }
        }
        let start = ladders.iter().zip(&problem.state.stores).map(|(l, p)| l.litres(p)).collect();
        Self { classes, asked, beyond, start }
    }
}

/// Shares of a draw that fall into each slot of the horizon.
fn shares(problem: &Problem, draw: &crate::problem::Draw) -> Vec<(usize, f64)> {
    let Some(span) = Slot::new(draw.start, draw.end()) else { return Vec::new() };
    let slots = problem.horizon.slots();
    let first = slots.partition_point(|s| s.end() <= span.start());
    slots[first..]
        .iter()
        .take_while(|s| s.start() < span.end())
        .enumerate()
        .map(|(i, s)| (first + i, s.overlap_seconds(span) as f64 / span.seconds() as f64))
        .collect()
}

pub(super) fn rows(
    program: &mut Program,
    ladders: &[Ladder],
    layout: &Layout,
    demand: &Demand,
    slot: usize,
) {
    for (store, ladder) in ladders.iter().enumerate() {
        let columns = &layout.slots[slot].stores[store];
        for (class, (own, &rung)) in columns.classes.iter().zip(&demand.classes[store]).enumerate()
        {
            let heat = demand.asked[store][class][slot];
            let terms: Vec<_> = own
                .taken
                .iter()
                .enumerate()
                .map(|(j, &x)| (x, ladder.litre_kwh(rung + j)))
                .chain([(own.unmet, 1.0)])
                .collect();
            program.row(heat, heat, terms);
        }
        let lowest = demand.classes[store].first().copied().unwrap_or(ladder.rungs() + 1);
        for rung in lowest..=ladder.rungs() {
            hot_at_start(program, layout, demand, (slot, store, rung), ladder.rungs());
        }
    }
}

fn hot_at_start(
    program: &mut Program,
    layout: &Layout,
    demand: &Demand,
    (slot, store, rung): (usize, usize, usize),
    rungs: usize,
) {
    let columns = &layout.slots[slot].stores[store];
    let mut terms = Vec::new();
    for class in &columns.classes {
        let first = rungs + 1 - class.taken.len();
        terms.extend(
            class
                .taken
                .iter()
                .enumerate()
                .filter(|(j, _)| first + j >= rung)
                .map(|(_, &x)| (x, 1.0)),
        );
    }
    let mut hot = 0.0;
    if slot == 0 {
        hot = demand.start[store].iter().map(|zone| zone[rung - 1]).sum();
    } else {
        let before = &layout.slots[slot - 1].stores[store].litres;
        terms.extend(before.iter().map(|zone| (zone[rung - 1], -1.0)));
    }
    program.row(f64::NEG_INFINITY, hot, terms);
}
