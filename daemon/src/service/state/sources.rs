//! What each source and circuit of the plant room is to do now.

use std::collections::{BTreeMap, BTreeSet};

use optimiser::problem::RunState;
use optimiser::site::{Sink, Source};
use optimiser::time::{Instant, Slot};
use optimiser::units::Temperature;

use super::fuses::Load;
use super::guards::Sight;
use super::heaters::{BRIDGED_S, HALF_HOUR_S};
use super::rescue::Need;
pub use super::spells::Shortest;
use super::spells::Spells;
use super::{Current, Effect, Role, State};
use crate::present::four_state::{self, Dwell, FourState};
use crate::service::commands::Feeder;
use crate::service::setpoints::{Issuer, Order, VALID_S, Wanted, run_window};

/// What a source or circuit is told.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SourceOrder {
    /// What it serves; nothing while it is off.
    pub sink: Option<Sink>,
    /// Heat that is wanted [W].
    pub heat_w: u32,
    /// Flow temperature that this takes.
    pub flow: Option<Temperature>,
    /// What a heat pump is asked for over its contacts.
    pub request: Option<FourState>,
}

impl Order for SourceOrder {
    fn is_on(&self) -> bool {
        self.sink.is_some()
    }

    fn off(&self) -> Self {
        Self { request: self.request, ..Self::default() }
    }
}

/// A job of the schedule, as it is told.
#[derive(Debug, Clone, PartialEq)]
pub struct Feed {
    /// Whose it is.
    pub feeder: Feeder,
    /// It begins so long after the start of its slot [s].
    pub delay_s: i64,
    /// It lasts so long [s].
    pub run_s: i64,
    /// What it is.
    pub order: SourceOrder,
    /// Why.
    pub reason: String,
}

/// What sources were told, and what goes with it.
#[derive(Debug, Default)]
pub(super) struct SourceBook {
    pub(super) issuer: Issuer<Feeder, SourceOrder>,
    /// What each was last told, and since when it serves or rests; not known before
    /// the first change.
    pub(super) told: BTreeMap<Feeder, (SourceOrder, Option<Instant>)>,
    /// Start offset of each in the half-hour that starts then.
    offsets: BTreeMap<Feeder, (Instant, i64)>,
    dwells: BTreeMap<usize, Dwell>,
    spells: Spells<Feeder>,
    /// What is too cold to wait for a schedule.
    pub(super) cold: BTreeSet<Need>,
}

/// Who decided what a source is to do.
enum By {
    /// The schedule.
    Plan,
    /// A hand.
    Hand,
    /// Something that must not become hotter, or is not known.
    Guard,
    /// Rooms or water that are too cold.
    Rescue,
}

impl State {
    pub(super) fn send_source_set_points(&mut self, now: Instant, effects: &mut Vec<Effect>) {
        if !self.link_up || self.settings.shadow {
            return;
        }
        self.look_for_cold(now);
        for feeder in self.feeders() {
            let (mut by, mut wanted) = self.wanted_of(now, feeder);
            if wanted.until <= now {
                wanted.order = wanted.order.off();
            }
            if wanted.order.is_on()
                && let Some(why) = self.over_fuse(Load::Source(feeder))
            {
                (by, wanted) = (By::Guard, off(now, &why));
            }
            if let Feeder::Source(Source::HeatPump(pump)) = feeder {
                let asked = self.asked_of(now, pump, &by, &wanted.order);
                let dwell = self.sources.dwells.entry(pump).or_insert_with(|| Dwell::new(now));
                wanted.order.request = Some(dwell.settle(now, asked));
            }
            self.note(now, feeder, wanted.order);
            self.sources.spells.note(now, feeder, wanted.order.is_on(), wanted.until);
            if let Some(due) = self.sources.issuer.issue(now, feeder, wanted) {
                effects.push(Effect::SourceSetPoint(feeder, due));
            }
        }
    }

    /// Every source is left to itself; contacts open at once, whatever they were held
    /// for.
    pub(super) fn stop_sources(&mut self, now: Instant, effects: &mut Vec<Effect>) {
        if self.settings.shadow {
            return;
        }
        for feeder in self.feeders() {
            let pump = matches!(feeder, Feeder::Source(Source::HeatPump(_)));
            let order = SourceOrder {
                request: pump.then_some(FourState::Normal),
                ..SourceOrder::default()
            };
            let reason = "the service stops".to_owned();
            let wanted = Wanted { order, until: now + VALID_S, reason };
            self.sources.issuer.forget_sending(&feeder);
            let due = self.sources.issuer.issue(now, feeder, wanted);
            effects.extend(due.map(|due| Effect::SourceSetPoint(feeder, due)));
        }
    }

    /// What was said into the void is said again.
    pub(super) fn forget_source_set_points(&mut self) {
        for feeder in self.sources.told.keys() {
            self.sources.issuer.forget_sending(feeder);
        }
    }

    /// Whether a machine serves something, and for how long.
    pub fn run_state(&self, now: Instant, source: Source) -> RunState {
        match self.sources.told.get(&Feeder::Source(source)) {
            Some((order, Some(since))) => {
                RunState { serves: order.sink, seconds: (now - *since).max(0) as f64 }
            }
            _ => RunState::default(),
        }
    }

    pub(super) fn feeders(&self) -> Vec<Feeder> {
        self.settings.plant.feeders.iter().map(|own| own.feeder).collect()
    }

    /// Tells the probes beside coils what heat they should show.
    pub(super) fn account_coils(&mut self, hours: f64) {
        for (order, _) in self.sources.told.values() {
            let Some(Sink::Coil { store, coil }) = order.sink else { continue };
            for input in &mut self.settings.inputs {
                if input.role == (Role::Probe { store }) && input.coils.contains(&coil) {
                    input.gate.heated(f64::from(order.heat_w) / 1_000.0 * hours);
                }
            }
        }
    }

    fn note(&mut self, now: Instant, feeder: Feeder, order: SourceOrder) {
        let since = match self.sources.told.get(&feeder) {
            Some((held, since)) if held.sink == order.sink => *since,
            Some(_) => Some(now),
            None => order.sink.map(|_| now),
        };
        self.sources.told.insert(feeder, (order, since));
    }

    fn wanted_of(&mut self, now: Instant, feeder: Feeder) -> (By, Wanted<SourceOrder>) {
        if let Some((order, reason)) = self.rescued(now, feeder) {
            return (By::Rescue, Wanted { order, until: now + VALID_S, reason });
        }
        if let Some(until) = self.overrides.feeder_off(now, feeder) {
            return (By::Hand, off(now, &format!("off by hand until {until}")));
        }
        if feeder == Feeder::Source(Source::Collectors) {
            return self.wanted_of_the_sun(now);
        }
        let wanted = self.planned_feed(now, feeder);
        let wanted = self.run_out(now, feeder, wanted);
        let Some(sink) = wanted.order.sink else { return (By::Plan, wanted) };
        match self.guard(now, feeder, sink) {
            Some(reason) => (By::Guard, off(now, &reason)),
            None => (By::Plan, wanted),
        }
    }

    /// A machine that runs does so for its least run, and rests for its least rest,
    /// whatever a new schedule says.
    fn run_out(
        &self,
        now: Instant,
        feeder: Feeder,
        wanted: Wanted<SourceOrder>,
    ) -> Wanted<SourceOrder> {
        let bound = self.settings.plant_room.spells.get(&feeder);
        let bound = bound.and_then(|shortest| self.sources.spells.bound(now, &feeder, *shortest));
        let (Some(until), Some((told, _))) = (bound, self.sources.told.get(&feeder)) else {
            return wanted;
        };
        match (told.is_on(), wanted.order.is_on()) {
            (true, false) => {
                let reason = "it runs for some minutes once it has started".to_owned();
                Wanted { order: *told, until, reason }
            }
            (false, true) => off(now, "it rests for some minutes once it has stopped"),
            _ => wanted,
        }
    }

    /// The sun heats what the schedule names for this slot, else what comes first and
    /// may take it; whether the collectors are warm enough their own controls know
    /// best.
    fn wanted_of_the_sun(&self, now: Instant) -> (By, Wanted<SourceOrder>) {
        let until = now + VALID_S;
        let planned = self.current(now).filter(|_| self.clock_is_right).and_then(|current| {
            let index = current.schedule.slots.iter().position(|plan| plan.slot.contains(now))?;
            let feeds = current.feeds.get(index)?.iter();
            feeds.rev().find(|feed| feed.feeder == Feeder::Source(Source::Collectors))
        });
        let planned = planned.map(|feed| (feed.order, feed.reason.clone()));
        let serves = self.settings.plant_room.solar_serves.iter().map(|sink| {
            let order = SourceOrder { sink: Some(*sink), ..SourceOrder::default() };
            (order, "whatever sun there is".to_owned())
        });
        let mut refusal = "the sun serves nothing here".to_owned();
        for (order, reason) in planned.into_iter().chain(serves) {
            let Some(sink) = order.sink else { continue };
            match self.guard(now, Feeder::Source(Source::Collectors), sink) {
                None => return (By::Plan, Wanted { order, until, reason }),
                Some(why) => refusal = why,
            }
        }
        (By::Guard, off(now, &refusal))
    }

    fn planned_feed(&mut self, now: Instant, feeder: Feeder) -> Wanted<SourceOrder> {
        let site_offset_s = self.offset_s();
        let Some(current) = self.current(now).filter(|_| self.clock_is_right) else {
            return off(now, self.why_unplanned());
        };
        let valid_until = current.valid_until;
        let feeds: Vec<(Slot, Feed)> = current.feeds_around(now, feeder);
        let spread = matches!(feeder, Feeder::Source(Source::HeatPump(_) | Source::Immersion));
        let runs = self.sources.told.get(&feeder).is_some_and(|(order, _)| order.is_on());
        let edge = Instant::from_unix(now.unix().div_euclid(HALF_HOUR_S) * HALF_HOUR_S);
        let held = self.sources.offsets.get(&feeder).filter(|(start, _)| *start == edge);
        let fresh = if runs || !spread { 0 } else { site_offset_s };
        let offset_s = held.map_or(fresh, |(_, offset_s)| *offset_s);
        self.sources.offsets.insert(feeder, (edge, offset_s));
        let window = |(slot, feed): &(Slot, Feed)| {
            run_window(*slot, feed.delay_s, feed.run_s, (edge + offset_s - slot.start()).max(0))
        };
        let on = |feed: &Feed, until: Instant| Wanted {
            order: feed.order,
            until: until.min(valid_until),
            reason: feed.reason.clone(),
        };
        let present = feeds.iter().find_map(|own| {
            let window = window(own).filter(|window| window.contains(now))?;
            Some(on(&own.1, window.end()))
        });
        let bridged = || {
            let begin = |(slot, feed): &(Slot, Feed)| slot.start() + feed.delay_s;
            let next = feeds.iter().find(|own| (0..BRIDGED_S).contains(&(begin(own) - now)))?;
            runs.then(|| on(&next.1, begin(next)))
        };
        present.or_else(bridged).unwrap_or_else(|| off(now, "nothing is planned for it now"))
    }

    /// What a heat pump is asked for over its two contacts.
    fn asked_of(&self, now: Instant, pump: usize, by: &By, order: &SourceOrder) -> FourState {
        let planned = || {
            let current = self.current(now).filter(|_| self.clock_is_right)?;
            Some(four_state::planned(&current.schedule, pump, now))
        };
        match by {
            By::Hand => FourState::Blocked,
            By::Guard => FourState::Normal,
            By::Rescue => FourState::Encouraged,
            By::Plan => match planned().unwrap_or(FourState::Normal) {
                // Its start is delayed still.
                FourState::Encouraged | FourState::Forced if !order.is_on() => FourState::Normal,
                FourState::Blocked | FourState::Normal if order.is_on() => FourState::Encouraged,
                state => state,
            },
        }
    }

    pub(super) fn why_unplanned(&self) -> &'static str {
        if self.clock_is_right {
            "no schedule holds"
        } else {
            "the time of day cannot be trusted, so no price can"
        }
    }

    /// What is seen of the rooms.
    pub(super) fn rooms_sight(&self, now: Instant) -> Sight {
        self.sight(Role::Sink(Sink::Rooms), now)
    }
}

impl Current {
    /// Jobs of a source in the slot of an instant and in the next.
    fn feeds_around(&self, now: Instant, feeder: Feeder) -> Vec<(Slot, Feed)> {
        let Some(index) = self.schedule.slots.iter().position(|plan| plan.slot.contains(now))
        else {
            return Vec::new();
        };
        let slots = self.schedule.slots.iter().zip(&self.feeds).skip(index).take(2);
        slots
            .flat_map(|(plan, feeds)| feeds.iter().map(|feed| (plan.slot, feed.clone())))
            .filter(|(_, feed)| feed.feeder == feeder && feed.run_s > 0)
            .collect()
    }
}

fn off(now: Instant, reason: &str) -> Wanted<SourceOrder> {
    Wanted { order: SourceOrder::default(), until: now + VALID_S, reason: reason.to_owned() }
}
