//! Larger steps out of a hollow: a run or a stretch is taken out as a whole, and
//! what is short then is put back where it serves best.

use super::moves::{Move, NOTHING, short_in_case, short_slots};
use super::polish::{GAIN, Hunt};
use super::repack::deadlines;
use super::score::Judge;
use super::worths::Worths;

/// Quanta that are put back, as shares of what an element can use in half an hour.
const QUANTA: [f64; 3] = [1.0, 0.4, 0.15];

/// Most quanta put back for one run, and added to what the program made.
const MOST_STEPS: usize = 8;
const MOST_STEPS_AT_FIRST: usize = 40;

/// Heat that costs less is as good as free [minor].
const AS_GOOD_AS_FREE: f64 = 0.1;

/// Cheapest slots that a quantum is tried in.
const CHEAPEST: usize = 2;

/// Takes out every run and stretch in turn, the dearest first, and keeps what is
/// better for it.
pub(super) fn rebuild(hunt: &mut Hunt<'_>, judge: &mut Judge<'_>) {
    let worths = Worths::new(judge, &hunt.best, hunt.duals, QUANTA[0]);
    for ruin in ruins(judge, hunt, &worths) {
        if hunt.left < 2 {
            return;
        }
        let fits = ruin.changes.iter().all(|&(heater, slot, kwh)| {
            hunt.best.energies[heater][slot] + kwh >= judge.range_kwh(heater, slot).0 - 1e-9
        });
        if !fits {
            continue;
        }
        let before = hunt.best.clone();
        hunt.left -= 1;
        if hunt.run(judge, &ruin) {
            std::mem::swap(&mut hunt.best, &mut hunt.trial);
            hunt.put_back(judge, &worths, (before.score, before.shortfall), MOST_STEPS);
            hunt.best = super::settle::settled(judge, hunt.best.clone());
        }
        if hunt.best.score > before.score - GAIN {
            hunt.best = before;
        }
    }
}

impl Hunt<'_> {
    /// Adds heat until nothing is short any more, as far as that pays: a search that
    /// begins with cold draws spends most of its time on them.
    pub(super) fn make_up(&mut self, judge: &mut Judge<'_>) {
        let worths = Worths::new(judge, &self.best, self.duals, QUANTA[0]);
        self.put_back(judge, &worths, (f64::INFINITY, 0.0), MOST_STEPS_AT_FIRST);
        self.best = super::settle::settled(judge, self.best.clone());
    }

    /// Adds heat where something is short, each time where it makes up for most of that
    /// for its cost, until a score is passed or no more is short than was.
    fn put_back(
        &mut self,
        judge: &mut Judge<'_>,
        worths: &Worths,
        (score, shortfall): (f64, f64),
        steps: usize,
    ) {
        for _ in 0..steps {
            let money = self.best.score - self.best.shortfall;
            if self.best.shortfall <= shortfall + GAIN || money > score {
                return;
            }
            let mut better: Option<(f64, super::Candidate)> = None;
            for change in places(judge, self, worths) {
                if self.left == 0 {
                    return;
                }
                self.left -= 1;
                if !self.run(judge, &change) || self.trial.score > self.best.score - GAIN {
                    continue;
                }
                let less = self.best.shortfall - self.trial.shortfall.max(shortfall);
                let dearer = self.trial.score - self.trial.shortfall - money;
                let gain = less / dearer.max(AS_GOOD_AS_FREE);
                if better.as_ref().is_none_or(|(most, _)| gain > *most) {
                    better = Some((gain, self.trial.clone()));
                }
            }
            let Some((_, better)) = better else { return };
            self.best = better;
        }
    }
}

/// Runs without a break, and what a heater uses between two draws.
fn ruins(judge: &Judge<'_>, hunt: &Hunt<'_>, worths: &Worths) -> Vec<Move> {
    let problem = judge.problem();
    let mut spans: Vec<(usize, usize, usize)> = Vec::new();
    for (heater, id) in problem.heaters().enumerate() {
        let row = &hunt.best.energies[heater];
        let mut slot = 0;
        while slot < row.len() {
            let end = (slot..row.len()).find(|&s| row[s] < NOTHING).unwrap_or(row.len());
            if end > slot {
                spans.push((heater, slot, end));
            }
            slot = end + 1;
        }
        let ends = deadlines(judge, id.store);
        spans.extend(ends.windows(2).map(|pair| (heater, pair[0], pair[1])));
    }
    spans.sort_unstable();
    spans.dedup();
    let mut ruins: Vec<Move> = spans
        .into_iter()
        .filter_map(|(heater, from, until)| {
            let row = &hunt.best.energies[heater];
            let changes: Vec<_> = (from..until)
                .filter(|&slot| row[slot] > NOTHING)
                .map(|slot| (heater, slot, judge.range_kwh(heater, slot).0 - row[slot]))
                .collect();
            (!changes.is_empty()).then(|| {
                let spent =
                    changes.iter().map(|&(h, slot, kwh)| -kwh * worths.price(h, slot)).sum();
                Move { changes, promise: spent }
            })
        })
        .collect();
    ruins.sort_by(|a, b| b.promise.total_cmp(&a.promise));
    // A run that is all of its stretch is one.
    ruins.dedup_by(|a, b| a.changes == b.changes);
    ruins
}

/// Where a quantum could go for what is short first: the cheapest slots before it,
/// and the last.
fn places(judge: &Judge<'_>, hunt: &Hunt<'_>, worths: &Worths) -> Vec<Move> {
    let problem = judge.problem();
    let mut places = Vec::new();
    for (heater, id) in problem.heaters().enumerate() {
        let in_case = short_in_case(judge, &hunt.best, id.store).into_iter().map(|short| short.0);
        let short = short_slots(judge, &hunt.best, id.store).into_iter().chain(in_case);
        let Some(until) = short.min() else { continue };
        let power = problem.site.stores[id.store].elements[id.element].power.kw();
        for quantum in QUANTA {
            let kwh = quantum * power * 0.5;
            let room = |slot: &usize| {
                judge.most_kwh(heater, *slot) - hunt.best.energies[heater][*slot] >= kwh - 1e-9
            };
            let mut slots: Vec<usize> = (until.saturating_sub(24)..until).filter(room).collect();
            let last = slots.last().copied();
            let price = |slot: usize| worths.price(heater, slot);
            slots.sort_by(|&a, &b| price(a).total_cmp(&price(b)).then(b.cmp(&a)));
            slots.truncate(CHEAPEST);
            slots.extend(last.filter(|last| !slots.contains(last)));
            places.extend(
                slots
                    .into_iter()
                    .map(|slot| Move { changes: vec![(heater, slot, kwh)], ..Move::default() }),
            );
        }
    }
    places
}
