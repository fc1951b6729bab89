//! Searches beside the first, each on a core of its own.
//!
//! Every search ends in a hollow, and in which one depends on where it began: from the
//! program's plan and from plans far from it, they are rarely all bad on the same day. All
//! are always made, so that the plan does not depend on the machine.

use std::thread;

use crate::problem::HeaterId;

use super::candidate::Candidate;
use super::polish::{Search, Vain, hunted};
use super::score::Judge;

/// Improves a candidate, and others far from it beside it; the best of all.
pub(super) fn together<'p>(
    judge: &mut Judge<'p>,
    best: Candidate,
    search: Search<'_>,
    vain: &mut Vain,
) -> Candidate {
    let mut others = Vec::new();
    for energies in far_from(judge, &best) {
        let (mut own, mut far) = (judge.clone(), Candidate { energies, ..best.clone() });
        let all: Vec<usize> = (0..judge.problem().horizon.len()).collect();
        if own.rerun(&best, &mut far, &all) {
            others.push((own, far));
        }
    }
    let from_afar = |(mut judge, far): (Judge<'p>, Candidate)| {
        let mut vain = Vain::default();
        let found = hunted(&mut judge, far, search, &mut vain);
        (judge, found, vain)
    };
    let (mut best, others) = thread::scope(|scope| {
        // A system that refuses a thread has the plan without it.
        let begun = |far| thread::Builder::new().spawn_scoped(scope, || from_afar(far)).ok();
        let others: Vec<_> = others.into_iter().filter_map(begun).collect();
        let own = hunted(judge, best, search, vain);
        (own, others.into_iter().map(thread::ScopedJoinHandle::join).collect::<Vec<_>>())
    });
    for other in others {
        let (own, found, tried) = other.unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        if found.score < best.score {
            // A judge knows its own candidates by number.
            (*judge, best, *vain) = (own, found, tried);
        }
    }
    best
}

/// Energies far from a candidate's, `[heater][slot]` [kWh]: none but what is held by hand,
/// and where stores have several elements, all of a store's in its highest.
fn far_from(judge: &Judge<'_>, best: &Candidate) -> Vec<Vec<Vec<f64>>> {
    let problem = judge.problem();
    let heaters: Vec<HeaterId> = problem.heaters().collect();
    let height = |heater: &usize| {
        let id = heaters[*heater];
        problem.site.stores[id.store].elements[id.element].height.value()
    };
    let heaters = &heaters;
    let of_store = |store: usize| (0..heaters.len()).filter(move |&h| heaters[h].store == store);
    let highest: Vec<Option<usize>> = (0..problem.site.stores.len())
        .map(|store| of_store(store).max_by(|a, b| height(a).total_cmp(&height(b))))
        .collect();
    let energies = |wish: &dyn Fn(usize, usize) -> f64| -> Vec<Vec<f64>> {
        let row = |heater: usize| {
            let slots = 0..problem.horizon.len();
            let own = slots.map(|slot| {
                let (least, most) = judge.range_kwh(heater, slot);
                wish(heater, slot).min(most).max(least)
            });
            own.collect()
        };
        (0..heaters.len()).map(row).collect()
    };
    let mut far = vec![energies(&|_, _| 0.0)];
    if problem.site.stores.iter().any(|store| store.elements.len() > 1) {
        far.push(energies(&|heater, slot| {
            let store = heaters[heater].store;
            if highest[store] != Some(heater) {
                return 0.0;
            }
            of_store(store).map(|own| best.energies[own][slot]).sum()
        }));
    }
    far
}
