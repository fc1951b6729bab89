//! The plan that is already out, on the slots of a later problem.

use crate::schedule::{BatteryMode, Schedule, SlotPlan};
use crate::time::{Horizon, Slot};
use crate::units::{Energy, Power};

/// What a published plan does in the slots of a problem. Those beyond its end
/// are left to the new plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Published {
    /// Slots that it covers, from the first.
    pub slots: usize,
    /// The energy that each element was to use in each of them, in the order of
    /// [`Problem::heaters`](crate::Problem::heaters).
    pub heaters: Vec<Vec<Energy>>,
    /// What the battery was to do in each of them, and its AC power.
    pub battery: Vec<(BatteryMode, Power)>,
}

impl Published {
    /// A schedule on the slots of a horizon: runs keep their times, and a slot that
    /// lies in several of the schedule's has the battery of the first.
    pub fn new(schedule: &Schedule, horizon: &Horizon) -> Self {
        let plans = &schedule.slots;
        let end = plans.last().map(|plan| plan.slot.end());
        let covered: Vec<Slot> = horizon
            .slots()
            .iter()
            .copied()
            .take_while(|slot| {
                plans.iter().any(|plan| plan.slot.contains(slot.start()))
                    && end.is_some_and(|end| slot.end() <= end)
            })
            .collect();
        let heaters = plans.first().map_or(0, |plan| plan.heaters.len());
        let in_slot = |heater: usize, slot: Slot| -> Energy {
            let reach = plans.iter().filter(|plan| plan.slot.overlap_seconds(slot) > 0);
            Energy::clamped(reach.map(|plan| run_kwh(plan, heater, slot)).sum())
        };
        let battery = |slot: &Slot| {
            let plan = plans.iter().find(|plan| plan.slot.contains(slot.start()));
            plan.map_or((BatteryMode::Hold, Power::constant(0.0)), SlotPlan::battery_command)
        };
        Self {
            slots: covered.len(),
            heaters: (0..heaters)
                .map(|heater| covered.iter().map(|slot| in_slot(heater, *slot)).collect())
                .collect(),
            battery: covered.iter().map(battery).collect(),
        }
    }
}

/// Energy of a planned run that falls into a slot [kWh].
fn run_kwh(plan: &SlotPlan, heater: usize, slot: Slot) -> f64 {
    let run = &plan.heaters[heater];
    let seconds = |minutes: f64| (minutes * 60.0).round() as i64;
    let start = plan.slot.start() + seconds(run.delay_minutes);
    let on = Slot::new(start, start + seconds(run.minutes));
    let shared = on.map_or(0, |on| on.overlap_seconds(slot));
    run.power.kw() * shared as f64 / 3_600.0
}
