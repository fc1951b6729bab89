//! Plans judged and polished on the simulated plant.
//!
//! The linear program gives the structure of a plan and the value of heat and
//! electricity. It is optimistic about order: it lifts a few litres straight to
//! a high rung where a real element warms all the water above it together. So a
//! plan is run through [`crate::plant`]; where a draw fails, the program is told
//! to complete the water above the element before it and solved again; then the
//! plan is polished by direct search on the simulated plant, and the best
//! candidate as judged there is the plan.

mod beside;
mod candidate;
mod comfort;
mod cuts;
mod dispatch;
mod hygiene;
mod jobs;
mod keep;
mod moves;
mod polish;
mod rebuild;
mod repack;
mod score;
mod settle;
mod verdict;
mod worths;

pub use candidate::Candidate;
pub(crate) use cuts::next_cuts;
pub(crate) use jobs::{Draft, polish_jobs};
pub(crate) use keep::{fails, keep};
pub(crate) use polish::{Search, Vain, polish};
pub use score::{Judge, end_worth};
pub(crate) use settle::settled;
pub(crate) use verdict::judged_solution;
pub(crate) use worths::Duals;

/// How much work judging may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Effort {
    /// Most rounds of cutting and solving again; in a plant room there are none.
    pub rounds: usize,
    /// Most simulations of the polish.
    pub simulations: usize,
    /// Whether this is enough only where the last plan goes on, so that a first
    /// plan, or one after news, takes more.
    pub rolling: bool,
}

impl Effort {
    /// For a plan made from nothing, which may take a tenth of a second.
    pub const COLD: Self = Self { rounds: 4, simulations: 2500, rolling: false };

    /// For one step of a loop that plans again and again.
    pub const STEP: Self = Self { rounds: 1, simulations: 1200, rolling: false };

    /// For a loop: the last plan is carried on and touched up.
    pub const ROLLING: Self = Self { rounds: 1, simulations: 12, rolling: true };

    /// The linear program's own word.
    pub const NONE: Self = Self { rounds: 0, simulations: 1200, rolling: false };

    /// For a plan that goes on from no other.
    pub(crate) fn afresh(self) -> Self {
        if self.rolling { Self { rounds: 4, simulations: 250, rolling: true } } else { self }
    }
}
