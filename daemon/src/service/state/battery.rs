//! What the battery is to do now, where it takes commands.

use optimiser::time::Instant;

use super::{Effect, State};
use crate::service::planning::BatteryOrder;
use crate::service::setpoints::{VALID_S, Wanted};
use crate::service::wire::{BatterySetPoint, Stamp};

impl State {
    pub(super) fn send_battery(&mut self, now: Instant, effects: &mut Vec<Effect>) {
        if !self.settings.commands_battery || self.settings.shadow || !self.link_up {
            return;
        }
        let (order, until) = self.order(now);
        self.issue_battery(now, order, until, effects);
    }

    /// Lets the battery regulate itself when nobody is there to command it.
    pub(super) fn release_battery(&mut self, now: Instant, effects: &mut Vec<Effect>) {
        if self.settings.commands_battery && !self.settings.shadow {
            self.battery_issuer.forget_sending(&());
            let order = BatteryOrder::by_itself("the service stops");
            self.issue_battery(now, order, now + VALID_S, effects);
        }
    }

    /// What the schedule wants now, and until when.
    fn order(&self, now: Instant) -> (BatteryOrder, Instant) {
        let by_itself = |why| (BatteryOrder::by_itself(why), now + VALID_S);
        let Some(current) = self.current(now) else { return by_itself("no schedule holds") };
        if !self.clock_is_right {
            return by_itself("the time of day cannot be trusted, so no price can");
        }
        let slots = current.schedule.slots.iter().zip(&current.battery);
        match slots.into_iter().find(|(plan, _)| plan.slot.contains(now)) {
            Some((plan, order)) => (order.clone(), plan.slot.end().min(current.valid_until)),
            None => by_itself("the schedule has no slot for this time"),
        }
    }

    fn issue_battery(
        &mut self,
        now: Instant,
        order: BatteryOrder,
        until: Instant,
        effects: &mut Vec<Effect>,
    ) {
        let BatteryOrder { mode, power_w, reason } = order.clone();
        // Another mode is as good as another power: it goes out at once.
        let is_other = self.battery_told.as_ref().is_none_or(|told| *told != order);
        if is_other {
            self.battery_issuer.forget_sending(&());
        }
        let wanted = Wanted { order: power_w, until, reason };
        let Some(due) = self.battery_issuer.issue(now, (), wanted) else { return };
        self.battery_told = Some(order);
        effects.push(Effect::BatterySetPoint(BatterySetPoint {
            schema: "stowheat/battery/1".to_owned(),
            boot_id: self.settings.boot_id.clone(),
            seq: due.seq,
            issued_at: Stamp(due.issued_at),
            valid_until: Stamp(due.valid_until),
            mode: mode.into(),
            power_w: due.order,
            reason: due.reason,
        }));
    }
}
