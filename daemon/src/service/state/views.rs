//! What others may see of the state.

use std::collections::BTreeMap;

use optimiser::problem::HeaterId;
use optimiser::time::Instant;

use super::{Current, Fault, Freshness, Input, Overrides, Plant, SourceOrder, State};
use crate::service::commands::Feeder;
use crate::service::planning::BatteryOrder;

impl State {
    /// What was asked for by hand, for the planner.
    pub fn overrides(&self) -> &Overrides {
        &self.overrides
    }

    /// The schedule that holds.
    pub fn current(&self, now: Instant) -> Option<&Current> {
        self.current
            .as_ref()
            .filter(|current| current.issued_at <= now && now < current.valid_until)
    }

    /// What is known of an input.
    pub fn input(&self, index: usize, now: Instant) -> Option<Freshness> {
        self.settings.inputs.get(index).map(|input| input.gate.freshness(now))
    }

    /// Every input with its judge.
    pub fn inputs(&self) -> &[Input] {
        &self.settings.inputs
    }

    /// Names and limits of the plant room.
    pub fn plant(&self) -> &Plant {
        &self.settings.plant
    }

    /// The store of a name.
    pub fn store_index(&self, name: &str) -> Option<usize> {
        self.settings.plant.stores.iter().position(|store| store.name == name)
    }

    /// Power that each heater was last told [W].
    pub fn told(&self) -> &BTreeMap<HeaterId, u32> {
        &self.told
    }

    /// What each source and circuit was last told.
    pub fn told_sources(&self) -> impl Iterator<Item = (Feeder, SourceOrder)> + '_ {
        self.sources.told.iter().map(|(feeder, (order, _))| (*feeder, *order))
    }

    /// What the battery was last told, if it takes commands.
    pub fn battery_told(&self) -> Option<&BatteryOrder> {
        self.battery_told.as_ref()
    }

    /// Whether the time of day can be trusted.
    pub fn clock_is_right(&self) -> bool {
        self.clock_is_right
    }

    /// Whether what is heard reaches the disk.
    pub fn is_persisted(&self) -> bool {
        self.persisted
    }

    /// Whether the broker is connected.
    pub fn is_linked(&self) -> bool {
        self.link_up
    }

    /// Where the schedule that is acted on comes from: its origin, `previous` if no
    /// new one could be made, or `comfort` if there is none.
    pub fn rung(&self, now: Instant) -> &'static str {
        match self.current(now) {
            Some(_) if self.planner_fault.is_some() => "previous",
            Some(current) => current.schedule.origin.name(),
            None => "comfort",
        }
    }

    /// What is wrong.
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    /// Why the service is not ready; empty if it is.
    pub fn not_ready(&self, now: Instant) -> Vec<String> {
        let mut reasons = Vec::new();
        if !self.link_up {
            reasons.push("no connection to the broker".to_owned());
        }
        if self.current(now).is_none() {
            reasons.push("no schedule that holds".to_owned());
        }
        reasons
    }
}
