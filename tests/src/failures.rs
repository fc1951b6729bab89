//! Draws that went wrong in a closed loop, and why.

use std::fmt::Write;

use optimiser::plant::DrawRecord;
use optimiser::replay::{Controller, Planning, Run, SlotCommands, Stage, View};
use optimiser::water::KWH_PER_LITRE_KELVIN;

/// A draw that misses more than this share of its heat went wrong.
const WRONG: f64 = 0.02;

/// Slots before a draw in which others make it one of several.
const SHORTLY: usize = 4;

/// A planning that is looked over the shoulder: what it kept ready and planned for.
#[derive(Debug)]
pub struct Watched {
    /// Who decides.
    pub own: Planning,
    kept: Vec<Kept>,
}

/// What was kept from the start of a slot on, for each store.
#[derive(Debug, Clone, Default)]
struct Kept {
    /// Litres and urgency of each step.
    steps: Vec<Vec<(f64, f64)>>,
    /// Litres that were planned for in the slot.
    planned: Vec<f64>,
}

impl Watched {
    /// Looks over the shoulder of a planning.
    pub fn new(own: Planning) -> Self {
        Self { own, kept: vec![Kept::default()] }
    }
}

impl Controller for Watched {
    fn command(&mut self, view: &View<'_>) -> SlotCommands {
        let mut kept = Kept::default();
        if let Some(problem) = self.own.problem(view) {
            let slots = problem.horizon.slots();
            let stores = 0..problem.site.stores.len();
            kept.steps = stores
                .clone()
                .map(|store| {
                    let own = problem.ready.iter().filter(|ready| ready.store == store);
                    let next = own.filter(|ready| ready.by == slots[0].end());
                    next.map(|ready| (ready.volume.litres(), ready.urgency)).collect()
                })
                .collect();
            kept.planned = stores
                .map(|store| {
                    let own = problem.draws.iter().filter(|draw| draw.store == store);
                    let next = own.filter(|draw| slots[1].contains(draw.start));
                    next.map(|draw| draw.volume.litres()).sum()
                })
                .collect();
        }
        self.kept.push(kept);
        self.own.command(view)
    }
}

/// Litres at the tap that arrived cold, by cause.
#[derive(Debug, Clone, Copy, Default)]
struct Causes {
    beyond: f64,
    not_asked: f64,
    not_held: f64,
    execution: f64,
}

/// Each draw that went wrong, and the causes in sum; beside it how the same draws went
/// under a rule.
pub fn told(stage: &Stage<'_>, run: &Run, watched: &Watched, rule: Option<&Run>) -> String {
    let mut text = String::new();
    let (mut sum, mut rule_kwh) = (Causes::default(), 0.0);
    let record = stage.timeline().record();
    let judged = stage.timeline().judged().start;
    let draws = &record.draws;
    let offset = draws.partition_point(|draw| draw.start < stage.horizon().start());
    for (index, trace) in run.outcome.stores.iter().enumerate() {
        let store = &stage.site().stores[index];
        let per_litre = KWH_PER_LITRE_KELVIN * store.use_temperature.above(store.mains);
        let full = store.heat_at(store.highest_reach()) / per_litre;
        let power: f64 = store.elements.iter().map(|element| element.power.kw()).sum();
        let own: Vec<_> = draws.iter().filter(|draw| draw.store == index).collect();
        for (place, record_of) in trace.draws().iter().enumerate() {
            if !is_wrong(record_of) {
                continue;
            }
            let draw = &draws[offset + record_of.draw];
            let Some(slot) = stage.horizon().index_at(draw.start) else { continue };
            let litres = draw.volume.litres();
            let before: f64 = own
                .iter()
                .filter(|other| {
                    let seconds = draw.start - other.start;
                    (1..=1_800 * SHORTLY as i64).contains(&seconds)
                })
                .map(|other| other.volume.litres())
                .sum();
            let usable = slot.checked_sub(1).map_or(f64::NAN, |s| trace.slots()[s].usable_litres);
            let kept = watched.kept.get(slot).cloned().unwrap_or_default();
            let steps = kept.steps.get(index).cloned().unwrap_or_default();
            let most = steps.iter().map(|step| step.0).fold(0.0, f64::max);
            let made = power * (draw.end() - draw.start) as f64 / 3_600.0 / per_litre;
            let cold = record_of.unmet_kwh() / per_litre;
            let beyond = (litres + before - full - made * (1.0 + SHORTLY as f64)).clamp(0.0, cold);
            let not_asked = (litres - most.max(usable)).clamp(0.0, cold - beyond);
            let not_held = (most - usable).clamp(0.0, cold - beyond - not_asked);
            let execution = cold - beyond - not_asked - not_held;
            sum.beyond += beyond;
            sum.not_asked += not_asked;
            sum.not_held += not_held;
            sum.execution += execution;
            let under_rule =
                rule.map_or(f64::NAN, |rule| rule.outcome.stores[index].draws()[place].unmet_kwh());
            rule_kwh += under_rule;
            let mark = record.marks[judged + slot];
            let _ = writeln!(
                text,
                "  store {index} {} local {:02}:{:02}{} {litres:.0} L ({before:.0} L shortly before), cold {cold:.0} L ({:.2} kWh), usable {usable:.0} of {full:.0} L, made meanwhile {made:.0} L, planned {:.0} L, kept {steps:.0?}, rule {under_rule:.2} kWh; beyond {beyond:.0} not asked {not_asked:.0} not held {not_held:.0} execution {execution:.0}",
                draw.start,
                mark.half_hour / 2,
                mark.half_hour % 2 * 30,
                if mark.weekend { " weekend" } else { "" },
                record_of.unmet_kwh(),
                kept.planned.get(index).copied().unwrap_or(f64::NAN),
            );
        }
    }
    let all = sum.beyond + sum.not_asked + sum.not_held + sum.execution;
    let share = |litres: f64| 100.0 * litres / all.max(1e-9);
    let _ = write!(
        text,
        "  cold {all:.0} L: beyond a full store {:.0} %, not asked of the reserve {:.0} %, asked and not held {:.0} %, the slot's execution {:.0} %; the same draws under the rule {rule_kwh:.2} kWh",
        share(sum.beyond),
        share(sum.not_asked),
        share(sum.not_held),
        share(sum.execution),
    );
    text
}

fn is_wrong(record: &DrawRecord) -> bool {
    record.asked_kwh > 0.0 && record.unmet_kwh() > WRONG * record.asked_kwh
}
