//! The state of the service: a pure reducer from events to effects.
//!
//! It knows what every input said and whether that is still to be believed, what
//! was asked for by hand, and which schedule holds. It never waits, reads a clock
//! or touches a socket; the loop around it does what the effects say and feeds
//! back what came of it.

mod battery;
mod events;
mod faults;
pub(super) mod fuses;
mod guards;
mod heaters;
mod rescue;
mod sources;
mod spells;
mod views;

use std::collections::{BTreeMap, BTreeSet};

use optimiser::problem::HeaterId;
use optimiser::time::{Instant, Slot};
use optimiser::units::Temperature;

use self::heaters::{Starts, Watches};
use self::sources::SourceBook;
use super::archive::Record;
use super::commands::{self, Overrides, Plant, StoreReading};
use super::link::LinkEvent;
use super::planning::BatteryOrder;
use super::readings::{Arrival, Freshness, Gate, ReadingFault, Verdict};
use super::setpoints::Issuer;
use super::wire::{Answer, Command, Fault, Outcome, Stamp};
pub use events::{Comfort, Current, Effect, Event, Input, PlantRoomRules, Role, Settings, Why};
pub use guards::Sight;
pub use rescue::{Need, Rescue};
pub use sources::{Feed, Shortest, SourceOrder};

/// A planner that has not answered by then is asked again [s].
const PLANNER_LIMIT_S: i64 = 60;

/// After a failure the planner is left alone for this long [s].
const PAUSE_S: i64 = 60;

/// A schedule older than this is made anew [s], whatever happens.
const SCHEDULE_AGE_S: i64 = 1_800;

/// The longest span that one tick accounts heat for [s].
const MAX_TICK_S: i64 = 300;

/// All that the service knows.
pub struct State {
    settings: Settings,
    /// For each input, the fault of its last message, if it was refused.
    input_faults: Vec<Option<ReadingFault>>,
    overrides: Overrides,
    issuer: Issuer<HeaterId, u32>,
    sources: SourceBook,
    battery_issuer: Issuer<(), u32>,
    /// What the battery was last told.
    battery_told: Option<BatteryOrder>,
    /// Power that each heater was last told [W].
    told: BTreeMap<HeaterId, u32>,
    starts: Starts,
    current: Option<Current>,
    slot: Option<Slot>,
    started: Instant,
    last_tick: Option<Instant>,
    /// When the planner was asked, if it has not answered.
    asked: Option<Instant>,
    /// Something changed since the planner was asked.
    changed: Option<Why>,
    planner_fault: Option<String>,
    failed: Option<Instant>,
    /// What is wrong with sources of prices and forecasts.
    source_faults: BTreeMap<&'static str, (&'static str, String)>,
    /// Stores that the comfort thermostat heats.
    comforting: BTreeSet<usize>,
    watches: Watches,
    prices_until: Option<Instant>,
    clock_is_right: bool,
    persisted: bool,
    link_up: bool,
    link_faults: BTreeSet<(String, &'static str, String)>,
    /// Heaters that used more than they were told in the last half-hour [kWh].
    excesses: BTreeMap<HeaterId, f64>,
    faults: Vec<Fault>,
    blind: Vec<bool>,
}

impl State {
    /// Starts with what was asked for by hand before.
    pub fn new(settings: Settings, now: Instant, overrides: Overrides) -> Self {
        Self {
            input_faults: vec![None; settings.inputs.len()],
            issuer: Issuer::default(),
            sources: SourceBook::default(),
            battery_issuer: Issuer::default(),
            battery_told: None,
            told: BTreeMap::new(),
            starts: Starts::default(),
            current: None,
            slot: None,
            started: now,
            last_tick: None,
            asked: None,
            changed: Some(Why::Start),
            planner_fault: None,
            failed: None,
            source_faults: BTreeMap::new(),
            comforting: BTreeSet::new(),
            watches: Watches::default(),
            prices_until: None,
            clock_is_right: false,
            persisted: true,
            link_up: false,
            link_faults: BTreeSet::new(),
            excesses: BTreeMap::new(),
            faults: Vec::new(),
            blind: vec![true; settings.plant.stores.len()],
            overrides,
            settings,
        }
    }

    /// Takes an event, and says what is to be done.
    pub fn apply(&mut self, now: Instant, event: Event) -> Vec<Effect> {
        let mut effects = Vec::new();
        match event {
            Event::Tick { clock_is_right, step_s } => {
                self.tick(now, clock_is_right, step_s, &mut effects);
            }
            Event::Link(event) => self.link(now, event, &mut effects),
            Event::Command(command) => self.command(now, &command, &mut effects),
            Event::Planned(Ok(current)) => {
                self.asked = None;
                self.planner_fault = None;
                self.failed = None;
                self.slot = current.slot_at(now);
                self.current = Some(current);
            }
            Event::Planned(Err(cause)) => {
                self.asked = None;
                self.failed = Some(now);
                self.planner_fault = Some(cause);
            }
            Event::Prices { known_until } => {
                self.prices_until = Some(known_until);
                self.change(Why::Prices);
            }
            Event::Forecast => self.change(Why::Forecast),
            Event::Unpolished => self.change(Why::Age),
            Event::Usable(litres) => self.watches.usable = litres,
            Event::Drift => self.change(Why::Reading),
            Event::Unsent(heater) => {
                self.issuer.forget_sending(&heater);
                return effects;
            }
            Event::SourceUnsent(feeder) => {
                self.sources.issuer.forget_sending(&feeder);
                return effects;
            }
            Event::BatteryUnsent => {
                self.battery_issuer.forget_sending(&());
                return effects;
            }
            Event::Source { name, fault } => {
                match fault {
                    Some(fault) => self.source_faults.insert(name, fault),
                    None => self.source_faults.remove(name),
                };
            }
            Event::Excess { heater, kwh } => {
                match kwh {
                    Some(kwh) => self.excesses.insert(heater, kwh),
                    None => self.excesses.remove(&heater),
                };
            }
            Event::Persisted(persisted) => self.persisted = persisted,
            Event::Stop => {
                self.stop(now, &mut effects);
                return effects;
            }
        }
        self.look(now);
        self.send_set_points(now, &mut effects);
        self.send_source_set_points(now, &mut effects);
        self.send_battery(now, &mut effects);
        self.ask_planner(now, &mut effects);
        self.tell_faults(now, &mut effects);
        effects
    }

    fn tick(
        &mut self,
        now: Instant,
        clock_is_right: bool,
        step_s: Option<i64>,
        effects: &mut Vec<Effect>,
    ) {
        if step_s.is_some() || clock_is_right != self.clock_is_right {
            self.change(Why::Clock);
        }
        self.clock_is_right = clock_is_right;
        self.account_heat(now, step_s.is_some());
        self.last_tick = Some(now);
        let hottest: Vec<_> =
            (0..self.blind.len()).map(|store| self.reading(store, now).hottest).collect();
        for answer in self.overrides.tick(now, &hottest) {
            effects.push(Effect::Keep(Record::Command {
                at: now,
                id: answer.id.clone(),
                json: String::new(),
                outcome: "ended".to_owned(),
                ends: None,
            }));
            effects.push(Effect::Answer(answer));
            self.change(Why::Command);
        }
        let slot = self.current(now).and_then(|current| current.slot_at(now));
        if slot != self.slot {
            self.slot = slot;
            self.change(Why::Slot);
        }
        let age = self.current(now).map(|current| now - current.issued_at);
        let pauses = self.failed.is_some_and(|failed| (0..PAUSE_S).contains(&(now - failed)));
        if age.is_none_or(|age| age >= SCHEDULE_AGE_S) && self.asked.is_none() && !pauses {
            self.change(Why::Age);
        }
    }

    fn link(&mut self, now: Instant, event: LinkEvent, effects: &mut Vec<Effect>) {
        match event {
            LinkEvent::Up => {
                self.link_up = true;
                self.link_faults.retain(|(_, kind, _)| *kind == "subscription-refused");
                // What was said into the void is said again.
                for heater in self.told.keys() {
                    self.issuer.forget_sending(heater);
                }
                self.forget_source_set_points();
                self.battery_issuer.forget_sending(&());
            }
            LinkEvent::Down { cause } => {
                self.link_up = false;
                self.link_faults.retain(|(what, kind, _)| !(what == "broker" && *kind == "down"));
                self.link_faults.insert(("broker".to_owned(), "down", cause));
            }
            LinkEvent::Message { topic, payload, retained } => {
                self.message(now, topic, payload, retained, effects);
            }
            LinkEvent::SubscriptionRefused { filter } => {
                let text = "the broker does not let us listen there; mend its access list";
                let what = filter.as_str().to_owned();
                self.link_faults.insert((what, "subscription-refused", text.to_owned()));
            }
            LinkEvent::TooLarge { topic, bytes } => {
                let text = format!("a message of {bytes} bytes was not read; remove it");
                // Others who write may choose topics at will, so few are kept.
                if self.link_faults.len() < 32 {
                    self.link_faults.insert((topic, "too-large", text));
                }
            }
            LinkEvent::KeptCommand { topic } => {
                let text = "the broker held a set-point of before; it was taken off unread";
                self.link_faults.insert((topic, "kept-command", text.to_owned()));
            }
            LinkEvent::EchoMissing { topic } => {
                let text = "the broker drops what we publish; mend its access list";
                self.link_faults.insert((topic.to_string(), "echo-missing", text.to_owned()));
            }
            LinkEvent::Contested { client_id } => {
                let text = format!(
                    "another client seems to use the name `{client_id}`; stop one of them or \
                     give it another `client_id`"
                );
                self.link_faults.insert(("broker".to_owned(), "contested", text));
            }
            LinkEvent::Overrun { lost } => {
                tracing::warn!(lost, "messages came faster than they were read");
            }
        }
    }

    fn message(
        &mut self,
        now: Instant,
        topic: String,
        payload: Vec<u8>,
        retained: bool,
        effects: &mut Vec<Effect>,
    ) {
        if self.settings.command.matches(&topic) {
            match commands::read(&payload, retained, now) {
                Ok(command) => self.command(now, &command, effects),
                Err(refusal) => effects.push(Effect::Answer(Answer {
                    schema: "stowheat/answer/1".to_owned(),
                    id: refusal.id,
                    issued_at: Stamp(now),
                    outcome: Outcome::Refused,
                    text: refusal.text,
                    ends: None,
                    cost_minor: None,
                })),
            }
            return;
        }
        let mut is_ours = false;
        for (index, input) in self.settings.inputs.iter_mut().enumerate() {
            if input.topic.as_str() != topic {
                continue;
            }
            is_ours = true;
            match input.gate.accept(now, Arrival { payload: &payload, retained }) {
                Verdict::Accepted(reading, note) => {
                    self.input_faults[index] = note;
                    effects.push(Effect::Keep(Record::Reading {
                        input: input.name.clone(),
                        at: reading.at,
                        value: reading.value,
                    }));
                }
                Verdict::Refused(fault) => self.input_faults[index] = Some(fault),
            }
        }
        if !is_ours {
            effects.push(Effect::Pass { topic, payload, retained });
        }
    }

    fn command(&mut self, now: Instant, command: &Command, effects: &mut Vec<Effect>) {
        let answer = self.overrides.apply(now, command);
        if answer.outcome == Outcome::Done {
            self.change(Why::Command);
            effects.push(Effect::Keep(Record::Command {
                at: now,
                id: command.id.clone(),
                json: serde_json::to_string(command).unwrap_or_default(),
                outcome: "done".to_owned(),
                ends: answer.ends.map(|ends| ends.0),
            }));
        }
        effects.push(Effect::Answer(answer));
    }

    /// Notes which stores can be seen; a store that is lost or found is planned anew.
    fn look(&mut self, now: Instant) {
        for store in 0..self.blind.len() {
            let reading = self.reading(store, now);
            let blind = reading.is_blind();
            if blind != self.blind[store] {
                self.blind[store] = blind;
                self.change(Why::Reading);
            }
        }
    }

    /// What is known of a store: the hottest of its fresh probes.
    fn reading(&self, store: usize, now: Instant) -> StoreReading {
        let inputs = self.settings.inputs.iter();
        let probes = inputs.filter(|input| input.role == Role::Probe { store }).map(|i| &i.gate);
        let hottest = probes
            .clone()
            .filter_map(|gate| match gate.freshness(now) {
                Freshness::Fresh(reading) => Some(reading.value),
                Freshness::Missing | Freshness::Stale { .. } => None,
            })
            .max_by(f64::total_cmp)
            .and_then(|celsius| Temperature::new(celsius).ok());
        // One probe that still moves is enough to see by.
        let has_probe = probes.clone().count() > 0;
        let heat_spent = has_probe && probes.clone().all(Gate::is_heat_spent);
        StoreReading { hottest, heat_spent, has_probe }
    }

    fn change(&mut self, why: Why) {
        self.changed = Some(self.changed.map_or(why, |held| held.max(why)));
    }

    /// Asks once for all that changed, and not again before the answer.
    fn ask_planner(&mut self, now: Instant, effects: &mut Vec<Effect>) {
        let waits = self.asked.is_some_and(|asked| (0..PLANNER_LIMIT_S).contains(&(now - asked)));
        if waits {
            return;
        }
        if self.asked.take().is_some() {
            self.planner_fault = Some("the planner does not answer".to_owned());
            self.change(Why::Age);
        }
        if let Some(why) = self.changed.take() {
            self.asked = Some(now);
            effects.push(Effect::Plan(why));
        }
    }
}

#[cfg(test)]
mod tests;
