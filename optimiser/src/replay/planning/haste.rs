//! Pasteurisations that no plan has brought about.

use super::super::baseline::keeper::Keeper;
use super::super::{SlotCommands, View};
use super::{Planning, SAFE_DIAL};
use crate::forecast::Knowledge;
use crate::plant::HeaterCommand;

/// How long before it falls due an unproven pasteurisation is forced [s]: long
/// enough to hold a stretch without draws in which the whole store gets hot.
const HASTE_SECONDS: i64 = 16 * 3_600;

impl Planning {
    /// A pasteurisation that no plan has brought about shortly before it falls
    /// due is done whatever it costs: the lowest element stays on until the
    /// plant has proven the hold.
    pub(super) fn hasten_pasteurisation(&self, view: &View<'_>, commands: &mut SlotCommands) {
        let now = view.slot(view.now());
        for (rule, due) in view.hygiene() {
            if due - now.start() > HASTE_SECONDS {
                continue;
            }
            let first: usize =
                self.site.stores[..rule.store].iter().map(|s| s.elements.len()).sum();
            let own = &self.site.stores[rule.store];
            let heights = own.elements.iter().map(|e| e.height.value()).enumerate();
            let Some((lowest, _)) = heights.min_by(|a, b| a.1.total_cmp(&b.1)) else {
                if let Some(mut keeper) = Keeper::of(&self.site, SAFE_DIAL, None) {
                    commands.jobs = keeper.jobs(view, true, &[rule.store]);
                }
                continue;
            };
            commands.heaters[first + lowest] = HeaterCommand {
                power: own.elements[lowest].power,
                minutes: now.hours() * 60.0,
                delay_minutes: 0.0,
            };
            commands.pumps[rule.store] = own.destratification_pump;
            commands.dials_up = true;
        }
    }
}
