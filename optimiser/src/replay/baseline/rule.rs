//! Rules and how each decides a slot.

use super::super::{Controller, SlotCommands, View};
use super::keeper::Keeper;
use crate::forecast::Knowledge;
use crate::plant::{BatteryCommand, HeaterCommand};
use crate::schedule::BatteryMode;
use crate::site::{Control, Element, Site};
use crate::units::{Power, Price, Temperature};

/// Hours by which a pasteurisation begins before it falls due.
pub(super) const HYGIENE_HOURS: i64 = 24;

/// Days of prices that a threshold is drawn from.
const THRESHOLD_DAYS: usize = 14;

/// Half-hours of the local clock from one until another, past midnight if need be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// First half-hour of the day.
    pub from: u8,
    /// Number of half-hours.
    pub length: u8,
}

impl Window {
    fn holds(self, half_hour: u8) -> bool {
        (half_hour + 48 - self.from) % 48 < self.length
    }
}

/// When the lowest element is allowed to heat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rule {
    /// Always: the thermostat alone decides.
    Thermostat,
    /// In a window of the clock.
    Timer(Window),
    /// As far as the PV surplus reaches, and in a window of the clock.
    SurplusFirst(Window),
    /// In so many of the cheapest half-hours of each local day.
    CheapestSlots(usize),
    /// While the price is among the lowest share of the last two weeks' prices.
    Threshold(f64),
}

/// A rule with its dials, as a controller.
#[derive(Debug, Clone, PartialEq)]
pub struct Ruled {
    /// When the lowest element may heat.
    pub rule: Rule,
    /// Dial of the lowest element.
    pub dial: Temperature,
    /// Dial of every other element, which is always on; `None` keeps them off.
    pub boost: Option<Temperature>,
    /// Whether the battery charges at full power where the rule heats from the
    /// grid; otherwise it always follows the house.
    pub charges: bool,
    today: Option<Day>,
    elements: Vec<ElementFacts>,
    /// The sources of a plant room.
    keeper: Option<Keeper>,
    /// Stores with a mixing pump.
    pumps: Vec<bool>,
}

/// The slots a rule has chosen for a local day.
#[derive(Debug, Clone, PartialEq)]
struct Day {
    day: i32,
    chosen: Vec<usize>,
}

#[derive(Debug, Clone, PartialEq)]
struct ElementFacts {
    store: usize,
    lowest: bool,
    element: Element,
}

impl Ruled {
    /// A battery that looks after itself.
    const FOLLOW: BatteryCommand =
        BatteryCommand { mode: BatteryMode::Follow, power: Power::constant(0.0) };

    /// At full power, whatever that is.
    const CHARGE: BatteryCommand =
        BatteryCommand { mode: BatteryMode::Charge, power: Power::constant(1_000.0) };

    /// A rule for a house.
    pub fn new(
        site: &Site,
        rule: Rule,
        dial: Temperature,
        boost: Option<Temperature>,
        charges: bool,
    ) -> Self {
        let lowest = |store: &crate::site::Store| {
            let height = |e: &Element| e.height.value();
            let all = store.elements.iter().enumerate();
            all.min_by(|a, b| height(a.1).total_cmp(&height(b.1))).map_or(0, |(index, _)| index)
        };
        let elements = site
            .stores
            .iter()
            .enumerate()
            .flat_map(|(store, own)| {
                let low = lowest(own);
                own.elements.iter().enumerate().map(move |(index, element)| ElementFacts {
                    store,
                    lowest: index == low,
                    element: element.clone(),
                })
            })
            .collect();
        let pumps = site.stores.iter().map(|store| store.destratification_pump).collect();
        let keeper = Keeper::of(site, dial, boost);
        Self { rule, dial, boost, charges, today: None, elements, keeper, pumps }
    }

    /// The same with a battery that charges meanwhile, or not.
    #[must_use]
    pub(super) fn charging(mut self, charges: bool) -> Self {
        self.charges = charges;
        self
    }

    /// The same with rooms that are warmer by some kelvins while the rule heats.
    #[must_use]
    pub fn preheating(mut self, kelvin: f64) -> Self {
        if let Some(keeper) = &mut self.keeper {
            keeper.preheat = kelvin;
        }
        self
    }

    /// Whether a machine, and no element, heats a store.
    fn has_machine(&self, store: usize) -> bool {
        self.keeper.as_ref().is_some_and(|keeper| keeper.heats(store))
    }

    /// Whether the rule heats from the grid in the slot that begins now.
    pub(super) fn grid_heats(&mut self, view: &View<'_>) -> bool {
        let now = view.now();
        match self.rule {
            Rule::Thermostat => true,
            Rule::Timer(window) | Rule::SurplusFirst(window) => {
                window.holds(view.mark(now).half_hour)
            }
            Rule::CheapestSlots(count) => self.chosen(view, count).contains(&now),
            Rule::Threshold(share) => threshold(view, share),
        }
    }

    /// What a battery is told: to charge, or to look after itself.
    pub(super) const fn battery(charges: bool) -> BatteryCommand {
        if charges { Self::CHARGE } else { Self::FOLLOW }
    }

    /// What the devices are told in the slot that begins now, where it is known whether
    /// the rule heats from the grid.
    pub(super) fn orders(&mut self, view: &View<'_>, heats: bool) -> SlotCommands {
        let slot = view.slot(view.now());
        let minutes = slot.hours() * 60.0;
        let pasteurises: Vec<usize> = view
            .hygiene()
            .filter(|(_, due)| *due - slot.start() <= HYGIENE_HOURS * 3_600)
            .map(|(rule, _)| rule.store)
            .collect();
        let mut surplus = match self.rule {
            Rule::SurplusFirst(_) => view.followed_surplus(),
            _ => 0.0,
        };
        let heaters: Vec<HeaterCommand> = self
            .elements
            .iter()
            .map(|facts| {
                let full =
                    HeaterCommand { power: facts.element.power, minutes, delay_minutes: 0.0 };
                let machine = self.has_machine(facts.store);
                let allowed = if facts.lowest {
                    (heats && !machine) || pasteurises.contains(&facts.store)
                } else {
                    self.boost.is_some() && !machine
                };
                if allowed {
                    full
                } else if facts.lowest && surplus > 0.0 {
                    let command = following(&facts.element, surplus, minutes);
                    surplus -= command.energy().kwh();
                    command
                } else {
                    HeaterCommand::OFF
                }
            })
            .collect();
        let keeper = self.keeper.as_mut();
        let jobs = keeper.map_or_else(Vec::new, |own| own.jobs(view, heats, &pasteurises));
        SlotCommands {
            guards: vec![None; heaters.len()],
            heaters,
            battery: Self::battery(self.charges && heats),
            pv: crate::plant::PvUse::Free,
            // A mixing pump, where there is one, runs while a pasteurisation is being done.
            pumps: self
                .pumps
                .iter()
                .enumerate()
                .map(|(s, p)| *p && pasteurises.contains(&s))
                .collect(),
            jobs,
            dials_up: !pasteurises.is_empty(),
        }
    }

    /// The cheapest slots of the local day, of those whose price is known when
    /// the day begins; chosen once.
    fn chosen(&mut self, view: &View<'_>, count: usize) -> &[usize] {
        let day = view.mark(view.now()).day;
        if self.today.as_ref().is_none_or(|today| today.day != day) {
            let slots = (view.now()..view.now() + 50).filter(|slot| view.mark(*slot).day == day);
            let mut priced: Vec<(f64, usize)> = slots
                .map(|slot| (view.prices(slot).0.map_or(f64::INFINITY, Price::per_kwh), slot))
                .collect();
            priced.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            let chosen = priced.into_iter().take(count).map(|(_, slot)| slot).collect();
            self.today = Some(Day { day, chosen });
        }
        self.today.as_ref().map_or(&[], |today| &today.chosen)
    }
}

/// Whether the present price is among the lowest share of the last days'.
fn threshold(view: &View<'_>, share: f64) -> bool {
    let Some(now) = view.prices(view.now()).0 else { return false };
    let first = view.now().saturating_sub(48 * THRESHOLD_DAYS);
    let (mut below, mut all) = (0_usize, 0_usize);
    for price in (first..view.now()).filter_map(|slot| view.prices(slot).0) {
        all += 1;
        below += usize::from(price < now);
    }
    below as f64 <= share * all as f64
}

impl Controller for Ruled {
    fn set_up(&self, site: &Site) -> Site {
        let mut site = site.clone();
        let elements = site.stores.iter_mut().flat_map(|store| &mut store.elements);
        for (element, facts) in elements.zip(&self.elements) {
            let dial = if facts.lowest { Some(self.dial) } else { self.boost };
            if let Some(dial) = dial.filter(|dial| *dial < element.thermostat) {
                element.thermostat = dial;
            }
        }
        site
    }

    fn command(&mut self, view: &View<'_>) -> SlotCommands {
        let heats = self.grid_heats(view);
        self.orders(view, heats)
    }
}

/// An element that follows a surplus [kWh] as its control can: modulated, in
/// the highest stage that fits, or on for a part of the slot.
fn following(element: &Element, surplus: f64, minutes: f64) -> HeaterCommand {
    let mean = surplus / (minutes / 60.0);
    let full = element.power.kw();
    let run = |kw: f64, minutes: f64| HeaterCommand {
        power: Power::clamped(kw),
        minutes,
        delay_minutes: 0.0,
    };
    match &element.control {
        Control::Modulating => run(mean.min(full), minutes),
        Control::OnOff => run(full, minutes * (mean / full).min(1.0)),
        Control::Staged(stages) => {
            let fits = stages.iter().map(|s| s.kw()).filter(|kw| *kw <= mean).fold(0.0, f64::max);
            if fits > 0.0 { run(fits, minutes) } else { HeaterCommand::OFF }
        }
    }
}

impl std::fmt::Display for Rule {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Thermostat => f.write_str("thermostat"),
            Self::Timer(window) => write!(f, "{window}"),
            Self::SurplusFirst(window) => write!(f, "PV surplus, and {window}"),
            Self::CheapestSlots(count) => write!(f, "the {count} cheapest half-hours of the day"),
            Self::Threshold(share) => {
                write!(f, "below the cheapest {:.0} % of two weeks", share * 100.0)
            }
        }
    }
}

impl std::fmt::Display for Window {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let clock = |half_hour: u8| format!("{:02}:{:02}", half_hour / 2 % 24, half_hour % 2 * 30);
        write!(f, "{} to {}", clock(self.from), clock((self.from + self.length) % 48))
    }
}

impl std::fmt::Display for Ruled {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}, dial {}", self.rule, self.dial)?;
        if let Some(boost) = self.boost {
            let who = if self.keeper.is_some() { "reheated" } else { "other elements" };
            write!(f, ", {who} always at {boost}")?;
        }
        if self.keeper.as_ref().is_some_and(|keeper| keeper.preheat > 0.0) {
            f.write_str(", rooms warmer meanwhile")?;
        }
        if self.charges { f.write_str(", battery charges meanwhile") } else { Ok(()) }
    }
}
