//! The service: one task owns all that is known and takes one event at a time.
//!
//! Around it stand the link's own tasks, the solver's thread, the archive's
//! thread, and a task for each file or address that is watched. They only send
//! events; nothing is shared. Time comes from a [`Clock`], so that a day can pass
//! in a second.

mod connection;
mod devices;
mod documents;
mod effects;
mod learning;
mod ledger;
mod life;
mod memory;
mod metrics;
mod plant_room;
mod publish;
mod rules;
mod shadow;
mod start;
mod view;

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::sync::Arc;

use optimiser::problem::HeaterId;
use optimiser::schedule::PlantRoomPlan;
use optimiser::time::Instant;
use optimiser::units::Energy;
use tokio::sync::mpsc::UnboundedReceiver;
use tokio::sync::watch;

use self::ledger::{HygieneWatch, RunLedger};
pub use self::life::run;
use self::memory::Memory;
use self::plant_room::RoomEstimate;
pub use self::plant_room::sinks;
pub use self::rules::feeders;
pub use self::start::{Setup, StartError};
use self::view::View;
use crate::assemble::Known;
use crate::house::House;
use crate::service::clock::{self, Clock, StepWatch, Synchronised};
use crate::service::commands::Feeder;
use crate::service::homie::{Alert, Tree};
use crate::service::http::Status;
use crate::service::learning::{DrawWatch, Logbook, Meters};
use crate::service::link::{BrokerLink, LinkEvent, Topic};
use crate::service::planning::estimate::{self, Estimate, Profile, Sight};
use crate::service::planning::{Answer, Made, Program, Snapshot, Solver, Taste};
use crate::service::readings::Freshness;
use crate::service::settings::ServiceSettings;
use crate::service::sources::{Delivery, Forecasts, PriceDesk};
use crate::service::state::{Event, Role, State, Why};
use crate::service::supervision::Supervision;
use crate::service::wire::Fault;
use crate::service::wire::topics::Topics;

/// Readings that depart from the schedule by more than this are planned anew [kWh].
const DRIFT_KWH: f64 = 0.3;

/// A schedule made in a hurry is polished when it was quiet for so long [s].
const POLISH_AFTER_S: i64 = 15;

/// Everything that others send, but for the link.
struct Inlets {
    answers: UnboundedReceiver<Answer>,
    deliveries: UnboundedReceiver<Delivery>,
    persisted: UnboundedReceiver<bool>,
    synchronised: UnboundedReceiver<Synchronised>,
}

/// What a schedule expects of an instant.
#[derive(Clone)]
struct Expected {
    stores: Vec<Profile>,
    battery_kwh: f64,
    room: PlantRoomPlan,
}

struct App {
    house: Arc<House>,
    settings: ServiceSettings,
    clock: Arc<dyn Clock>,
    boot_id: String,
    state: State,
    link: BrokerLink,
    topics: Topics,
    tree: Option<Tree>,
    program: Program,
    solver: Solver,
    memory: Memory,
    desk: Option<PriceDesk>,
    forecasts: Forecasts,
    known: Arc<Known>,
    /// The last schedule made.
    made: Option<Arc<Made>>,
    plan_number: u64,
    /// Its slots as JSON, for the tree.
    schedule_json: String,
    /// The stores as they were last thought to be.
    stores: Vec<Estimate>,
    battery_kwh: f64,
    /// Buffer, rooms and pool as they were last thought to be.
    room: RoomEstimate,
    /// Why each heater is as it is, by the last set-point.
    reasons: BTreeMap<HeaterId, String>,
    /// The same of sources and circuits.
    source_reasons: BTreeMap<Feeder, String>,
    /// Stores that got heat through a coil in this half-hour.
    coiled: BTreeSet<usize>,
    /// Why the battery is told what it was last told.
    battery_reason: String,
    alerts: BTreeMap<Alert, String>,
    faults: Vec<Fault>,
    /// Everything as the schedule under way begins.
    underway: Option<Expected>,
    /// Asked for while the solver was busy.
    again: Option<Why>,
    /// When a schedule was made in a hurry that was not polished since.
    hurried: Option<Instant>,
    runs: RunLedger,
    meters: Meters,
    draws: DrawWatch,
    logbook: Logbook,
    /// End of the last half-hour that was logged.
    logged_until: Option<Instant>,
    hygiene: HygieneWatch,
    steps: StepWatch,
    synchronised: Synchronised,
    /// When documents were last refreshed.
    refreshed: Option<Instant>,
    /// When values of the tree were last refreshed.
    shown: Option<Instant>,
    commands_made: u64,
    /// Commands in force whose cost was told.
    priced: BTreeSet<String>,
    status: watch::Sender<Status>,
    /// Watches whoever sends to us.
    tasks: Vec<tokio::task::JoinHandle<()>>,
    leaving: bool,
    supervision: Supervision,
}

impl App {
    fn now(&self) -> Instant {
        self.clock.now()
    }

    fn hear(&mut self, event: LinkEvent) {
        let is_up = event == LinkEvent::Up;
        let is_message = matches!(event, LinkEvent::Message { .. });
        self.handle(Event::Link(event));
        if is_message {
            self.read_meters(self.now());
            self.look_at_stores();
        }
        if is_up {
            self.refresh();
        }
    }

    /// Takes an event and everything that follows from it.
    fn handle(&mut self, event: Event) {
        let mut events = VecDeque::from([event]);
        while let Some(event) = events.pop_front() {
            let effects = self.state.apply(self.now(), event);
            for effect in effects {
                self.perform(effect, &mut events);
            }
        }
    }

    fn tick(&mut self) {
        let now = self.now();
        let step_s = self.steps.look(now, self.clock.elapsed());
        if let Some(step_s) = step_s {
            tracing::warn!(step_s, "the time of day stepped");
        }
        if self.solver.is_overdue() {
            self.overdue(now);
        }
        // A half-hour that is over is learned from before the next one is planned.
        self.write_ledger(now);
        let clock_is_right = clock::is_right(now, self.synchronised);
        self.handle(Event::Tick { clock_is_right, step_s });
        self.age_forecasts(now);
        if self.hurried.is_some_and(|hurried| now - hurried >= POLISH_AFTER_S) {
            self.hurried = None;
            self.handle(Event::Unpolished);
        }
        self.look_at_stores();
        let is_due = |last: Option<Instant>, every: i64| {
            last.is_none_or(|last| !(0..every).contains(&(now - last)))
        };
        if is_due(self.refreshed, 60) {
            self.refresh();
        } else if is_due(self.shown, 10) {
            self.show();
        }
    }

    /// The solver hangs. While the schedule before holds it stays; else the rule's.
    fn overdue(&mut self, now: Instant) {
        tracing::error!("the solver does not answer; it is left behind");
        let cause = "the solver did not answer in time; the schedule before is kept";
        if self.state.current(now).is_some() {
            self.handle(Event::Planned(Err(cause.to_owned())));
            self.tell_schedule();
            return;
        }
        let snapshot = self.snapshot(Taste::ByRule);
        if let Err(error) = self.solver.ask(snapshot) {
            self.handle(Event::Planned(Err(error)));
        }
    }

    fn plan(&mut self, why: Why, events: &mut VecDeque<Event>) {
        if self.solver.is_busy() {
            // One question at a time; this one follows the answer.
            self.again = Some(why);
            return;
        }
        tracing::debug!(?why, "planning");
        let taste = match why {
            Why::Start | Why::Slot | Why::Age => Taste::Thorough,
            Why::Reading | Why::Forecast | Why::Prices | Why::Command | Why::Clock => Taste::Quick,
        };
        self.hurried = (taste == Taste::Quick).then(|| self.now());
        let snapshot = self.snapshot(taste);
        if let Err(error) = self.solver.ask(snapshot) {
            events.push_back(Event::Planned(Err(error)));
        }
    }

    fn snapshot(&mut self, taste: Taste) -> Snapshot {
        self.estimate();
        let outside = self.outside(self.now());
        if self.known.outside != outside {
            Arc::make_mut(&mut self.known).outside = outside;
        }
        let wishes = self.state.overrides().wishes().to_vec();
        let ids = || wishes.iter().map(|wish| &wish.id);
        self.underway = Some(Expected {
            stores: self.stores.iter().map(|store| store.profile).collect(),
            battery_kwh: self.battery_kwh,
            room: self.room.now,
        });
        self.priced.retain(|id| ids().any(|other| other == id));
        // A hurried schedule is dearer by chance than what a wish costs.
        let is_thorough = taste == Taste::Thorough;
        let unpriced = ids().filter(|id| is_thorough && !self.priced.contains(*id));
        let unpriced = unpriced.cloned().collect();
        Snapshot {
            at: self.now(),
            house: Arc::clone(&self.house),
            known: Arc::clone(&self.known),
            stores: self.stores.iter().map(Estimate::layers).collect(),
            battery: Energy::clamped(self.battery_kwh),
            plant_room: self.plant_room_state(),
            unmeasured: self.room.unmeasured(),
            proven: self.hygiene.proven.clone(),
            wishes,
            unpriced,
            published: self.made.clone(),
            change_share: self.settings.change_share,
            taste,
            program: self.program,
        }
    }

    /// What is in the stores now.
    fn estimate(&mut self) {
        let now = self.now();
        let models = self.made.as_deref().and_then(|made| estimate::expected(made, now));
        let models: Vec<Profile> =
            models.unwrap_or_else(|| self.stores.iter().map(|store| store.profile).collect());
        let stores = self.house.site.stores.iter().zip(&models).enumerate();
        self.stores = stores
            .map(|(index, (store, model))| estimate::seen(store, model, &self.probes(index, now)))
            .collect();
        let by_plan = self.made.as_deref().and_then(|made| estimate::expected_battery(made, now));
        let measured = self.charge(now);
        self.battery_kwh = measured.or(by_plan).unwrap_or(self.battery_kwh);
        self.estimate_room(now);
    }

    fn probes(&self, store: usize, now: Instant) -> Vec<Sight> {
        let inputs = self.state.inputs().iter().zip(&self.settings.inputs);
        inputs
            .filter(|(input, _)| input.role == Role::Probe { store })
            .filter_map(|(input, settings)| match input.gate.freshness(now) {
                Freshness::Fresh(reading) => {
                    let height = settings.height?.value();
                    Some(Sight { height, celsius: reading.value })
                }
                Freshness::Missing | Freshness::Stale { .. } => None,
            })
            .collect()
    }

    /// The battery as measured [kWh].
    fn charge(&self, now: Instant) -> Option<f64> {
        let battery = self.house.site.battery.as_ref()?;
        let input = self.state.inputs().iter().find(|input| input.role == Role::Charge)?;
        match input.gate.freshness(now) {
            Freshness::Fresh(reading) => Some(reading.value * battery.capacity.kwh()),
            Freshness::Missing | Freshness::Stale { .. } => None,
        }
    }

    /// Plans anew if the stores are not as the schedule says, or as the one that is
    /// being made will say.
    fn look_at_stores(&mut self) {
        self.estimate();
        self.tell_usable();
        let Some(expected) = self.expected(self.now()) else { return };
        let stores = self.house.site.stores.iter().zip(&self.stores).zip(expected.stores);
        let drifted = stores.into_iter().any(|((store, seen), profile)| {
            let expected = Estimate { profile, measured: false };
            let apart = seen.stored_kwh(store) - expected.stored_kwh(store);
            seen.measured && apart.abs() > DRIFT_KWH
        });
        let battery = (expected.battery_kwh - self.battery_kwh).abs() > DRIFT_KWH;
        if drifted || battery || self.room.departs_from(&expected.room) {
            self.handle(Event::Drift);
        }
    }

    /// Tells who stands guard what is ready in the stores.
    fn tell_usable(&mut self) {
        let stores = self.house.site.stores.iter().zip(&self.stores);
        let usable = stores.map(|(store, seen)| seen.measured.then(|| seen.usable_litres(store)));
        self.handle(Event::Usable(usable.collect()));
    }

    fn expected(&self, now: Instant) -> Option<Expected> {
        if let Some(underway) = self.underway.as_ref().filter(|_| self.solver.is_busy()) {
            return Some(underway.clone());
        }
        let made = self.made.as_deref()?;
        Some(Expected {
            stores: estimate::expected(made, now)?,
            battery_kwh: estimate::expected_battery(made, now).unwrap_or(self.battery_kwh),
            room: estimate::expected_room(made, now)?,
        })
    }

    fn write_ledger(&mut self, now: Instant) {
        self.read_meters(now);
        self.note_coils();
        let reasons = &self.reasons;
        let told = self
            .state
            .told()
            .iter()
            .map(|(id, power_w)| (*id, *power_w, reasons.get(id).map_or("", String::as_str)));
        let over = self.runs.look(now, told);
        let mut records =
            over.map_or_else(Vec::new, |(slot, told)| self.close_half_hour(now, slot, &told));
        let names = |store: usize| self.house.site.stores[store].name.clone();
        let proofs = self.hygiene.look(now, &self.house.hygiene_of_all(), &self.stores, names);
        if !proofs.is_empty() {
            tracing::info!("a pasteurisation is proven by its probes");
            // Planned with at once, as if the store's reading had moved.
            self.handle(Event::Drift);
        }
        records.extend(proofs);
        for record in records {
            self.memory.keep(now, record);
        }
    }

    fn view(&self) -> View<'_> {
        let now = self.now();
        View {
            now,
            house: &self.house,
            state: &self.state,
            made: self.made.as_deref().filter(|made| now < made.valid_until),
            stores: &self.stores,
            battery_kwh: self.battery_kwh,
            room: &self.room,
        }
    }
}

/// The topic of a set-point of a heater.
fn set_point_topic(topics: &Topics, house: &House, heater: HeaterId) -> Topic {
    let store = &house.site.stores[heater.store];
    topics.set_point(&store.name, &store.elements[heater.element].name)
}
