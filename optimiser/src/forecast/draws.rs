//! Draws to expect and water to keep, from what was drawn on earlier days.
//!
//! Litres are added up before a quantile is taken: households shift their draws
//! by an hour from day to day, and a sum does not care. Samples of the same
//! weekday count more.
//!
//! Two things follow from them. [`draws`] are those that a plan is made for: a
//! quantile of the sum from now on, high for the next hours, which no later plan
//! can mend, and lower for later ones, which the coming plans will see again.
//! [`kept_ready`] is the water that must stand ready at each time of day, because
//! nobody knows the next draw.

use super::{Caution, Knowledge};
use crate::problem::Draw;
use crate::units::{Flow, Temperature, Volume};

/// Days that are looked back.
const DAYS: usize = 35;

/// Half-hours that the water kept ready must last; after them later plans have
/// had their say.
const KEPT_SLOTS: usize = 3;

/// Half-hours by which a draw of another day may lie apart and still count for
/// this time of day.
const APART: usize = 2;

/// Samples that a high quantile is sought among first.
const LARGEST: usize = 16;

/// The draws to plan for in the coming slots; those agreed in advance where
/// there are such.
pub fn draws(known: &dyn Knowledge, slots: usize, caution: &Caution) -> Vec<Draw> {
    if let Some(agreed) = known.coming_draws(slots) {
        return agreed.to_vec();
    }
    (0..known.stores()).flat_map(|store| expected(known, slots, caution, store)).collect()
}

fn expected(known: &dyn Knowledge, slots: usize, caution: &Caution, store: usize) -> Vec<Draw> {
    let (temperature, flow) = usual_tap(known, store);
    sums(known, slots, caution, store)
        .windows(2)
        .enumerate()
        .map(|(ahead, pair)| Draw {
            store,
            start: known.slot(known.now() + ahead).start(),
            volume: Volume::clamped(pair[1] - pair[0]),
            temperature,
            flow,
        })
        .collect()
}

/// Temperature and flow of the last draw, or of a usual tap.
pub(super) fn usual_tap(known: &dyn Knowledge, store: usize) -> (Temperature, Flow) {
    known.last_draw(store).unwrap_or((Temperature::constant(40.0), Flow::constant(8.0)))
}

/// Rising sums of litres to be ready for, from zero.
fn sums(known: &dyn Knowledge, slots: usize, caution: &Caution, store: usize) -> Vec<f64> {
    let now = known.now();
    let mut samples: Vec<Sample> = (1..=DAYS)
        .filter_map(|days| {
            let from = known.days_before(now, days)?;
            Some(Sample { from, weight: weight(known, now, from, days), sum: 0.0 })
        })
        .collect();
    let mut sums = vec![0.0];
    for ahead in 0..slots {
        // A sample ends where the past ends.
        samples.retain_mut(|sample| match known.litres(store, sample.from + ahead) {
            Some(litres) => {
                sample.sum += litres;
                true
            }
            None => false,
        });
        samples.sort_by(|a, b| a.sum.total_cmp(&b.sum));
        let last = sums[sums.len() - 1];
        let next = weighted_quantile(&samples, caution.quantile(ahead + 1)).unwrap_or(last);
        sums.push(next.max(last));
    }
    sums
}

/// Litres that must stand ready when each of the coming slots begins: nearly the
/// most that was ever drawn from this time of day on, less what the elements can
/// make meanwhile. `made` are the litres that they make in a slot; more is drawn in
/// a share `tail` of the time.
pub fn kept_ready(
    known: &dyn Knowledge,
    slots: usize,
    tail: f64,
    store: usize,
    made: f64,
) -> Vec<f64> {
    let mut at: Vec<Option<f64>> = vec![None; 96];
    (known.now()..known.now() + slots)
        .map(|slot| {
            let mark = known.mark(slot);
            let key = usize::from(mark.half_hour.min(47)) + 48 * usize::from(mark.weekend);
            *at[key].get_or_insert_with(|| most_needed(known, slot, tail, store, made))
        })
        .collect()
}

fn most_needed(known: &dyn Knowledge, slot: usize, tail: f64, store: usize, made: f64) -> f64 {
    let mut samples: Vec<Sample> = (1..=DAYS + 2)
        .filter_map(|days| Some((days, known.days_before(slot, days)?)))
        .filter(|(_, before)| before + APART + KEPT_SLOTS <= known.now())
        .flat_map(|(days, before)| {
            let weight = weight(known, slot, before, days);
            let first = before.saturating_sub(APART);
            (first..=before + APART).map(move |from| Sample { from, weight, sum: 0.0 })
        })
        .collect();
    let mut most = 0.0_f64;
    for ahead in 0..KEPT_SLOTS {
        for sample in &mut samples {
            sample.sum += known.litres(store, sample.from + ahead).unwrap_or(0.0);
        }
        let drawn = upper_quantile(&mut samples, 1.0 - tail).unwrap_or(0.0);
        most = most.max(drawn - ahead as f64 * made);
    }
    most
}

/// How much a day counts for another.
fn weight(known: &dyn Knowledge, slot: usize, before: usize, days: usize) -> f64 {
    if days.is_multiple_of(7) {
        3.0
    } else if known.mark(before).weekend == known.mark(slot).weekend {
        1.0
    } else {
        0.4
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Sample {
    from: usize,
    weight: f64,
    sum: f64,
}

/// Quantile of sorted samples, interpolated between their middles.
fn weighted_quantile(sorted: &[Sample], quantile: f64) -> Option<f64> {
    interpolated(sorted, 0.0, weights(sorted), quantile)
}

/// The same of samples in any order, where the quantile is high: only the largest are
/// sorted, and more of them while it lies below.
fn upper_quantile(samples: &mut [Sample], quantile: f64) -> Option<f64> {
    let rising = |a: &Sample, b: &Sample| a.sum.total_cmp(&b.sum);
    let total = weights(samples);
    let mut count = LARGEST;
    while count < samples.len() {
        let first = samples.len() - count;
        samples.select_nth_unstable_by(first, rising);
        let largest = &mut samples[first..];
        largest.sort_unstable_by(rising);
        let below = total - weights(largest);
        if (below + 0.5 * largest[0].weight) / total < quantile {
            return interpolated(largest, below, total, quantile);
        }
        count *= 2;
    }
    samples.sort_unstable_by(rising);
    weighted_quantile(samples, quantile)
}

fn weights(samples: &[Sample]) -> f64 {
    samples.iter().map(|s| s.weight).sum()
}

/// Quantile of sorted samples above which there is no other, with a weight below them
/// and one of all.
fn interpolated(sorted: &[Sample], mut below: f64, total: f64, quantile: f64) -> Option<f64> {
    let mut last: Option<(f64, f64)> = None;
    for sample in sorted {
        let middle = (below + 0.5 * sample.weight) / total;
        if middle >= quantile {
            return Some(match last {
                Some((position, sum)) => {
                    let share = (quantile - position) / (middle - position);
                    sum + share * (sample.sum - sum)
                }
                None => sample.sum,
            });
        }
        below += sample.weight;
        last = Some((middle, sample.sum));
    }
    last.map(|(_, sum)| sum)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantile_lies_between_the_samples() {
        let sample = |sum| Sample { from: 0, weight: 1.0, sum };
        let sorted = [sample(10.0), sample(20.0), sample(30.0)];
        let at = |q| weighted_quantile(&sorted, q).expect("samples");
        assert!((at(0.5) - 20.0).abs() < 1e-9);
        assert!((at(2.0 / 3.0) - 25.0).abs() < 1e-9);
        assert!((at(0.99) - 30.0).abs() < 1e-9);
        assert!((at(0.01) - 10.0).abs() < 1e-9);
        assert_eq!(weighted_quantile(&[], 0.5), None);
    }

    #[test]
    fn a_high_quantile_needs_no_more_than_the_largest_sorted() {
        // Every residue once, in an order that is not sorted.
        let mut samples: Vec<Sample> = (0..101)
            .map(|k| Sample { from: 0, weight: [1.0, 3.0, 0.4][k % 3], sum: (37 * k % 101) as f64 })
            .collect();
        let mut sorted = samples.clone();
        sorted.sort_by(|a, b| a.sum.total_cmp(&b.sum));
        for quantile in [0.0, 0.3, 0.5, 0.9, 0.97, 0.997, 1.0] {
            let whole = weighted_quantile(&sorted, quantile).expect("samples");
            let upper = upper_quantile(&mut samples, quantile).expect("samples");
            assert!((whole - upper).abs() < 1e-9, "{quantile}: {whole} is not {upper}");
        }
        assert_eq!(upper_quantile(&mut [], 0.5), None);
    }
}
