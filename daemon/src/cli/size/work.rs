//! The work of a study, on all cores.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError, mpsc};

use optimiser::sizing::{Capacity, Shard};

use crate::size::margins::{self, Point};
use crate::size::{Candidate, Case, Margins, World, case};

use super::super::{Failure, Problem, say};
use super::keep::Keep;
use super::progress::Bar;

/// Everything that a study needs to have done.
pub(super) struct Job<'a> {
    tried: &'a [Candidate],
    worlds: &'a [World],
    keep: &'a Keep,
    /// Sizes that some candidate changes.
    changed: Vec<Capacity>,
}

/// A piece of work.
#[derive(Clone, Copy)]
enum Piece {
    Margins { world: usize },
    Case { candidate: usize, world: usize },
}

/// Cases by candidate and world, and margins by world.
pub(super) type Results = (Vec<Vec<Case>>, Vec<Margins>);

impl<'a> Job<'a> {
    pub(super) fn new(tried: &'a [Candidate], worlds: &'a [World], keep: &'a Keep) -> Self {
        let mut changed: Vec<Capacity> = Vec::new();
        for capacity in tried.iter().flat_map(|c| &c.changes).filter_map(|c| c.capacity) {
            if !changed.contains(&capacity) {
                changed.push(capacity);
            }
        }
        Self { tried, worlds, keep, changed }
    }

    fn point(&self) -> Point<'_> {
        let without = self.tried[0].house.site.battery.is_none();
        let with_battery = self.tried.iter().find(|c| without && c.house.site.battery.is_some());
        Point { present: &self.tried[0], tried: self.tried, beside: &self.changed, with_battery }
    }

    /// Every piece in a fixed order, so that all machines count alike.
    fn pieces(&self) -> Vec<Piece> {
        let worlds = 0..self.worlds.len();
        let margins = worlds.clone().map(|world| Piece::Margins { world });
        let cases = (0..self.tried.len()).flat_map(|candidate| {
            worlds.clone().map(move |world| Piece::Case { candidate, world })
        });
        margins.chain(cases).collect()
    }

    fn file(&self, piece: Piece) -> String {
        let (kind, hash) = match piece {
            Piece::Margins { world } => {
                ("margins", margins::input(&self.point(), &self.worlds[world]))
            }
            Piece::Case { candidate, world } => {
                ("case", case::input(&self.tried[candidate], &self.worlds[world]))
            }
        };
        format!("{kind}-{}.json", &hash[..32])
    }

    fn name(&self, piece: Piece) -> String {
        match piece {
            Piece::Margins { world } => format!("marginal values, {}", self.worlds[world].name),
            Piece::Case { candidate, world } => {
                format!("{}, {}", self.tried[candidate].name, self.worlds[world].name)
            }
        }
    }

    /// Does what is not kept yet of a part of the work.
    pub(super) fn run(&self, shard: Shard, threads: Option<usize>) -> Result<(), Problem> {
        let own = self.pieces().into_iter().enumerate().filter(|(index, _)| shard.holds(*index));
        let (kept, open): (Vec<Piece>, Vec<Piece>) =
            own.map(|(_, piece)| piece).partition(|piece| self.text(*piece).is_some());
        let threads = threads.unwrap_or_else(|| {
            std::thread::available_parallelism().map_or(1, std::num::NonZero::get)
        });
        let mut bar = Bar::new(kept.len(), kept.len() + open.len());
        self.on_threads(open, threads, &mut bar)?;
        bar.clear();
        Ok(())
    }

    /// Takes what is best done next. Multipliers order the candidates, so they come
    /// first; beside them the house as it stands, with which everything is compared,
    /// then what the multipliers that are known by then promise most for.
    fn take(&self, open: &mut Vec<Piece>) -> Option<Piece> {
        let margins: Vec<Option<Margins>> = (0..self.worlds.len())
            .map(|world| serde_json::from_str(&self.text(Piece::Margins { world })?).ok())
            .collect();
        let promised = |piece: &Piece| match *piece {
            Piece::Margins { .. } => (2, 0.0),
            Piece::Case { candidate: 0, .. } => (1, 0.0),
            Piece::Case { candidate, world } => {
                let foretold = margins[world].as_ref().map(|m| &m.foretold);
                let foretold = foretold.and_then(|all| all.get(candidate).copied().flatten());
                (0, foretold.map_or(0.0, |foretold| foretold.whole))
            }
        };
        let order = |a: &Piece, b: &Piece| {
            let (a, b) = (promised(a), promised(b));
            b.0.cmp(&a.0).then(b.1.total_cmp(&a.1))
        };
        // The first of several that promise alike, so that it is the same everywhere.
        let next = (0..open.len()).min_by(|a, b| order(&open[*a], &open[*b]))?;
        Some(open.remove(next))
    }

    /// One piece at a time on each thread, since each keeps a solver; results
    /// are written as they come.
    fn on_threads(&self, open: Vec<Piece>, threads: usize, bar: &mut Bar) -> Result<(), Problem> {
        let threads = threads.clamp(1, open.len().max(1));
        let open = Mutex::new(open);
        let next = || self.take(&mut open.lock().unwrap_or_else(PoisonError::into_inner));
        let failed = AtomicBool::new(false);
        std::thread::scope(|scope| {
            let (sender, results) = mpsc::channel();
            for _ in 0..threads {
                let (sender, next, failed) = (sender.clone(), &next, &failed);
                scope.spawn(move || {
                    while !failed.load(Ordering::Relaxed)
                        && let Some(piece) = next()
                    {
                        let name = self.name(piece);
                        let kept = self
                            .done(piece)
                            .map_err(|error| {
                                Problem::new(Failure::Data, format!("{name}: {error}"))
                            })
                            .and_then(|text| self.keep.write(&self.file(piece), &text));
                        failed.fetch_or(kept.is_err(), Ordering::Relaxed);
                        if sender.send((name, kept)).is_err() {
                            break;
                        }
                    }
                });
            }
            drop(sender);
            let mut outcome = Ok(());
            for (name, kept) in results {
                match kept {
                    Ok(()) => bar.done(&name),
                    Err(problem) => outcome = outcome.and(Err(problem)),
                }
            }
            outcome
        })
    }

    fn done(&self, piece: Piece) -> Result<String, case::CaseError> {
        match piece {
            Piece::Margins { world } => {
                let found = margins::margins(&self.point(), &self.worlds[world])?;
                Ok(found.to_json())
            }
            Piece::Case { candidate, world } => {
                let found = case::case(&self.tried[candidate], &self.worlds[world], &mut |_| {})?;
                Ok(found.to_json())
            }
        }
    }

    /// The text of a piece, if it was kept and is whole.
    fn text(&self, piece: Piece) -> Option<String> {
        let text = self.keep.read(&self.file(piece))?;
        let whole = match piece {
            Piece::Margins { .. } => serde_json::from_str::<Margins>(&text).is_ok(),
            Piece::Case { .. } => serde_json::from_str::<Case>(&text).is_ok(),
        };
        whole.then_some(text)
    }

    /// Everything, if all of it is kept. Results are always read back, so that a
    /// study is the same whether it was just done or not.
    pub(super) fn kept(&self) -> Result<Results, Problem> {
        let missing: Vec<String> = self
            .pieces()
            .into_iter()
            .filter(|piece| self.text(*piece).is_none())
            .map(|piece| self.name(piece))
            .collect();
        if !missing.is_empty() {
            return Err(Problem::new(
                Failure::Data,
                format!(
                    "{} of {} results are not in {}:\n  {}\nrun the missing parts with the same arguments, program and files, or name their folders with --state",
                    missing.len(),
                    self.pieces().len(),
                    self.keep.told(),
                    missing.join("\n  ")
                ),
            ));
        }
        let read = |piece| self.text(piece).unwrap_or_default();
        let lost = |error: serde_json::Error| Problem::new(Failure::Failed, error);
        let mut cases = Vec::new();
        for candidate in 0..self.tried.len() {
            let row = (0..self.worlds.len())
                .map(|world| serde_json::from_str(&read(Piece::Case { candidate, world })));
            cases.push(row.collect::<Result<Vec<Case>, _>>().map_err(lost)?);
        }
        let margins = (0..self.worlds.len())
            .map(|world| serde_json::from_str(&read(Piece::Margins { world })))
            .collect::<Result<Vec<Margins>, _>>()
            .map_err(lost)?;
        say(&format!("results are kept in {}", self.keep.told()));
        Ok((cases, margins))
    }
}
