//! What a plan leaves for the next one.
//!
//! In a loop the next problem is nearly the last one: time has moved on by a
//! slot, the house has not gone quite as expected, and now and then prices are
//! published. So the judged plan is carried over slot by slot and improved from
//! there, and what was settled once stays settled until there is news.

use crate::judge::{Draft, Vain};
use crate::model::Refinement;
use crate::plant::{Commands, HeaterCommand};
use crate::problem::{ByHand, Problem, Ready};
use crate::solution::Solution;
use crate::time::{Instant, Slot};
use crate::units::Energy;

use super::{Settled, Wish};

/// A plan that begins later than this after the last one is a new one [s].
const FOLLOWS_SECONDS: i64 = 2 * 3_600;

/// The program is asked again after this time, news or not [s]; in a plant room, where it
/// takes ten times as long, less often.
const ASKS_SECONDS: i64 = 16 * 3_600;
const ASKS_SECONDS_OF_WORKS: i64 = 24 * 3_600;

/// For so long the program of a plant room is not asked again because the plan leaves more
/// undone [s].
const LATELY_SECONDS: i64 = 4 * 3_600;

/// A day [s].
const DAY_SECONDS: i64 = 86_400;

/// Share of the prices, weighted by time, that may differ without being news.
const NEWS: f64 = 0.02;

/// The last plan, as the simulated plant judged it.
#[derive(Debug, Clone)]
pub(super) struct Memory {
    slots: Vec<Slot>,
    import: Vec<f64>,
    export: Vec<f64>,
    commands: Commands,
    energies: Vec<Vec<f64>>,
    /// Heat of each route, `[route][slot]`.
    wishes: Vec<Vec<Wish>>,
    /// What it left undone [minor].
    pub(super) shortfall: f64,
    /// Part of it for rooms and pool [minor].
    pub(super) discomfort: f64,
    /// What people asked for.
    by_hand: Vec<ByHand>,
    promises: Vec<Ready>,
    holds: Vec<Hold>,
    /// The program's last word on it.
    pub(super) word: Word,
    /// What was tried in vain to improve it.
    pub(super) vain: Vain,
    /// How many plans went on from the one before without a break.
    pub(super) steps: usize,
}

/// A pasteurisation and the start of its hold, if the plan has one.
#[derive(Debug, Clone, Copy)]
struct Hold {
    store: usize,
    due: Instant,
    start: Option<Instant>,
}

/// What the program answered, on the slots of a plan.
#[derive(Debug, Clone)]
pub(super) struct Word {
    pub(super) answer: Settled,
    /// Energies of its answer, `[heater][slot]` [kWh].
    pub(super) energies: Vec<Vec<f64>>,
    /// When it was asked.
    pub(super) asked: Instant,
}

impl Memory {
    pub(super) fn new(
        problem: &Problem,
        (draft, discomfort): (Draft, f64),
        word: Word,
        holds: &[Option<Instant>],
        (vain, steps): (Vain, usize),
    ) -> Self {
        let prices = |of: &crate::time::Series<crate::units::Price>| {
            of.values().iter().map(|p| p.per_kwh()).collect()
        };
        let rules = problem.hygiene.iter().zip(holds);
        let Draft { candidate, wishes } = draft;
        Self {
            slots: problem.horizon.slots().to_vec(),
            import: prices(&problem.import_price),
            export: prices(&problem.export_price),
            commands: candidate.commands,
            energies: candidate.energies,
            wishes,
            shortfall: candidate.shortfall,
            discomfort,
            by_hand: problem.by_hand.clone(),
            promises: promised(&problem.ready, problem.horizon.start()).copied().collect(),
            holds: rules
                .map(|(rule, start)| Hold { store: rule.store, due: rule.due, start: *start })
                .collect(),
            word,
            vain,
            steps,
        }
    }

    /// Whether a problem is the last one a little later, of the same house.
    pub(super) fn follows(&self, problem: &Problem) -> bool {
        let start = problem.horizon.start();
        let same_house = self.energies.len() == problem.heaters().count()
            && self.commands.pumps.len() == problem.site.stores.len()
            && self.wishes.len() == problem.site.plant_room.routes().len();
        self.slots.first().is_some_and(|first| {
            (0..=FOLLOWS_SECONDS).contains(&(start - first.start())) && same_house
        })
    }

    /// Whether the program is to be asked again although there is no news.
    pub(super) fn is_old(&self, problem: &Problem) -> bool {
        let works = !problem.site.plant_room.is_empty();
        let most = if works { ASKS_SECONDS_OF_WORKS } else { ASKS_SECONDS };
        problem.horizon.start() - self.word.asked >= most
    }

    /// Whether it has been asked so lately that it hardly knows better what to do about
    /// what the plan leaves undone.
    pub(super) fn asked_lately(&self, problem: &Problem) -> bool {
        let works = !problem.site.plant_room.is_empty();
        works && problem.horizon.start() - self.word.asked < LATELY_SECONDS
    }

    /// Whether prices have changed, a pasteurisation has come or gone, or people have
    /// asked for something else. Where slots are hours they lie differently half an hour
    /// later, and differ in their means without any news; so slots are compared only with
    /// themselves or the rest of them. Slots within a day that were not there are news.
    pub(super) fn is_outdated(&self, problem: &Problem) -> bool {
        let now = problem.horizon.start();
        let (mut moved, mut all) = (0.0, 0.0);
        for (index, slot) in problem.horizon.slots().iter().enumerate() {
            let whole = |&(old, seconds): &(usize, i64)| {
                self.slots[old].end() == slot.end() && seconds == slot.seconds()
            };
            let Some((old, _)) = self.shares(*slot).find(whole) else {
                if slot.start() - now < DAY_SECONDS {
                    return true;
                }
                continue;
            };
            let import = problem.import_price[index].per_kwh();
            let export = problem.export_price[index].per_kwh();
            moved += slot.hours() * (import - self.import[old]).abs();
            moved += slot.hours() * (export - self.export[old]).abs();
            all += slot.hours() * (self.import[old].abs() + self.export[old].abs());
        }
        let held = |by_hand: &[ByHand]| -> Vec<ByHand> {
            by_hand.iter().filter(|hand| hand.until > now).copied().collect()
        };
        // What is promised every day comes up behind the end of a plan, far ahead.
        let inside = |ready: &&Ready| self.slots.last().is_some_and(|last| ready.by <= last.end());
        moved > NEWS * all
            || !problem.hygiene.iter().all(|rule| self.hold(rule.store, rule.due).is_some())
            || held(&self.by_hand) != held(&problem.by_hand)
            || !promised(&self.promises, now).eq(promised(&problem.ready, now).filter(inside))
    }

    /// The start of the hold of each pasteurisation of a problem.
    pub(super) fn holds(&self, problem: &Problem) -> Vec<Option<Instant>> {
        let rules = problem.hygiene.iter();
        rules.map(|rule| self.hold(rule.store, rule.due).and_then(|hold| hold.start)).collect()
    }

    /// The hold of a pasteurisation that is known.
    fn hold(&self, store: usize, due: Instant) -> Option<&Hold> {
        self.holds.iter().find(|hold| (hold.store, hold.due) == (store, due))
    }

    /// The plan on the slots of a problem as it was; idle behind its end.
    pub(super) fn onward(&self, problem: &Problem) -> Commands {
        let mut base = Commands::on_guard(problem);
        for (index, &old) in self.held(problem).iter().enumerate() {
            base.pv[index] = self.commands.pv[old];
            base.battery[index] = self.commands.battery[old];
            for (pump, own) in base.pumps.iter_mut().zip(&self.commands.pumps) {
                pump[index] = own[old];
            }
        }
        self.carried(problem, &base, false)
    }

    /// Heat of each route on the slots of a problem: what it was, and behind the end of
    /// the plan what it was a day before.
    pub(super) fn wishes(&self, problem: &Problem) -> Vec<Vec<Wish>> {
        let spans = problem.horizon.slots();
        let row = |row: &Vec<Wish>| spans.iter().map(|slot| self.wish(row, *slot)).collect();
        self.wishes.iter().map(row).collect()
    }

    fn wish(&self, row: &[Wish], slot: Slot) -> Wish {
        let end = self.slots.last().map_or(slot.start(), |last| last.end());
        let beyond = Slot::new(slot.start().max(end) + -DAY_SECONDS, slot.end() + -DAY_SECONDS);
        let shares = self.shares(slot).chain(beyond.into_iter().flat_map(|day| self.shares(day)));
        shares.fold(Wish::default(), |sum, (old, seconds)| {
            let share = seconds as f64 / self.slots[old].seconds() as f64;
            let Wish { heat, hours } = row[old];
            Wish { heat: sum.heat + share * heat, hours: sum.hours + share * hours }
        })
    }

    /// The program's word on the slots of a problem.
    pub(super) fn placed(&self, problem: &Problem) -> Word {
        let own = &self.word.answer.solution;
        let slots = self.held(problem).iter().map(|&old| own.slots[old].clone()).collect();
        let answer = Settled {
            solution: Solution { slots, ..own.clone() },
            refinement: Refinement::default(),
            verdict: self.word.answer.verdict.clone(),
        };
        let spans = problem.horizon.slots();
        let row = |row: &Vec<f64>| spans.iter().map(|slot| self.part(row, *slot)).collect();
        let energies = self.word.energies.iter().map(row).collect();
        Word { answer, energies, asked: self.word.asked }
    }

    /// The plan on the slots of a problem: what it did there, or, where it follows the
    /// program, moved as the program's answer has moved since; behind its end what
    /// `fresh` does.
    pub(super) fn carried(
        &self,
        problem: &Problem,
        fresh: &Commands,
        follows_program: bool,
    ) -> Commands {
        let mut commands = fresh.clone();
        let elements: Vec<_> = problem.site.stores.iter().flat_map(|s| &s.elements).collect();
        for (index, slot) in problem.horizon.slots().iter().enumerate() {
            let covered: i64 = self.shares(*slot).map(|(_, seconds)| seconds).sum();
            let beyond = 1.0 - covered as f64 / slot.seconds() as f64;
            for (heater, (row, element)) in commands.heaters.iter_mut().zip(&elements).enumerate() {
                let new = row[index].energy().kwh();
                let mut kwh = self.part(&self.energies[heater], *slot) + beyond * new;
                if follows_program {
                    kwh += (1.0 - beyond) * new - self.part(&self.word.energies[heater], *slot);
                }
                row[index] = HeaterCommand::using(element, Energy::clamped(kwh.max(0.0)), *slot);
            }
        }
        commands
    }

    /// What a slot takes over of energies of the old slots [kWh].
    fn part(&self, row: &[f64], slot: Slot) -> f64 {
        let shares = self.shares(slot);
        shares.map(|(old, s)| row[old] * s as f64 / self.slots[old].seconds() as f64).sum()
    }

    /// For each slot of a problem the old slot that held its beginning; the last one
    /// behind the end.
    fn held(&self, problem: &Problem) -> Vec<usize> {
        let slots = problem.horizon.slots().iter();
        let held = |slot: &Slot| self.slots.partition_point(|old| old.start() <= slot.start());
        slots.map(|slot| held(slot).saturating_sub(1)).collect()
    }

    /// Old slots that a slot covers, and for how many seconds.
    fn shares(&self, slot: Slot) -> impl Iterator<Item = (usize, i64)> {
        let first = self.slots.partition_point(|old| old.end() <= slot.start());
        self.slots[first..]
            .iter()
            .take_while(move |old| old.start() < slot.end())
            .enumerate()
            .map(move |(i, old)| (first + i, old.overlap_seconds(slot)))
    }
}

/// What was promised for times after an instant; water kept only in case was not.
fn promised(ready: &[Ready], after: Instant) -> impl Iterator<Item = &Ready> {
    ready.iter().filter(move |ready| ready.is_promised() && ready.by > after)
}
