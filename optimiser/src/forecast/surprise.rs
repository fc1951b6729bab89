//! Draws that nobody foresees: how often more water must stand ready than a level, and
//! what that is worth.
//!
//! What must stand ready when a half-hour begins is what is drawn from then on, less what
//! the elements make of it meanwhile: `N_t = d_t + max(0, N_{t+1} − made)`, which is the
//! workload of a queue (D. V. Lindley, "The theory of queues with a single server", 1952)
//! read backwards. The peaks of `N` are the **surprises**; each counts once.
//!
//! Rare ones are what matters, and few were ever seen. So
//!
//! - the largest are taken to fall off exponentially, since what is ahead may be more
//!   than ever was (peaks over a threshold: A. C. Davison and R. L. Smith, "Models for
//!   exceedances over high thresholds", 1990, with a shape of zero);
//! - how often one of a size comes at a time of day is drawn from what was seen at that
//!   time towards the share of all draws that falls on it, the more the rarer it is (the
//!   mean of a Poisson rate whose prior is a gamma distribution).
//!
//! - before anything is known, one surprise a fortnight is taken to come, of a third of
//!   what the store holds in the mean. What is measured outweighs it by and by.
//!
//! A **price of comfort** follows: the one at which keeping a litre is worth its loss up
//! to the level at which no more is expected to arrive cold than is allowed.

use super::Knowledge;

/// Days that are looked back.
pub const MEMORY_DAYS: usize = 365;

/// Days that what is taken to come before anything is known counts for, with one surprise
/// of such a share of a full store in the mean, and such a share of one drawn a day.
const UNKNOWN_DAYS: f64 = 14.0;
const UNKNOWN_SURPRISE: f64 = 1.0 / 3.0;
const UNKNOWN_DAILY: f64 = 1.0 / 4.0;

/// Where nothing was drawn for so many days, nothing is kept.
const UNUSED_DAYS: f64 = 14.0;

/// Half-hours of a day.
const DAY: usize = 48;

/// Half-hours by which a surprise may lie apart and still count for a time of day.
const APART: usize = 2;

/// Largest surprises that tell how fast they fall off.
const LARGEST: usize = 12;

/// Surprises that the prior of a rate counts for.
const PRIOR: f64 = 1.0;

/// A half-hour in which nothing was ever drawn counts as one with this share of the mean.
const QUIET: f64 = 0.02;

/// A draw that is not larger than this share of the surprises tells nothing of others to
/// come.
const TELLING: f64 = 0.5;

/// Levels between an empty store and a full one.
const LEVELS: usize = 32;

/// The steps of water kept end where losing a litre costs so many times what keeping it
/// is worth, the last a little beyond its worth.
const TIMES: [f64; STEPS] = [25.0, 4.0, 0.7];

/// Number of those steps.
pub(super) const STEPS: usize = 3;

/// How often, in each half-hour of the day, a surprise of more than each level begins.
#[derive(Debug, Clone, PartialEq)]
pub struct Surprises {
    /// Litres from one level to the next.
    step: f64,
    /// Of each half-hour of the day, the chance that more than a level must stand ready.
    chance: Vec<[f64; LEVELS + 1]>,
    /// Litres that are expected to arrive cold with each level.
    cold: Vec<[f64; LEVELS + 1]>,
    /// Litres drawn in a day.
    daily: f64,
    /// After a half-hour with so many litres nothing begins, but goes on.
    goes_on: f64,
}

/// Litres to keep, and the chance that one of them is missed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kept {
    /// Litres at the temperature of use.
    pub litres: f64,
    /// Litres that arrive cold, in the mean, for each that is missing.
    pub chance: f64,
}

impl Surprises {
    /// What the past of a store lets one expect. `helped` is the share of a draw that an
    /// element on guard makes while it runs, `made` are the litres that the elements make
    /// in a half-hour, `full` those that the store holds at most. `None` where nothing is
    /// drawn from it.
    pub fn of(
        known: &dyn Knowledge,
        store: usize,
        (helped, made): (f64, f64),
        full: f64,
    ) -> Option<Self> {
        let now = known.now();
        let past = now.saturating_sub(MEMORY_DAYS * DAY)..now;
        let drawn: Vec<Option<f64>> =
            past.clone().map(|slot| Some((1.0 - helped) * known.litres(store, slot)?)).collect();
        let measured = drawn.iter().flatten().count();
        let days = measured as f64 / DAY as f64;
        let litres = drawn.iter().flatten().sum::<f64>() / (1.0 - helped);
        if full <= 0.0 || (litres <= 0.0 && days >= UNUSED_DAYS) {
            return None;
        }
        let half_hour =
            |place: usize| usize::from(known.mark(past.start + place).half_hour).min(DAY - 1);
        let peaks: Vec<(usize, f64)> = peaks(&drawn, made)
            .into_iter()
            .map(|(place, litres)| (half_hour(place), litres))
            .collect();
        let goes_on = made / (1.0 - helped);
        Some(Self { goes_on, ..Self::from_peaks(&peaks, (days, litres), full) })
    }

    fn from_peaks(peaks: &[(usize, f64)], (days, litres): (f64, f64), full: f64) -> Self {
        let step = full / LEVELS as f64;
        let tail = Tail::of(peaks, UNKNOWN_SURPRISE * full);
        let believed = days + UNKNOWN_DAYS;
        let daily = (litres + UNKNOWN_DAYS * UNKNOWN_DAILY * full) / believed;
        let levels: [f64; LEVELS + 1] = std::array::from_fn(|level| level as f64 * step);
        let usual = levels.map(|level| tail.count(level));
        let seen = larger(peaks, &levels);
        let window = (2 * APART + 1) as f64;
        let mut chance = Vec::with_capacity(DAY);
        let mut cold = Vec::with_capacity(DAY);
        for (of_day, share) in activity(peaks).iter().enumerate() {
            let own: [f64; LEVELS + 1] = std::array::from_fn(|level| {
                let usual = share * usual[level] / believed;
                let seen: u32 = near(of_day).map(|at| seen[at][level]).sum();
                (f64::from(seen) + PRIOR) / (window * days + PRIOR / usual)
            });
            let mut beyond = [0.0; LEVELS + 1];
            beyond[LEVELS] = own[LEVELS] * tail.excess;
            for level in (0..LEVELS).rev() {
                beyond[level] = beyond[level + 1] + 0.5 * (own[level] + own[level + 1]) * step;
            }
            chance.push(own);
            cold.push(beyond);
        }
        Self { step, chance, cold, daily, goes_on: f64::INFINITY }
    }

    /// The price of a litre that arrives cold, `dearest` at most, at which a controller
    /// that keeps what is worth keeping lets no more than a share of the draws arrive cold,
    /// where keeping a litre for half an hour costs `keeping`. What not even a full store
    /// would serve is not counted, since nothing that is kept helps it.
    pub fn price(&self, keeping: f64, allowed: f64, dearest: f64) -> f64 {
        let allowed = allowed * self.daily;
        let expected = |price: f64| -> f64 {
            let cold = |of_day: usize| {
                let own = &self.cold[of_day];
                own[self.level(of_day, keeping / price)] - own[LEVELS]
            };
            (0..DAY).map(cold).sum()
        };
        let (mut low, mut high) = (keeping, dearest.max(keeping));
        while high / low > 1.05 {
            let middle = (low * high).sqrt();
            if expected(middle) > allowed {
                low = middle;
            } else {
                high = middle;
            }
        }
        high
    }

    /// Litres drawn in a day.
    pub fn daily(&self) -> f64 {
        self.daily
    }

    /// Whether a surprise may begin after a half-hour with so many litres. After more it is
    /// one that goes on, and was counted where it began.
    pub fn may_begin(&self, litres_before: f64) -> bool {
        litres_before < self.goes_on
    }

    /// Litres that are expected to arrive cold of what may be drawn from a half-hour of the
    /// day on, where so many stand ready, beyond what no store could serve.
    pub fn cold_beyond(&self, of_day: usize, litres: f64) -> f64 {
        let own = &self.cold[of_day.min(DAY - 1)];
        let at = (litres / self.step).clamp(0.0, LEVELS as f64);
        let low = (at as usize).min(LEVELS - 1);
        own[low] + (at - low as f64) * (own[low + 1] - own[low]) - own[LEVELS]
    }

    /// Litres of a half-hour that are worth keeping, where keeping one costs a share of
    /// what is lost if it is missed.
    pub fn worth_keeping(&self, of_day: usize, chance: f64) -> f64 {
        self.level(of_day.min(DAY - 1), chance) as f64 * self.step
    }

    /// Litres after which a draw that has begun makes it as likely as said that more than
    /// some litres are drawn in all.
    pub fn telling(&self, of_day: usize, litres: f64, likely: f64) -> f64 {
        let of_day = of_day.min(DAY - 1);
        let level = ((litres / self.step) as usize).min(LEVELS);
        let own = &self.chance[of_day];
        self.worth_keeping(of_day, (own[level] / likely).min((1.0 - TELLING) * own[0]))
    }

    /// Steps of the water to keep when a half-hour of the day begins, from the first
    /// litre on, where keeping one costs a share of what is lost if it is missed.
    pub fn kept(&self, of_day: usize, chance: f64) -> [Kept; STEPS] {
        let of_day = of_day.min(DAY - 1);
        let levels = TIMES.map(|times| self.level(of_day, times * chance));
        let cold = |level: usize| self.cold[of_day][level];
        let mut before = 0;
        let slopes = levels.map(|level| {
            let litres = (level - before) as f64 * self.step;
            let slope = if level > before { (cold(before) - cold(level)) / litres } else { 0.0 };
            before = level;
            slope
        });
        std::array::from_fn(|index| {
            // A step without width takes the price of the next.
            let own = slopes[index];
            let next = slopes[index + 1..].iter().copied().fold(0.0, f64::max);
            Kept { litres: levels[index] as f64 * self.step, chance: (own - next).max(0.0) }
        })
    }

    /// The lowest level that is missed no more often than said.
    fn level(&self, of_day: usize, chance: f64) -> usize {
        self.chance[of_day].partition_point(|own| *own > chance).min(LEVELS)
    }
}

/// Places and litres of the surprises in half-hours of draws.
fn peaks(drawn: &[Option<f64>], made: f64) -> Vec<(usize, f64)> {
    let mut ready = vec![0.0_f64; drawn.len() + 1];
    for place in (0..drawn.len()).rev() {
        ready[place] = drawn[place].unwrap_or(0.0) + (ready[place + 1] - made).max(0.0);
    }
    let before = |place: usize| place.checked_sub(1).map_or(0.0, |last| ready[last]);
    (0..drawn.len())
        .filter(|&place| ready[place] > before(place) && ready[place] >= ready[place + 1])
        .map(|place| (place, ready[place]))
        .collect()
}

/// Of each half-hour of the day, how many surprises are larger than each level.
fn larger(peaks: &[(usize, f64)], levels: &[f64; LEVELS + 1]) -> Vec<[u32; LEVELS + 1]> {
    let mut seen = vec![[0; LEVELS + 1]; DAY];
    for (at, litres) in peaks {
        let below = levels.partition_point(|level| level < litres);
        seen[*at][..below].iter_mut().for_each(|count| *count += 1);
    }
    seen
}

/// How many surprises are larger than a level.
struct Tail {
    rising: Vec<f64>,
    threshold: f64,
    above: f64,
    /// Mean of what is beyond the threshold [L].
    excess: f64,
    /// Mean of the one that is not known [L].
    unknown: f64,
}

impl Tail {
    fn of(peaks: &[(usize, f64)], unknown: f64) -> Self {
        let mut rising: Vec<f64> = peaks.iter().map(|peak| peak.1).collect();
        rising.sort_by(f64::total_cmp);
        let first = rising.len().saturating_sub(LARGEST);
        let threshold = first.checked_sub(1).map_or(0.0, |last| rising[last]);
        let largest = &rising[first..];
        let above = largest.len() as f64;
        let beyond: f64 = largest.iter().map(|litres| litres - threshold).sum();
        // One more that is not known yet.
        let excess = (beyond + unknown) / (above + 1.0);
        Self { rising, threshold, above, excess, unknown }
    }

    fn count(&self, level: f64) -> f64 {
        let unknown = (-level / self.unknown).exp();
        let seen = if level >= self.threshold {
            self.above * (-(level - self.threshold) / self.excess).exp()
        } else {
            (self.rising.len() - self.rising.partition_point(|litres| *litres <= level)) as f64
        };
        seen + unknown
    }
}

/// Share of all that is drawn that falls on each half-hour of the day.
fn activity(peaks: &[(usize, f64)]) -> Vec<f64> {
    let mut litres = [0.0; DAY];
    for (at, own) in peaks {
        litres[*at] += own;
    }
    let all: f64 = litres.iter().sum();
    let quiet = QUIET * all / DAY as f64;
    let window = (2 * APART + 1) as f64;
    let whole = all * (1.0 + QUIET);
    (0..DAY)
        .map(|of_day| {
            let own: f64 = near(of_day).map(|at| litres[at]).sum();
            if all > 0.0 { (own / window + quiet) / whole } else { 1.0 / DAY as f64 }
        })
        .collect()
}

/// Half-hours of the day around one of them.
fn near(of_day: usize) -> impl Iterator<Item = usize> {
    (DAY + of_day - APART..=DAY + of_day + APART).map(|at| at % DAY)
}

#[cfg(test)]
mod tests;
