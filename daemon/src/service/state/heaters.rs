//! What each heater is to do now.

use std::collections::{BTreeMap, BTreeSet};

use optimiser::problem::{HeaterId, Watch};
use optimiser::schedule::Reason;
use optimiser::time::{Instant, Slot};
use optimiser::units::{Power, Temperature};

use super::fuses::Load;
use super::spells::{Shortest, Spells};
use super::{Current, Effect, Freshness, MAX_TICK_S, Role, State};
use crate::service::clock::is_plausible;
use crate::service::commands::Verdict;
use crate::service::setpoints::{VALID_S, Wanted, run_window, start_offset_s};
use crate::service::wire::SetPoint;

/// Starts are spread from these edges, whatever the length of the slots [s].
pub(super) const HALF_HOUR_S: i64 = 1_800;

/// A heater that stands guard goes on when the water is so much below its dial, as a rod
/// thermostat does (common practice, no published source) [K].
const GUARD_DIFFERENTIAL_K: f64 = 4.0;

/// A pause shorter than this between two runs is not worth switching twice [s].
pub(super) const BRIDGED_S: i64 = 120;

/// A new schedule does not switch an element twice within this time [s].
const SPELL: Shortest = Shortest { on_s: 300, off_s: 300 };

/// When elements start and how long they stay as they are.
#[derive(Debug, Default)]
pub(super) struct Starts {
    /// Start offset of each in the half-hour that starts then.
    offsets: BTreeMap<HeaterId, (Instant, i64)>,
    spells: Spells<HeaterId>,
}

/// What those see that stand guard.
#[derive(Debug, Default)]
pub(super) struct Watches {
    /// Heaters that heat up to their dial.
    rising: BTreeSet<HeaterId>,
    /// For each store, litres at the temperature of use by its probes; nothing where
    /// none speaks.
    pub(super) usable: Vec<Option<f64>>,
    /// The most litres that a schedule wanted there in the half-hour that starts then: one
    /// that is made after a draw sees what is left, and not what was.
    wanted: BTreeMap<HeaterId, (Instant, f64)>,
}

impl Watches {
    /// Litres that a heater watches in the half-hour of an instant.
    fn litres(&mut self, now: Instant, heater: HeaterId, litres: f64) -> f64 {
        let held = self.wanted.entry(heater).or_insert((edge(now), litres));
        if held.0 != edge(now) || held.1 < litres {
            *held = (edge(now), litres);
        }
        held.1
    }
}

/// The start of the half-hour of an instant.
fn edge(now: Instant) -> Instant {
    Instant::from_unix(now.unix().div_euclid(HALF_HOUR_S) * HALF_HOUR_S)
}

impl State {
    pub(super) fn send_set_points(&mut self, now: Instant, effects: &mut Vec<Effect>) {
        // Into the void nothing is said; the heaters go off by themselves.
        if !self.link_up {
            return;
        }
        for heater in self.heaters() {
            let mut wanted = self.wanted(now, heater);
            if wanted.order > 0
                && let Some(why) = self.over_fuse(Load::Heater(heater))
            {
                wanted = off(now, &why);
            }
            let power_w = if wanted.until > now { wanted.order } else { 0 };
            if let Some(due) = self.issuer.issue(now, heater, wanted) {
                let set_point = SetPoint::new(&self.settings.boot_id, due);
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
            let due = self.issuer.issue(now, heater, wanted);
            let set_point = due.map(|due| SetPoint::new(&self.settings.boot_id, due));
            effects.extend(set_point.map(|set_point| Effect::SetPoint(heater, set_point)));
        }
        self.stop_sources(now, effects);
        self.release_battery(now, effects);
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
        self.account_coils(hours);
    }

    pub(super) fn offset_s(&self) -> i64 {
        if self.settings.start_offset { start_offset_s(&self.settings.site) } else { 0 }
    }

    fn heaters(&self) -> Vec<HeaterId> {
        if self.settings.shadow {
            return Vec::new();
        }
        let stores = self.settings.plant.stores.iter().enumerate();
        stores
            .flat_map(|(store, s)| {
                (0..s.heaters.len()).map(move |element| HeaterId { store, element })
            })
            .collect()
    }

    fn wanted(&mut self, now: Instant, heater: HeaterId) -> Wanted<u32> {
        let reading = self.reading(heater.store, now);
        let wanted = match self.overrides.verdict(now, heater.store, heater.element, reading) {
            Verdict::Ceiling => off(now, "the store is as hot as it may be"),
            Verdict::Blind => off(now, "no trustworthy reading of this store"),
            Verdict::Spent => off(now, "no probe here, and boosted for as long as makes sense"),
            Verdict::Off(until) => off(now, &format!("off by hand until {until}")),
            Verdict::On(until) => {
                let power_w =
                    self.settings.plant.stores[heater.store].heaters[heater.element].power_w;
                Wanted { order: power_w, until, reason: format!("boost by hand until {until}") }
            }
            Verdict::Plan => {
                let wanted = self.planned(now, heater, reading.hottest);
                if self.clock_is_right && self.current(now).is_some() {
                    let wanted = self.unhurried(now, heater, wanted);
                    let is_on = wanted.order > 0 && wanted.until > now;
                    self.starts.spells.note(now, heater, is_on, wanted.until);
                    return wanted;
                }
                wanted
            }
        };
        // Only what schedules switch waits for schedules.
        self.starts.spells.forget(&heater);
        wanted
    }

    fn planned(
        &mut self,
        now: Instant,
        heater: HeaterId,
        hottest: Option<Temperature>,
    ) -> Wanted<u32> {
        let site_offset_s = self.offset_s();
        let Some(current) = self.current(now).filter(|_| self.clock_is_right) else {
            return self.comfort(now, heater, hottest);
        };
        let valid_until = current.valid_until;
        let found = current.schedule.slots.iter().position(|plan| plan.slot.contains(now));
        let run = found.and_then(|index| Duty::of(current, index, heater));
        let next = found.and_then(|index| Duty::of(current, index + 1, heater));
        let Some(Duty { slot, power, delay_s, run_s, reason }) = run else {
            return off(now, "the schedule has no slot for this time");
        };
        let watch = found.and_then(|index| {
            let guard = current.guards.iter().find(|guard| guard.heater == heater)?;
            guard.watches.values().get(index).copied()?
        });
        // Decided once in each half-hour: who runs already has no start to delay.
        let edge = edge(now);
        let runs = self.told.get(&heater).is_some_and(|power_w| *power_w > 0);
        let held = self.starts.offsets.get(&heater).filter(|(start, _)| *start == edge);
        let offset_s = held.map_or(if runs { 0 } else { site_offset_s }, |(_, offset_s)| *offset_s);
        self.starts.offsets.insert(heater, (edge, offset_s));
        // A schedule made within the half-hour begins late already.
        let offset_s = (edge + offset_s - slot.start()).max(0);
        let on = |power: Power, until: Instant, reason| Wanted {
            order: (power.kw() * 1_000.0).round() as u32,
            until: until.min(valid_until),
            reason,
        };
        let bridged = next.filter(|next| {
            let begins = next.slot.start() + next.delay_s;
            runs && next.run_s > 0 && (0..BRIDGED_S).contains(&(begins - now))
        });
        match run_window(slot, delay_s, run_s, offset_s) {
            Some(window) if window.contains(now) => on(power, window.end(), reason),
            _ if let Some(next) = bridged => {
                on(next.power, next.slot.start() + next.delay_s, next.reason)
            }
            _ if let Some(why) = self.on_guard(now, heater, watch) => on(
                self.full_power(heater),
                slot.end(),
                format!("stands guard: {why} for draws that may come"),
            ),
            _ if run_s > 0 => off(now, &format!("not in this part of the slot. {reason}")),
            _ => off(now, &reason),
        }
    }

    /// Why a heater that stands guard is to heat, if it is. Where no probe speaks for
    /// what it watches, only plans react.
    fn on_guard(&mut self, now: Instant, heater: HeaterId, watch: Option<Watch>) -> Option<String> {
        match watch? {
            Watch::Dial(dial) => {
                let seen = self.below_dial(now, heater, dial)?;
                Some(format!("{seen} is heated to {dial}"))
            }
            Watch::Litres(litres) => {
                let wanted = self.watches.litres(now, heater, litres.litres());
                let seen = self.watches.usable.get(heater.store).copied().flatten()?;
                (seen < wanted)
                    .then(|| format!("{seen:.0} L are ready where {wanted:.0} L should be"))
            }
        }
    }

    /// What the lowest probe at or above a heater reads, while it heats to a dial.
    fn below_dial(
        &mut self,
        now: Instant,
        heater: HeaterId,
        dial: Temperature,
    ) -> Option<Temperature> {
        let comfort = self.settings.comfort.get(heater.store).copied().flatten()?;
        let seen = self.seen_above(heater.store, comfort.height, now)?;
        if comfort.element != heater.element || seen >= dial {
            self.watches.rising.remove(&heater);
        } else if seen.celsius() <= dial.celsius() - GUARD_DIFFERENTIAL_K {
            self.watches.rising.insert(heater);
        }
        self.watches.rising.contains(&heater).then_some(seen)
    }

    fn full_power(&self, heater: HeaterId) -> Power {
        let own = &self.settings.plant.stores[heater.store].heaters[heater.element];
        Power::clamped(f64::from(own.power_w) / 1_000.0)
    }

    /// What the lowest probe of a store at or above a height reads.
    fn seen_above(&self, store: usize, height: f64, now: Instant) -> Option<Temperature> {
        let probes = self.settings.inputs.iter().filter(|i| i.role == Role::Probe { store });
        let above = probes.filter_map(|input| match input.gate.freshness(now) {
            Freshness::Fresh(reading) => Some((input.height?, reading.value)),
            Freshness::Missing | Freshness::Stale { .. } => None,
        });
        let lowest = above.filter(|(own, _)| *own >= height - 1e-6);
        let lowest = lowest.min_by(|a, b| a.0.total_cmp(&b.0));
        lowest.and_then(|(_, celsius)| Temperature::new(celsius).ok())
    }

    /// A schedule that comes soon after a switch waits; a limit of the network does not.
    fn unhurried(&self, now: Instant, heater: HeaterId, wanted: Wanted<u32>) -> Wanted<u32> {
        let told = self.told.get(&heater).copied().unwrap_or(0);
        let Some(end) = self.starts.spells.bound(now, &heater, SPELL) else { return wanted };
        let limited = self.current.as_ref().is_some_and(|current| current.is_limited);
        let before = self.starts.spells.wanted_until(&heater).filter(|_| !limited);
        match (told > 0, wanted.order > 0, before) {
            (true, false, Some(before)) if before > now => Wanted {
                order: told,
                until: before.min(end),
                reason: "on for some minutes at least, though the schedule has changed".to_owned(),
            },
            (false, true, _) => off(now, &format!("switched off just now. {}", wanted.reason)),
            _ => wanted,
        }
    }

    /// Without a schedule, or without the time of day: water just useful.
    fn comfort(
        &mut self,
        now: Instant,
        heater: HeaterId,
        hottest: Option<Temperature>,
    ) -> Wanted<u32> {
        let why = self.why_unplanned();
        let comfort = self.settings.comfort.get(heater.store).copied().flatten();
        let (Some(comfort), Some(hottest), true) = (comfort, hottest, is_plausible(now)) else {
            return off(now, why);
        };
        if comfort.element != heater.element {
            return off(now, why);
        }
        if hottest < comfort.below {
            self.comforting.insert(heater.store);
        } else if hottest > comfort.above {
            self.comforting.remove(&heater.store);
        }
        if !self.comforting.contains(&heater.store) {
            return off(now, &format!("{why}; the water is warm enough at {hottest}"));
        }
        let power_w = self.settings.plant.stores[heater.store].heaters[heater.element].power_w;
        let reason = format!("{why}; comfort minimum: {hottest} is heated to {}", comfort.above);
        Wanted { order: power_w, until: now + VALID_S, reason }
    }
}

/// What the schedule wants of a heater in a slot.
struct Duty {
    slot: Slot,
    power: Power,
    delay_s: i64,
    run_s: i64,
    reason: String,
}

impl Duty {
    fn of(current: &Current, index: usize, heater: HeaterId) -> Option<Self> {
        let plan = current.schedule.slots.get(index)?;
        let at = plan.heaters.iter().position(|run| run.id == heater)?;
        let run = &plan.heaters[at];
        let reason = current.reasons.get(index).and_then(|row| row.get(at)).cloned();
        let seconds = |minutes: f64| (minutes * 60.0).round() as i64;
        Some(Self {
            slot: plan.slot,
            power: run.power,
            delay_s: seconds(run.delay_minutes),
            // Who stands guard goes by its probe.
            run_s: if run.why == Reason::Guard { 0 } else { seconds(run.minutes) },
            reason: reason.unwrap_or_else(|| "as planned".to_owned()),
        })
    }
}

fn off(now: Instant, reason: &str) -> Wanted<u32> {
    Wanted { order: 0, until: now + VALID_S, reason: reason.to_owned() }
}
