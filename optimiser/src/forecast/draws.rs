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
const APART: usize = 1;

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
/// make meanwhile. `made` are the litres that they make in a slot.
pub fn kept_ready(
    known: &dyn Knowledge,
    slots: usize,
    caution: &Caution,
    store: usize,
    made: f64,
) -> Vec<f64> {
    let mut at: Vec<Option<f64>> = vec![None; 96];
    (known.now()..known.now() + slots)
        .map(|slot| {
            let mark = known.mark(slot);
            let key = usize::from(mark.half_hour.min(47)) + 48 * usize::from(mark.weekend);
            *at[key].get_or_insert_with(|| most_needed(known, slot, caution, store, made))
        })
        .collect()
}

fn most_needed(
    known: &dyn Knowledge,
    slot: usize,
    caution: &Caution,
    store: usize,
    made: f64,
) -> f64 {
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
        samples.sort_by(|a, b| a.sum.total_cmp(&b.sum));
        let drawn = weighted_quantile(&samples, 1.0 - caution.kept).unwrap_or(0.0);
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
