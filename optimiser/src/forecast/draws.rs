//! Draws to expect, from what was drawn on earlier days.
//!
//! Litres are added up before a quantile is taken: households shift their draws
//! by an hour from day to day, and a sum does not care. Samples of the same
//! weekday count more.
//!
//! They are those that a plan is made for. What may be drawn beyond them is for the
//! [water kept ready](super::reserve()).

use super::{Caution, Knowledge};
use crate::problem::Draw;
use crate::units::{Flow, Temperature, Volume};

/// Days that are looked back.
const DAYS: usize = 35;

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
        let next = weighted_quantile(&samples, caution.planned).unwrap_or(last);
        sums.push(next.max(last));
    }
    sums
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
    let total: f64 = sorted.iter().map(|s| s.weight).sum();
    let mut below = 0.0;
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
}
