//! The heat of rules that differ in their dials only, most of it in one go.
//!
//! In a house of stores and elements, clock, prices and sun alone decide what a rule
//! tells them, but for pasteurisations, which wait for what the plant did. So that is
//! known for the whole period before anything is simulated, and the same for every
//! dial. What comes of it is the same as slot by slot, to the last bit.

use super::super::{Controller, Hygiene, Run, Served, Stage, View};
use super::rule::{HYGIENE_HOURS, Ruled};
use crate::plant::{Commands, Outcome, Plant};
use crate::time::Slot;

/// Slots that are run before anybody looks whether the rest is worth it.
const DAY: usize = 48;

/// What a rule does in each slot of a period while no pasteurisation falls due.
#[derive(Debug, Clone)]
pub(super) struct Ahead {
    /// Whether it heats from the grid.
    heats: Vec<bool>,
    commands: Commands,
}

impl Ahead {
    /// For a rule with any dial, and a boost or none.
    pub(super) fn of(stage: &Stage<'_>, ruled: &Ruled) -> Self {
        let mut ruled = ruled.clone();
        let slots = stage.horizon.len();
        // As if every pasteurisation had been proven when all is over.
        let after = stage.horizon.end() + HYGIENE_HOURS * 3_600;
        let proven = vec![after; stage.timeline.record().hygiene.len()];
        let mut commands = Commands::idle(stage.site, slots);
        let first = stage.timeline.judged().start;
        let heats = (0..slots)
            .map(|slot| {
                let now = first + slot;
                let view = View::new(stage.timeline, now, &stage.start, &proven, Served::default());
                let heats = ruled.grid_heats(&view);
                ruled.orders(&view, heats).write(&mut commands, slot);
                heats
            })
            .collect();
        Self { heats, commands }
    }

    /// Runs the heat of the period, in the memory of a run of the same house; `false`
    /// once `goes_on` says, after a slot, that it is not worth it.
    pub(super) fn heat(
        &self,
        stage: &Stage<'_>,
        ruled: &mut Ruled,
        run: &mut Run,
        goes_on: &mut dyn FnMut(&Outcome, usize) -> bool,
    ) -> bool {
        let (timeline, slots) = (stage.timeline, stage.horizon.slots());
        let mut full = Plant::new(stage.site);
        let mut dialled = Plant::new(&ruled.set_up(stage.site));
        let mut hygiene = Hygiene::new(timeline, stage.horizon.start());
        let Run { outcome, commands, holds } = run;
        commands.clone_from(&self.commands);
        let mut slot = 0;
        while slot < slots.len() {
            let day = &slots[slot..slots.len().min(slot + DAY)];
            let alone = day.iter().take_while(|slot| !falls_due(stage, &hygiene, **slot)).count();
            let until = slot + alone.max(1);
            if alone > 0 {
                dialled.resume_heat(&stage.scene, commands, outcome, slot..until);
            } else {
                let now = timeline.judged().start + slot;
                let (last, served) = (&hygiene.last, Served::default());
                let view = View::new(timeline, now, &stage.start, last, served);
                let told = ruled.orders(&view, self.heats[slot]);
                let plant = if told.dials_up { &mut full } else { &mut dialled };
                told.write(commands, slot);
                plant.resume_heat(&stage.scene, commands, outcome, slot..until);
            }
            for (done, span) in (slot..until).zip(&slots[slot..until]) {
                hygiene.look(timeline, outcome, done, *span);
                if !goes_on(outcome, done) {
                    return false;
                }
            }
            slot = until;
        }
        *holds = hygiene.holds;
        true
    }

    /// Tells the battery of a run to charge while the rule heats, or never.
    pub(super) fn tell_battery(&self, charges: bool, run: &mut Run) {
        for (told, heats) in run.commands.battery.iter_mut().zip(&self.heats) {
            *told = Ruled::battery(charges && *heats);
        }
    }
}

/// Whether a rule looks after a pasteurisation in a slot.
fn falls_due(stage: &Stage<'_>, hygiene: &Hygiene, slot: Slot) -> bool {
    let rules = &stage.timeline.record().hygiene;
    rules
        .iter()
        .zip(&hygiene.last)
        .any(|(rule, last)| *last + rule.every_seconds - slot.start() <= HYGIENE_HOURS * 3_600)
}
