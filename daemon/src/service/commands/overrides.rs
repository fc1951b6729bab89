//! What is asked for at the moment.

use std::collections::VecDeque;

use optimiser::time::Instant;
use optimiser::units::Temperature;

use super::plant::{Feeder, Plant};
use super::reader::{Refusal, check_times};
use super::wish::{Wish, WishKind, takes_the_place};
use crate::service::wire::{Action, Answer, Command, Outcome, Stamp};

/// A boost without minutes ends after this [s].
const BOOST_LIMIT_S: i64 = 6 * 3_600;

/// Commands remembered, so that a repetition is known as one.
const REMEMBERED: usize = 64;

/// Wishes at once; more are refused rather than kept.
const MAX_WISHES: usize = 64;

/// Temperatures that may be aimed at [°C].
const TARGETS_C: std::ops::RangeInclusive<f64> = 40.0..=65.0;

/// Lowest temperatures that may be asked of rooms [°C].
const ROOMS_C: std::ops::RangeInclusive<f64> = 7.0..=25.0;

/// What is known of a store when a heater is asked about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StoreReading {
    /// Hottest water, if a fresh reading says so.
    pub hottest: Option<Temperature>,
    /// Heat went in without the probe moving, or there is no word from it.
    pub heat_spent: bool,
    /// Whether the store has a probe at all; without one the model speaks for it.
    pub has_probe: bool,
}

impl StoreReading {
    /// Whether a probe that should speak does not, or cannot be believed.
    pub fn is_blind(&self) -> bool {
        self.has_probe && (self.hottest.is_none() || self.heat_spent)
    }
}

/// What a heater may do, beyond the plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// As the plan says.
    Plan,
    /// On, by hand, until then at the latest.
    On(Instant),
    /// Off, by hand, until then.
    Off(Instant),
    /// Off, because the water is as hot as it may be.
    Ceiling,
    /// Off, because nothing trustworthy is known about the water.
    Blind,
    /// Off, because a store without a probe was boosted for as long as makes sense.
    Spent,
}

/// All wishes of the moment, in the order they came.
#[derive(Debug, Clone, PartialEq)]
pub struct Overrides {
    plant: Plant,
    wishes: Vec<Wish>,
    seen: VecDeque<String>,
}

impl Overrides {
    /// Nothing is asked for yet.
    pub fn new(plant: Plant) -> Self {
        Self { plant, wishes: Vec::new(), seen: VecDeque::new() }
    }

    /// Takes up wishes again after a restart; those that are over are left out.
    #[must_use]
    pub fn with_wishes(mut self, now: Instant, wishes: Vec<Wish>) -> Self {
        self.wishes = wishes.into_iter().filter(|wish| wish.until > now).collect();
        self
    }

    /// The wishes, to be planned with and kept.
    pub fn wishes(&self) -> &[Wish] {
        &self.wishes
    }

    /// Takes a command, and answers it.
    pub fn apply(&mut self, now: Instant, command: &Command) -> Answer {
        let answer = |outcome, text: String, ends: Option<Instant>| Answer {
            schema: "stowheat/answer/1".to_owned(),
            id: command.id.clone(),
            issued_at: Stamp(now),
            outcome,
            text,
            ends: ends.map(Stamp),
            cost_minor: None,
        };
        if self.seen.contains(&command.id) {
            return answer(Outcome::Repeated, "this command came before".to_owned(), None);
        }
        match self.take(now, command) {
            Ok((text, ends)) => {
                self.seen.push_back(command.id.clone());
                if self.seen.len() > REMEMBERED {
                    self.seen.pop_front();
                }
                answer(Outcome::Done, text, ends)
            }
            Err(refusal) => answer(Outcome::Refused, refusal.text, None),
        }
    }

    /// Ends what is over, given the hottest water of each store if it is known.
    pub fn tick(&mut self, now: Instant, hottest: &[Option<Temperature>]) -> Vec<Answer> {
        let over = |wish: &Wish| -> Option<&str> {
            if wish.until <= now {
                return Some("it came to its end, the plan decides again");
            }
            let WishKind::Boost { store, until_c: Some(until_c), .. } = wish.kind else {
                return None;
            };
            let there = hottest.get(store).copied().flatten()?.celsius() >= until_c;
            there.then_some("the store is as hot as asked for, the plan decides again")
        };
        let mut ended = Vec::new();
        self.wishes.retain(|wish| {
            let Some(text) = over(wish) else { return true };
            ended.push(Answer {
                schema: "stowheat/answer/1".to_owned(),
                id: wish.id.clone(),
                issued_at: Stamp(now),
                outcome: Outcome::Ended,
                text: text.to_owned(),
                ends: None,
                cost_minor: None,
            });
            false
        });
        ended
    }

    /// What a heater may do now. Safety first, then the last word by hand.
    pub fn verdict(
        &self,
        now: Instant,
        store: usize,
        heater: usize,
        reading: StoreReading,
    ) -> Verdict {
        let ceiling = self.plant.stores[store].ceiling;
        if reading.hottest.is_some_and(|hottest| hottest >= ceiling) {
            return Verdict::Ceiling;
        }
        let blind = reading.is_blind();
        let by_hand = self.wishes.iter().rev().filter(|w| w.from <= now && now < w.until);
        for wish in by_hand {
            match wish.kind {
                WishKind::Boost { store: s, heater: h, .. }
                    if s == store && h.is_none_or(|h| h == heater) =>
                {
                    let spent = wish.from + self.plant.stores[store].full_s;
                    return match reading.has_probe {
                        _ if blind => Verdict::Blind,
                        true => Verdict::On(wish.until),
                        false if now >= spent => Verdict::Spent,
                        false => Verdict::On(wish.until.min(spent)),
                    };
                }
                WishKind::Off { store: s, heater: h }
                    if s.is_none_or(|s| s == store) && h.is_none_or(|h| h == heater) =>
                {
                    return Verdict::Off(wish.until);
                }
                _ => {}
            }
        }
        if blind { Verdict::Blind } else { Verdict::Plan }
    }

    /// Until when a source or circuit is off by hand.
    pub fn feeder_off(&self, now: Instant, feeder: Feeder) -> Option<Instant> {
        let off = |wish: &Wish| {
            let own = match wish.kind {
                WishKind::FeederOff(other) => other == feeder,
                WishKind::Off { store, heater } => store.is_none() && heater.is_none(),
                _ => false,
            };
            own && wish.from <= now && now < wish.until
        };
        self.wishes.iter().filter(|wish| off(wish)).map(|wish| wish.until).max()
    }

    /// Until when nothing heats a store, by hand; a later boost goes before.
    pub fn store_off(&self, now: Instant, store: usize) -> Option<Instant> {
        let present = self.wishes.iter().rev().filter(|w| w.from <= now && now < w.until);
        let mut own = present.filter_map(|wish| match wish.kind {
            WishKind::Boost { store: s, heater: None, .. } if s == store => Some(None),
            WishKind::Off { store: Some(s), heater: None } if s == store => Some(Some(wish.until)),
            _ => None,
        });
        own.next().flatten()
    }

    fn take(
        &mut self,
        now: Instant,
        command: &Command,
    ) -> Result<(String, Option<Instant>), Refusal> {
        check_times(command, now)?;
        let id = command.id.as_str();
        if matches!(command.action, Action::Replan) {
            return Ok(("a new plan is being made".to_owned(), None));
        }
        if matches!(command.action, Action::Resume) {
            let count = self.wishes.len();
            self.wishes.clear();
            return Ok((format!("{count} wishes ended, the plan decides again"), None));
        }
        if self.wishes.len() >= MAX_WISHES {
            return Err(Refusal::new(id, "too many wishes at once; send `resume` first"));
        }
        let (wish, text) = self.wish(now, command)?;
        // One boost or off for each heater, one target for each store, and so on:
        // the later one takes the place of the earlier.
        self.wishes.retain(|other| !takes_the_place(&wish.kind, &other.kind));
        let until = wish.until;
        self.wishes.push(wish);
        Ok((text, Some(until)))
    }

    fn wish(&self, now: Instant, command: &Command) -> Result<(Wish, String), Refusal> {
        let id = command.id.as_str();
        let wish = |from, until, kind| Wish { id: command.id.clone(), from, until, kind };
        Ok(match &command.action {
            Action::Boost { store, heater, minutes, until_c } => {
                let index = self.store(id, store)?;
                let heater_index = self.heater(id, index, heater.as_deref())?;
                if self.plant.stores[index].heaters.is_empty() && !self.plant.has_machine() {
                    let text = format!("{store} has nothing that could be boosted");
                    return Err(Refusal::new(id, text));
                }
                if minutes.is_none() && until_c.is_none() {
                    return Err(Refusal::new(id, "give `minutes`, `until_c` or both"));
                }
                if let Some(until_c) = until_c {
                    self.below_ceiling(id, index, *until_c)?;
                }
                let seconds = minutes.map_or(BOOST_LIMIT_S, |minutes| i64::from(minutes) * 60);
                let until = now + seconds;
                let kind =
                    WishKind::Boost { store: index, heater: heater_index, until_c: *until_c };
                let end = until_c.map_or(String::new(), |c| format!(" or until {c} °C"));
                (wish(now, until, kind), format!("boost of {store} until {until}{end}"))
            }
            Action::Off { store, heater, source, until } => {
                let (kind, what) =
                    self.off(id, store.as_deref(), heater.as_deref(), source.as_deref())?;
                (wish(now, until.0, kind), format!("{what} off until {}", until.0))
            }
            Action::Rooms { low_c, until } => {
                let low = self.rooms(id, *low_c)?;
                let text = format!("rooms no colder than {low} until {}", until.0);
                (wish(now, until.0, WishKind::Rooms(low)), text)
            }
            Action::Away { from, to } => {
                let text = format!("away from {} to {}", from.0, to.0);
                (wish(from.0, to.0, WishKind::Away), text)
            }
            Action::Guests { from, to, people } => {
                let text = format!("{people} more people from {} to {}", from.0, to.0);
                (wish(from.0, to.0, WishKind::Guests(*people)), text)
            }
            Action::Target { store, temperature_c, until } => {
                let index = self.store(id, store)?;
                let temperature = self.aim(id, index, *temperature_c)?;
                let text = format!("{store} aims at {temperature} until {}", until.0);
                (wish(now, until.0, WishKind::Target { store: index, temperature }), text)
            }
            Action::ReadyBy { store, by, litres, temperature_c } => {
                let index = self.store(id, store)?;
                if !(1.0..=2_000.0).contains(litres) {
                    return Err(Refusal::new(id, "`litres` must be 1 to 2000"));
                }
                let temperature = Temperature::new(*temperature_c)
                    .ok()
                    .filter(|t| (30.0..=60.0).contains(&t.celsius()))
                    .ok_or_else(|| Refusal::new(id, "`temperature_c` must be 30 to 60"))?;
                let text = format!("{litres} L at {temperature} from {store} by {}", by.0);
                let kind = WishKind::ReadyBy { store: index, litres: *litres, temperature };
                (wish(now, by.0, kind), text)
            }
            Action::Resume | Action::Replan => unreachable!("handled without a wish"),
        })
    }

    /// What is to be off, and the words for it.
    fn off(
        &self,
        id: &str,
        store: Option<&str>,
        heater: Option<&str>,
        source: Option<&str>,
    ) -> Result<(WishKind, String), Refusal> {
        if let Some(name) = source {
            if store.is_some() || heater.is_some() {
                return Err(Refusal::new(id, "give `source`, or `store` and `heater`, not both"));
            }
            return Ok((WishKind::FeederOff(self.feeder(id, name)?), name.to_owned()));
        }
        let index = store.map(|store| self.store(id, store)).transpose()?;
        let heater_index = match (index, heater) {
            (Some(index), heater) => self.heater(id, index, heater)?,
            (None, None) => None,
            (None, Some(_)) => return Err(Refusal::new(id, "`heater` needs `store` beside it")),
        };
        let what = store.unwrap_or("everything").to_owned();
        Ok((WishKind::Off { store: index, heater: heater_index }, what))
    }

    fn feeder(&self, id: &str, name: &str) -> Result<Feeder, Refusal> {
        let feeders = &self.plant.feeders;
        let found = feeders.iter().find(|feeder| feeder.name == name);
        found.map(|found| found.feeder).ok_or_else(|| {
            let names: Vec<_> = feeders.iter().map(|feeder| feeder.name.as_str()).collect();
            let name: String = name.chars().take(60).collect();
            Refusal::new(id, format!("there is no source `{name}`, only {}", names.join(", ")))
        })
    }

    fn rooms(&self, id: &str, celsius: f64) -> Result<Temperature, Refusal> {
        if !self.plant.rooms {
            return Err(Refusal::new(id, "the site describes no rooms"));
        }
        Temperature::new(celsius)
            .ok()
            .filter(|t| ROOMS_C.contains(&t.celsius()))
            .ok_or_else(|| Refusal::new(id, "`low_c` must be 7 to 25"))
    }

    fn store(&self, id: &str, name: &str) -> Result<usize, Refusal> {
        let stores = &self.plant.stores;
        stores.iter().position(|store| store.name == name).ok_or_else(|| {
            let names: Vec<_> = stores.iter().map(|store| store.name.as_str()).collect();
            let name: String = name.chars().take(60).collect();
            Refusal::new(id, format!("there is no store `{name}`, only {}", names.join(", ")))
        })
    }

    fn heater(&self, id: &str, store: usize, name: Option<&str>) -> Result<Option<usize>, Refusal> {
        let Some(name) = name else { return Ok(None) };
        let store = &self.plant.stores[store];
        let found = store.heaters.iter().position(|heater| heater.name == name);
        found.map(Some).ok_or_else(|| {
            let names: Vec<_> = store.heaters.iter().map(|heater| heater.name.as_str()).collect();
            let text = format!("{} has no such heater, only {}", store.name, names.join(", "));
            Refusal::new(id, text)
        })
    }

    fn below_ceiling(&self, id: &str, store: usize, celsius: f64) -> Result<(), Refusal> {
        let ceiling = self.plant.stores[store].ceiling.celsius();
        if (20.0..=ceiling).contains(&celsius) {
            return Ok(());
        }
        let text = format!("the temperature must be 20 to {ceiling} °C, the ceiling of this store");
        Err(Refusal::new(id, text))
    }

    fn aim(&self, id: &str, store: usize, celsius: f64) -> Result<Temperature, Refusal> {
        self.below_ceiling(id, store, celsius)?;
        Temperature::new(celsius)
            .ok()
            .filter(|t| TARGETS_C.contains(&t.celsius()))
            .ok_or_else(|| Refusal::new(id, "`temperature_c` must be 40 to 65"))
    }
}
