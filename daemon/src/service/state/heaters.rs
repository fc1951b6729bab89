//! What each heater is to do now.

use optimiser::problem::HeaterId;
use optimiser::time::Instant;

use super::{Effect, MAX_TICK_S, Role, State};
use crate::service::commands::Verdict;
use crate::service::setpoints::{VALID_S, Wanted, run_window};

impl State {
    pub(super) fn send_set_points(&mut self, now: Instant, effects: &mut Vec<Effect>) {
        // Into the void nothing is said; the heaters go off by themselves.
        if !self.link_up {
            return;
        }
        for heater in self.heaters() {
            let wanted = self.wanted(now, heater);
            let power_w = if wanted.until > now { wanted.power_w } else { 0 };
            if let Some(set_point) = self.issuer.issue(now, heater, wanted) {
                effects.push(Effect::SetPoint(heater, set_point));
            }
            self.told.insert(heater, power_w);
        }
    }

    /// Everything off, and good-bye.
    pub(super) fn stop(&mut self, now: Instant, effects: &mut Vec<Effect>) {
        for heater in self.heaters() {
            let wanted = off(now, "the service stops");
            self.issuer.forget_sending(&heater);
            let set_point = self.issuer.issue(now, heater, wanted);
            effects.extend(set_point.map(|set_point| Effect::SetPoint(heater, set_point)));
        }
        effects.push(Effect::Leave);
    }

    /// Tells the probes of each store what heat they should show.
    pub(super) fn account_heat(&mut self, now: Instant, stepped: bool) {
        let Some(last) = self.last_tick.filter(|_| !stepped) else { return };
        let hours = (now - last).clamp(0, MAX_TICK_S) as f64 / 3_600.0;
        for (heater, power_w) in &self.told {
            let kwh = f64::from(*power_w) / 1_000.0 * hours;
            for input in &mut self.settings.inputs {
                if input.role == (Role::Probe { store: heater.store }) {
                    input.gate.heated(kwh);
                }
            }
        }
    }

    fn heaters(&self) -> Vec<HeaterId> {
        let stores = self.settings.plant.stores.iter().enumerate();
        stores
            .flat_map(|(store, s)| {
                (0..s.heaters.len()).map(move |element| HeaterId { store, element })
            })
            .collect()
    }

    fn wanted(&mut self, now: Instant, heater: HeaterId) -> Wanted {
        let reading = self.reading(heater.store, now);
        match self.overrides.verdict(now, heater.store, heater.element, reading) {
            Verdict::Ceiling => off(now, "the store is as hot as it may be"),
            Verdict::Blind => off(now, "no trustworthy reading of this store"),
            Verdict::Off(until) => off(now, &format!("off by hand until {until}")),
            Verdict::On(until) => {
                let power_w =
                    self.settings.plant.stores[heater.store].heaters[heater.element].power_w;
                Wanted { power_w, until, reason: format!("boost by hand until {until}") }
            }
            Verdict::Plan => self.planned(now, heater),
        }
    }

    fn planned(&mut self, now: Instant, heater: HeaterId) -> Wanted {
        if !self.clock_is_right {
            return off(now, "the time of day cannot be trusted, so no price can");
        }
        let offset_s = self.offset_s();
        let Some(current) = self.current(now) else {
            return off(now, "no schedule that holds");
        };
        let valid_until = current.valid_until;
        let found = current.schedule.slots.iter().find(|plan| plan.slot.contains(now));
        let run = found.and_then(|plan| {
            let run = plan.heaters.iter().find(|run| run.id == heater)?;
            Some((plan.slot, run.power, run.delay_minutes, run.minutes))
        });
        let Some((slot, power, delay_minutes, minutes)) = run else {
            return off(now, "the schedule has no slot for this time");
        };
        // Decided once in each slot: who runs already has no start to delay.
        let runs = self.told.get(&heater).is_some_and(|power_w| *power_w > 0);
        let held = self.offsets.get(&heater).filter(|(start, _)| *start == slot.start());
        let offset_s = held.map_or(if runs { 0 } else { offset_s }, |(_, offset_s)| *offset_s);
        self.offsets.insert(heater, (slot.start(), offset_s));
        let seconds = |minutes: f64| (minutes * 60.0).round() as i64;
        match run_window(slot, seconds(delay_minutes), seconds(minutes), offset_s) {
            Some(window) if window.contains(now) => Wanted {
                power_w: (power.kw() * 1_000.0).round() as u32,
                until: window.end().min(valid_until),
                reason: "as planned".to_owned(),
            },
            _ => off(now, "not planned now"),
        }
    }
}

fn off(now: Instant, reason: &str) -> Wanted {
    Wanted { power_w: 0, until: now + VALID_S, reason: reason.to_owned() }
}
