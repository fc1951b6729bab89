//! Past data in a closed loop: the simulated plant is driven slot by slot, and
//! a controller decides each slot from what was known when it began.
//!
//! [`Timeline`] holds the truth of a period. A [`Controller`] never sees it: it
//! gets a [`View`], which answers only what was published, measured or agreed
//! by then. [`run`] drives the plant; [`Ledger`] counts what came of it.
//! [`Planning`] is stowheat itself; [`baseline`] holds the rules that people
//! have today; [`bound`] what could have been done knowing everything.

mod always_on;
pub mod baseline;
pub mod bound;
mod ledger;
mod planning;
mod reached;
mod steps;
mod surroundings;
mod timeline;
mod view;

pub use ledger::{
    BandSums, Ledger, Limits, PlantRoomSums, RoomsAndPool, RouteSums, StoredWorth, Taps,
};
pub use planning::{Planning, Settings};
pub use reached::reached;
pub use surroundings::Surroundings;
pub use timeline::{Foreknown, HygieneRule, Record, SLOT_SECONDS, Timeline, TimelineError};
pub use view::{Served, View};

use crate::plant::{
    BatteryCommand, Commands, Conditions, HeaterCommand, JobCommand, Outcome, Plant, PvUse, Scene,
};
use crate::problem::{ProblemError, State, Watch};
use crate::site::Site;
use crate::time::{Horizon, Instant, Series};
use crate::units::Price;

/// Slots that a decision looks ahead: two days of plan and two that value its end.
pub const LOOK_AHEAD: usize = 192;

/// Slots of two weeks.
const TWO_WEEKS: usize = 14 * 48;

/// What the devices are told for one slot.
#[derive(Debug, Clone, PartialEq)]
pub struct SlotCommands {
    /// Each element, in the order of [`crate::Problem::heaters`].
    pub heaters: Vec<HeaterCommand>,
    /// The battery.
    pub battery: BatteryCommand,
    /// The use of PV.
    pub pv: PvUse,
    /// The destratification pump of each store.
    pub pumps: Vec<bool>,
    /// Jobs of the plant room's sources.
    pub jobs: Vec<JobCommand>,
    /// What each element watches while it does not run, if it stands guard.
    pub guards: Vec<Option<Watch>>,
    /// Whether the thermostats stand as the site says, whatever the dials of
    /// the controller.
    pub dials_up: bool,
}

impl SlotCommands {
    /// Nothing heats and the battery holds.
    pub fn idle(site: &Site) -> Self {
        let elements = site.stores.iter().map(|s| s.elements.len()).sum();
        Self {
            heaters: vec![HeaterCommand::OFF; elements],
            battery: BatteryCommand::HOLD,
            pv: PvUse::Free,
            pumps: vec![false; site.stores.len()],
            jobs: Vec::new(),
            guards: vec![None; elements],
            dials_up: true,
        }
    }

    fn write(self, commands: &mut Commands, slot: usize) {
        for (row, heater) in commands.heaters.iter_mut().zip(self.heaters) {
            row[slot] = heater;
        }
        for (row, guard) in commands.guards.iter_mut().zip(self.guards) {
            row[slot] = guard;
        }
        commands.battery[slot] = self.battery;
        commands.pv[slot] = self.pv;
        for (row, runs) in commands.pumps.iter_mut().zip(self.pumps) {
            row[slot] = runs;
        }
        commands.jobs[slot] = self.jobs;
    }
}

/// Decides what the devices do, slot by slot.
pub trait Controller {
    /// The house as this controller has set it up: its thermostat dials.
    fn set_up(&self, site: &Site) -> Site {
        site.clone()
    }

    /// Commands for the slot that begins now.
    fn command(&mut self, view: &View<'_>) -> SlotCommands;
}

/// A period as it went under one controller.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// What the plant did, slot by slot of the judged period.
    pub outcome: Outcome,
    /// What it was told.
    pub commands: Commands,
    /// For each pasteurisation, the instants at which a hold was complete.
    pub holds: Vec<Vec<Instant>>,
}

/// A house and a period, prepared once for many controllers.
#[derive(Debug, Clone)]
pub struct Stage<'a> {
    site: &'a Site,
    timeline: &'a Timeline,
    horizon: Horizon,
    scene: Scene,
    start: State,
    /// Prices of each slot where known, else the mean at its time of day.
    usual_prices: Vec<(Price, Price)>,
}

impl<'a> Stage<'a> {
    /// Prepares a period from a state at its start.
    ///
    /// # Errors
    /// If the state or a draw does not fit the stores, or the plant room needs
    /// weather that the timeline does not have.
    pub fn new(
        site: &'a Site,
        timeline: &'a Timeline,
        start: &State,
    ) -> Result<Self, ProblemError> {
        let record = timeline.record();
        let judged = timeline.judged();
        let horizon = Horizon::new(record.horizon.slots()[judged.clone()].to_vec())?;
        let around = &timeline.surroundings;
        around.ambient.fits(site, &record.horizon)?;
        around.comfort.fits(&record.horizon)?;
        // The plant does not look at prices; the ledger keeps the gaps.
        let free = Series::constant(&horizon, Price::constant(0.0));
        let conditions = Conditions {
            horizon: &horizon,
            import_price: &free,
            export_price: &free,
            pv: &Series::new("the PV", &horizon, record.pv[judged.clone()].to_vec())?,
            base_load: &Series::new(
                "the base load",
                &horizon,
                record.base_load[judged.clone()].to_vec(),
            )?,
            draws: timeline.draws_in(judged.clone()),
            mains: &record.mains,
            ambient: &around.over(judged.clone(), &horizon),
            state: start,
        };
        let scene = Plant::new(site).scene(&conditions)?;
        let usual_prices = timeline.usual_prices();
        Ok(Self { site, timeline, horizon, scene, start: start.clone(), usual_prices })
    }

    /// The house.
    pub fn site(&self) -> &'a Site {
        self.site
    }

    /// The period.
    pub fn timeline(&self) -> &'a Timeline {
        self.timeline
    }

    /// State at the start.
    pub fn start(&self) -> &State {
        &self.start
    }

    /// Whether there is a bound for this house. Of a plant room there is none: the
    /// linear program is not kinder than the plant everywhere there, since it takes
    /// each step of a heat pump and the losses of a pool at fixed temperatures.
    pub fn has_bound(&self) -> bool {
        !Plant::new(self.site).has_works()
    }

    /// Slots of the judged period.
    pub fn horizon(&self) -> &Horizon {
        &self.horizon
    }

    /// Drives the plant through the period; `progress` is told each slot done.
    pub fn run(&self, controller: &mut dyn Controller, progress: &mut dyn FnMut(usize)) -> Run {
        let mut drive = Drive::new(self, controller);
        for slot in 0..self.horizon.len() {
            drive.heat(controller, slot);
            drive.meter(slot..slot + 1);
            progress(slot + 1);
        }
        drive.done()
    }

    /// Drives the heat alone, for a controller that looks at neither battery nor meter;
    /// `None` once `goes_on` says, after a slot, that it is not worth it.
    pub(super) fn run_heat(
        &self,
        controller: &mut dyn Controller,
        goes_on: &mut dyn FnMut(&Outcome, usize) -> bool,
    ) -> Option<Run> {
        let mut drive = Drive::new(self, controller);
        for slot in 0..self.horizon.len() {
            drive.heat(controller, slot);
            if !goes_on(&drive.outcome, slot) {
                return None;
            }
        }
        Some(drive.done())
    }

    /// A run of which only the start is known.
    pub(super) fn outset(&self) -> Run {
        Run {
            outcome: Plant::new(self.site).outset(&self.scene),
            commands: Commands::idle(self.site, self.horizon.len()),
            holds: Vec::new(),
        }
    }

    /// Runs battery and meter of a run whose heat is known.
    pub(super) fn run_meter(&self, run: &mut Run) {
        let slots = 0..self.horizon.len();
        Plant::new(self.site).resume_house(&self.scene, &run.commands, &mut run.outcome, slots);
    }
}

/// The plant on its way through a period.
struct Drive<'s, 'a> {
    stage: &'s Stage<'a>,
    /// The plant with the dials of its controller, and as the site has it.
    dialled: Plant,
    full: Plant,
    commands: Commands,
    outcome: Outcome,
    hygiene: Hygiene,
    served: Service,
}

impl<'s, 'a> Drive<'s, 'a> {
    fn new(stage: &'s Stage<'a>, controller: &dyn Controller) -> Self {
        let full = Plant::new(stage.site);
        Self {
            dialled: Plant::new(&controller.set_up(stage.site)),
            commands: Commands::idle(stage.site, stage.horizon.len()),
            outcome: full.outset(&stage.scene),
            hygiene: Hygiene::new(stage.timeline, stage.horizon.start()),
            served: Service::default(),
            full,
            stage,
        }
    }

    /// Decides on a slot and runs its heat.
    fn heat(&mut self, controller: &mut dyn Controller, slot: usize) {
        let (stage, timeline) = (self.stage, self.stage.timeline);
        let state = self.outcome.state(slot);
        let now = timeline.judged().start + slot;
        let view = View::new(timeline, now, &state, &self.hygiene.last, self.served.recent());
        let told = controller.command(&view);
        let plant = if told.dials_up { &mut self.full } else { &mut self.dialled };
        told.write(&mut self.commands, slot);
        plant.resume_heat(&stage.scene, &self.commands, &mut self.outcome, slot..slot + 1);
        self.hygiene.look(timeline, &self.outcome, slot, stage.horizon.slots()[slot]);
        self.served.count(&self.outcome, slot);
    }

    /// Runs battery and meter, which no dial changes.
    fn meter(&mut self, slots: std::ops::Range<usize>) {
        self.full.resume_house(&self.stage.scene, &self.commands, &mut self.outcome, slots);
    }

    fn done(self) -> Run {
        Run { outcome: self.outcome, commands: self.commands, holds: self.hygiene.holds }
    }
}

/// Holds as the plant's coldest layers prove them.
struct Hygiene {
    since: Vec<Option<Instant>>,
    last: Vec<Instant>,
    holds: Vec<Vec<Instant>>,
}

impl Hygiene {
    /// A period begins as if a hold had just been proven.
    fn new(timeline: &Timeline, start: Instant) -> Self {
        let rules = timeline.record().hygiene.len();
        Self { since: vec![None; rules], last: vec![start; rules], holds: vec![Vec::new(); rules] }
    }

    fn look(
        &mut self,
        timeline: &Timeline,
        outcome: &Outcome,
        index: usize,
        slot: crate::time::Slot,
    ) {
        for (number, rule) in timeline.record().hygiene.iter().enumerate() {
            let coldest = outcome.stores[rule.store].slots()[index].coldest;
            if coldest < rule.temperature.celsius() {
                self.since[number] = None;
                continue;
            }
            let since = *self.since[number].get_or_insert(slot.start());
            if slot.end() - since >= rule.hold_seconds {
                // A hold that goes on counts once, and proves until it ends.
                let goes_on = self.holds[number].last().is_some_and(|last| *last == slot.start());
                if goes_on {
                    self.holds[number].pop();
                }
                self.holds[number].push(slot.end());
                self.last[number] = slot.end();
            }
        }
    }
}

/// How the taps were served over the last two weeks.
#[derive(Default)]
struct Service {
    window: std::collections::VecDeque<Served>,
    sum: Served,
}

impl Service {
    fn count(&mut self, outcome: &Outcome, slot: usize) {
        let stores = outcome.stores.iter().map(|trace| trace.slots()[slot]);
        let now = stores.fold(Served::default(), |sum, s| Served {
            asked_kwh: sum.asked_kwh + s.drawn_kwh.max(0.0) + s.unmet_kwh,
            unmet_kwh: sum.unmet_kwh + s.unmet_kwh,
        });
        self.window.push_back(now);
        self.sum.asked_kwh += now.asked_kwh;
        self.sum.unmet_kwh += now.unmet_kwh;
        if self.window.len() > TWO_WEEKS
            && let Some(old) = self.window.pop_front()
        {
            self.sum.asked_kwh -= old.asked_kwh;
            self.sum.unmet_kwh = (self.sum.unmet_kwh - old.unmet_kwh).max(0.0);
        }
    }

    fn recent(&self) -> Served {
        self.sum
    }
}
