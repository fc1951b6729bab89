//! What is added to a program after a look at its answer.

use std::collections::{BTreeMap, BTreeSet};

use crate::site::Source;

/// Water that must be at least so warm at the end of a slot, because a draw
/// failed in the simulated plant without it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Completion {
    /// Index of the store.
    pub(crate) store: usize,
    /// Slot at whose end it must hold.
    pub(crate) slot: usize,
    /// Lowest zone concerned.
    pub(crate) zone: usize,
    /// Rung that the water must reach.
    pub(crate) rung: usize,
    /// Litres at or above the rung, in that zone and those above it.
    pub(crate) litres: f64,
}

/// A pasteurisation hold in the plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct HygieneStart {
    /// First slot of the hold.
    pub(crate) first: usize,
    /// Last slot of the hold.
    pub(crate) last: usize,
}

/// One of the two ways through a meter or a battery.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Direction {
    In,
    Out,
}

/// Refinements of a program.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Refinement {
    /// Slots in which the meter goes one way: in is import.
    pub(crate) meter: BTreeMap<usize, Direction>,
    /// Slots in which the battery goes one way: in is charge.
    pub(crate) battery: BTreeMap<usize, Direction>,
    /// Slots in which elements that switch run one after the other.
    pub(crate) in_turn: BTreeSet<usize>,
    /// Slots in which elements that switch stay off, for want of room, and sources
    /// share what there is.
    pub(crate) idle: BTreeSet<usize>,
    /// For each pasteurisation of the problem, the hold to plan for.
    pub(crate) hygiene: Vec<Option<HygieneStart>>,
    /// Whether load may be left unserved at a price, to find what is missing.
    pub(crate) softened: bool,
    /// Slots in which a source rests: a run of a heat pump would be too short, or it
    /// does not fit beside others.
    pub(crate) rests: BTreeSet<(Source, usize)>,
    /// Completion cuts.
    pub(crate) completions: Vec<Completion>,
}

impl Refinement {
    /// Slots in which not everything may be on at once, and whether elements take turns
    /// there or stay off.
    pub(super) fn crowded(&self) -> impl Iterator<Item = (usize, bool)> + '_ {
        let taking_turns = self.in_turn.difference(&self.idle).map(|&slot| (slot, true));
        taking_turns.chain(self.idle.iter().map(|&slot| (slot, false)))
    }

    /// Whether a source rests in a slot.
    pub(super) fn rests(&self, source: Source, slot: usize) -> bool {
        self.rests.contains(&(source, slot))
    }
}
