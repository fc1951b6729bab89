//! Doing what the state says, and taking what comes from outside the link.

use std::collections::VecDeque;
use std::sync::Arc;

use optimiser::time::Instant;

use super::{App, devices, documents, plant_room, set_point_topic};
use crate::assemble::Known;
use crate::present::Currency;
use crate::service::archive::Record;
use crate::service::commands::Feeder;
use crate::service::homie::{Mirror, Request, SetError, Status};
use crate::service::link::{Link, Message, Rank, SendError};
use crate::service::planning::{Answer, Made, Priced, battery};
use crate::service::setpoints::Due;
use crate::service::settings::Place;
use crate::service::sources::{Delivery, Subject};
use crate::service::state::{Current, Effect, Event, SourceOrder};
use crate::service::wire::{self, Action, BatterySetPoint, Command, Fault, Outcome, Stamp};

impl App {
    pub(super) fn perform(&mut self, effect: Effect, events: &mut VecDeque<Event>) {
        match effect {
            Effect::Plan(why) => self.plan(why, events),
            Effect::SetPoint(heater, set_point) => {
                let topic = set_point_topic(&self.topics, &self.house, heater);
                if self.reasons.get(&heater) != Some(&set_point.reason) {
                    tracing::info!(
                        topic = topic.as_str(),
                        power_w = set_point.power_w,
                        reason = set_point.reason,
                        "set-point"
                    );
                }
                self.reasons.insert(heater, set_point.reason.clone());
                let sent = self.link.publish_once(topic, json(&set_point));
                if let Err(error) = sent {
                    tracing::warn!(%error, "a set-point did not leave");
                    events.push_back(Event::Unsent(heater));
                }
            }
            Effect::SourceSetPoint(feeder, due) => self.tell_source(feeder, due, events),
            Effect::BatterySetPoint(set_point) => self.send_battery(&set_point, events),
            Effect::Answer(answer) => {
                let outcome = format!("{:?}", answer.outcome).to_lowercase();
                tracing::info!(id = answer.id, outcome, text = answer.text, "command");
                if let Err(error) = self.link.publish_once(self.topics.answer(), json(&answer)) {
                    tracing::warn!(%error, "an answer did not leave");
                }
                self.shown = None;
            }
            Effect::Faults(faults) => self.tell_faults(&faults),
            Effect::Keep(record) => self.memory.keep(self.now(), record),
            Effect::Pass { topic, payload, retained } => {
                self.pass(&topic, &payload, retained, events);
            }
            Effect::Leave => self.say_goodbye(),
        }
    }

    fn tell_source(&mut self, feeder: Feeder, due: Due<SourceOrder>, events: &mut VecDeque<Event>) {
        let name = plant_room::feeder_name(self.state.plant(), feeder).to_owned();
        let topic = self.topics.source_set_point(&name);
        let reason = due.reason.clone();
        let set_point = documents::source_set_point(&self.house, &self.boot_id, name, due);
        if self.source_reasons.get(&feeder) != Some(&reason) {
            let sink = set_point.sink.as_deref().unwrap_or("off");
            let heat_w = set_point.heat_w;
            tracing::info!(topic = topic.as_str(), sink, heat_w, reason, "set-point");
        }
        self.source_reasons.insert(feeder, reason);
        if let Err(error) = self.link.publish_once(topic, json(&set_point)) {
            tracing::warn!(%error, "a set-point did not leave");
            events.push_back(Event::SourceUnsent(feeder));
        }
    }

    fn send_battery(&mut self, set_point: &BatterySetPoint, events: &mut VecDeque<Event>) {
        if self.battery_reason != set_point.reason {
            let BatterySetPoint { mode, power_w, reason, .. } = set_point;
            tracing::info!(?mode, power_w, reason, "set-point of the battery");
            self.battery_reason.clone_from(&set_point.reason);
        }
        if let Err(error) = self.link.publish_once(self.topics.battery(), json(set_point)) {
            tracing::warn!(%error, "a set-point did not leave");
            events.push_back(Event::BatteryUnsent);
        }
    }

    /// A message that is neither a reading nor a command.
    fn pass(&mut self, topic: &str, payload: &[u8], retained: bool, events: &mut VecDeque<Event>) {
        let is_from = |place: &Place| matches!(place, Place::Topic(own) if own.as_str() == topic);
        let mut subjects = Vec::new();
        if self.settings.prices.as_ref().is_some_and(|source| is_from(&source.place)) {
            subjects.push(Subject::Prices);
        }
        let forecasts = self.settings.forecasts.iter().filter(|source| is_from(&source.place));
        subjects.extend(forecasts.map(|source| Subject::Forecast(source.of)));
        for subject in subjects {
            events.extend(self.receive(subject, payload, 0));
        }
        let Some(request) = self.request(topic, payload, retained) else { return };
        match request {
            Ok((request, target)) => {
                if let Some(target) = target {
                    self.set(target, Rank::Value);
                }
                for action in request.actions(self.now(), self.state.plant()) {
                    events.push_back(Event::Command(self.command(action)));
                }
            }
            Err(error) => tracing::warn!(%error, "a value of the tree is not taken"),
        }
    }

    fn request(
        &self,
        topic: &str,
        payload: &[u8],
        retained: bool,
    ) -> Option<Result<(Request, Option<Message>), SetError>> {
        let tree = self.tree.as_ref()?;
        tree.request(topic, payload, retained).or_else(|| {
            let original = Mirror::new(tree).original(topic)?;
            self.settings.homie.mirror.then(|| tree.request(&original, payload, retained))?
        })
    }

    fn command(&mut self, action: Action) -> Command {
        self.commands_made += 1;
        Command {
            schema: "stowheat/command/1".to_owned(),
            id: format!("homie-{}-{}", self.boot_id, self.commands_made),
            valid_until: None,
            action,
        }
    }

    fn tell_faults(&mut self, faults: &[Fault]) {
        let held = std::mem::replace(&mut self.faults, faults.to_vec());
        let is_in = |faults: &[Fault], one: &Fault| {
            faults.iter().any(|fault| fault.what == one.what && fault.kind == one.kind)
        };
        for fault in faults.iter().filter(|fault| !is_in(&held, fault)) {
            tracing::warn!(what = fault.what, kind = fault.kind, cause = fault.text, "fault");
        }
        for fault in held.iter().filter(|fault| !is_in(faults, fault)) {
            tracing::info!(what = fault.what, kind = fault.kind, "fault is over");
        }
        let document = documents::faults(self.now(), faults);
        self.publish(self.topics.faults(), json(&document), Rank::Value);
        let alerts = devices::alerts(&self.state, faults);
        let before = std::mem::replace(&mut self.alerts, alerts);
        let Some(tree) = &self.tree else { return };
        for gone in before.keys().filter(|alert| !self.alerts.contains_key(alert)) {
            self.link.clear_latest(tree.alert(*gone, None).topic);
        }
        for (alert, text) in &self.alerts {
            self.set(tree.alert(*alert, Some(text)), Rank::Value);
        }
    }

    /// What stays on the broker when the service is gone.
    fn say_goodbye(&mut self) {
        let offline = documents::availability(&self.boot_id, None);
        self.publish(self.topics.availability(), json(&offline), Rank::Ready);
        self.set_states(Status::Disconnected, Rank::Ready);
        self.leaving = true;
    }

    pub(super) fn set_states(&self, status: Status, rank: Rank) {
        let Some(tree) = &self.tree else { return };
        for message in tree.states(status) {
            self.set(message, rank);
        }
        if self.settings.homie.mirror {
            for message in Mirror::new(tree).states(status) {
                self.set(message, rank);
            }
        }
    }

    pub(super) fn deliver(&mut self, delivery: Delivery) {
        let events = match delivery.content {
            Ok(bytes) => self.receive(delivery.subject, &bytes, delivery.age_s),
            Err(text) => vec![source_fault(delivery.subject, "unreadable", text)],
        };
        for event in events {
            self.handle(event);
        }
    }

    /// Prices or a forecast from wherever they come.
    fn receive(&mut self, subject: Subject, bytes: &[u8], age_s: i64) -> Vec<Event> {
        let now = self.now();
        let outcome = match subject {
            Subject::Prices => self.receive_prices(now, bytes),
            Subject::Forecast(of) => self
                .forecasts
                .take(of, now + -age_s, bytes)
                .map(|()| {
                    self.forecasts.turned(now);
                    vec![Event::Forecast]
                })
                .map_err(|text| ("unreadable", text)),
        };
        match outcome {
            Ok(mut events) => {
                self.know(now);
                events.insert(0, Event::Source { name: subject.name(), fault: None });
                events
            }
            Err((kind, text)) => vec![source_fault(subject, kind, text)],
        }
    }

    fn receive_prices(
        &mut self,
        now: Instant,
        bytes: &[u8],
    ) -> Result<Vec<Event>, (&'static str, String)> {
        let Some(desk) = &mut self.desk else { return Ok(Vec::new()) };
        let taken = desk.take(now, bytes)?;
        for note in &taken.notes {
            tracing::info!(note, "prices");
        }
        let known_until = desk.known_until(now);
        if taken.records.is_empty() {
            return Ok(Vec::new());
        }
        tracing::info!(count = taken.records.len(), %known_until, "new prices");
        for record in taken.records {
            self.memory.keep(now, record);
        }
        Ok(vec![Event::Prices { known_until }])
    }

    /// Gathers what is known of prices and forecasts.
    pub(super) fn know(&mut self, now: Instant) {
        let mut known = Known::default();
        if let Some(desk) = &self.desk {
            desk.fill(&mut known, now);
        }
        self.forecasts.fill(&mut known, now);
        known.learned = self.logbook.learned(&self.house, now).map(Arc::new);
        self.known = Arc::new(known);
    }

    pub(super) fn age_forecasts(&mut self, now: Instant) {
        for (of, is_young) in self.forecasts.turned(now) {
            let name = Subject::Forecast(of).name();
            let text = "too old to plan with; the cautious estimate is used".to_owned();
            let fault = (!is_young).then_some(("stale", text));
            self.know(now);
            self.handle(Event::Source { name, fault });
            self.handle(Event::Forecast);
        }
    }

    pub(super) fn planned(&mut self, answer: Answer) {
        let (number, made) = match answer {
            Answer::Made { number, made } => (number, made),
            Answer::Priced(priced) => return self.tell_price(&priced),
        };
        if !self.solver.takes(number) {
            tracing::warn!("an answer of the solver came too late");
            return;
        }
        match made {
            Ok(made) => self.take_schedule(made),
            Err(error) => {
                tracing::error!(error, "no schedule");
                self.handle(Event::Planned(Err(error)));
                self.tell_schedule();
            }
        }
        if let Some(why) = self.again.take() {
            let mut events = VecDeque::new();
            self.plan(why, &mut events);
            for event in events {
                self.handle(event);
            }
        }
    }

    /// What something asked for by hand costs: told to who asked, and kept.
    fn tell_price(&mut self, priced: &Priced) {
        let Priced { id, minor } = priced;
        if !self.priced.insert(id.clone()) {
            return;
        }
        let now = self.now();
        let amount = Currency::new(&self.house.tariff.currency).small(minor.abs());
        let text = match minor {
            minor if minor.abs() < 0.5 => "it costs no more than the plan without it".to_owned(),
            minor if *minor > 0.0 => format!("it costs {amount} more than the plan without it"),
            _ => format!("it saves {amount} against the plan without it"),
        };
        let answer = wire::Answer {
            schema: "stowheat/answer/1".to_owned(),
            id: id.clone(),
            issued_at: Stamp(now),
            outcome: Outcome::Priced,
            text,
            ends: None,
            cost_minor: Some((minor * 100.0).round() / 100.0),
        };
        let (json, outcome) =
            (serde_json::to_string(&answer).unwrap_or_default(), "priced".to_owned());
        let record = Record::Command { at: now, id: id.clone(), json, outcome, ends: None };
        self.memory.keep(now, record);
        self.perform(Effect::Answer(answer), &mut VecDeque::new());
    }

    fn take_schedule(&mut self, made: Arc<Made>) {
        let document = made.document(&self.house);
        let reasons = document
            .slots
            .iter()
            .map(|slot| slot.heaters.iter().map(|heater| heater.why.clone()).collect::<Vec<_>>());
        let current = Current {
            issued_at: made.issued_at,
            valid_until: made.valid_until,
            schedule: made.schedule.clone(),
            reasons: reasons.collect(),
            guards: made.problem.comfort.guards.clone(),
            feeds: plant_room::feeds(&made, &document),
            battery: battery::orders(&made, &self.known.allowances),
            fell_because: made.fell_because.clone(),
        };
        self.plan_number += 1;
        tracing::info!(
            status = made.schedule.origin.name(),
            solve_ms = made.took.as_millis() as u64,
            objective = made.schedule.cost.total(),
            unmet_litres = made.schedule.unmet_litres,
            valid_until = %made.valid_until,
            "new schedule"
        );
        let said = self.made.as_ref().map_or(&[][..], |made| &made.notes);
        for note in made.notes.iter().filter(|note| !said.contains(note)) {
            tracing::info!(note, "estimate");
        }
        let (origin, until) = (made.schedule.origin.name(), made.valid_until);
        self.supervision
            .status(&format!("schedule of {} ({origin}), valid until {until}", made.issued_at));
        self.made = Some(made);
        self.tell_document(document);
        self.handle(Event::Planned(Ok(current)));
        self.refresh();
    }
}

fn source_fault(subject: Subject, kind: &'static str, text: String) -> Event {
    tracing::warn!(source = subject.name(), kind, cause = text, "not taken");
    Event::Source { name: subject.name(), fault: Some((kind, text)) }
}

/// A document as it travels.
pub(super) fn json(document: &impl serde::Serialize) -> Vec<u8> {
    serde_json::to_vec(document).expect("documents of the service have a JSON form")
}

/// Why a retained document is not on the broker.
pub(super) fn log_unsent(topic: &str, error: SendError) {
    tracing::error!(topic, %error, "a document is not published");
}
