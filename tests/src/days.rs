//! Random days of real price years, on which plans are measured.

use optimiser::problem::Problem;
use optimiser::time::Instant;
use stowheat::local_time::day;

use crate::real;
use crate::worlds::{MARKETS, moved};

/// A plan to be made.
#[derive(Debug, Clone)]
pub struct Day {
    /// House and market.
    pub name: String,
    /// When the plan is made.
    pub at: Instant,
    /// What is known then.
    pub problem: Problem,
}

/// Houses that take turns: two elements with battery and PV, and one element.
const HOUSES: [&str; 2] = ["harbour-row", "mill-cottage"];

/// Random half-hours of GB 2023 and VIC1 2024 in two houses, in turn, always the
/// same ones; `None` where the shared series are absent.
pub fn random_days(count: usize) -> Option<Vec<Day>> {
    let mut random = Random::new(7);
    let mut worlds = Vec::new();
    for house in HOUSES {
        for market in &MARKETS[..2] {
            let (house, known) = moved(house, market)?;
            let first = market.first_day.parse().expect("a date");
            let start = day(first, market.zone).expect("a day").start();
            worlds.push((house, known, start, market.name));
        }
    }
    let days = (0..count).map(|index| {
        let (house, known, start, market) = &worlds[index % worlds.len()];
        let half_hours = (random.below(350) + 7) * 48 + random.below(48);
        let at = *start + 1_800 * half_hours as i64;
        let problem = real::problem(house, known, at).problem;
        Day { name: format!("{} in {market}", house.name), at, problem }
    });
    Some(days.collect())
}

/// SplitMix64 (Steele, Lea, Flood, "Fast splittable pseudorandom number
/// generators", OOPSLA 2014).
#[derive(Debug, Clone)]
pub struct Random(u64);

impl Random {
    /// Numbers that follow from a seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number from 0 to 1.
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A whole number below a bound, or 0.
    pub fn below(&mut self, bound: u64) -> u64 {
        self.next() % bound.max(1)
    }
}
