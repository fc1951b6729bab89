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

/// Days whose draws may come at any time of day.
const ANY_DAYS: usize = 56;

/// Half-hours by which a draw of another day may lie apart and still count for
/// this time of day.
const APART: usize = 2;

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
/// a share `tail` of the time. `surprises` is the share of days on which people do not
/// keep to a time of day, so that anything may be drawn that was drawn at any.
pub fn kept_ready(
    known: &dyn Knowledge,
    slots: usize,
    (tail, surprises): (f64, f64),
    store: usize,
    made: f64,
) -> Vec<f64> {
    let any = (surprises > 0.0).then(|| at_any_time(known, store));
    let needed = |slot| {
        let sums = own_sums(known, slot, store);
        (0..KEPT_SLOTS)
            .map(|ahead| {
                let any = any.as_ref().map_or(&[][..], |any| &any[ahead]);
                let drawn = exceeded(&sums[ahead], any, surprises, tail);
                drawn - ahead as f64 * made
            })
            .fold(0.0, f64::max)
    };
    let mut at: Vec<Option<f64>> = vec![None; 96];
    (known.now()..known.now() + slots)
        .map(|slot| {
            let mark = known.mark(slot);
            let key = usize::from(mark.half_hour.min(47)) + 48 * usize::from(mark.weekend);
            *at[key].get_or_insert_with(|| needed(slot))
        })
        .collect()
}

/// Litres drawn within one, two and more slots from this time of day on, on other
/// days, with what each counts; the largest come first.
fn own_sums(known: &dyn Knowledge, slot: usize, store: usize) -> [Vec<(f64, f64)>; KEPT_SLOTS] {
    let days = (1..=DAYS + 2)
        .filter_map(|days| Some((days, known.days_before(slot, days)?)))
        .filter(|(_, before)| before + APART + KEPT_SLOTS <= known.now());
    let mut sums: [Vec<(f64, f64)>; KEPT_SLOTS] = Default::default();
    for (days, before) in days {
        let weight = weight(known, slot, before, days);
        for from in before.saturating_sub(APART)..=before + APART {
            let mut sum = 0.0;
            for (ahead, sums) in sums.iter_mut().enumerate() {
                sum += known.litres(store, from + ahead).unwrap_or(0.0);
                sums.push((sum, weight));
            }
        }
    }
    for sums in &mut sums {
        let total: f64 = sums.iter().map(|(_, weight)| weight).sum();
        for (_, weight) in sums.iter_mut() {
            *weight /= total;
        }
        sums.sort_by(|a, b| b.0.total_cmp(&a.0));
    }
    sums
}

/// The same from every slot on, whatever the time of day; those without a draw are
/// left out, and each counts alike.
fn at_any_time(known: &dyn Knowledge, store: usize) -> [Vec<(f64, f64)>; KEPT_SLOTS] {
    let first = known.now().saturating_sub(48 * ANY_DAYS);
    let last = known.now().saturating_sub(KEPT_SLOTS);
    let mut sums: [Vec<(f64, f64)>; KEPT_SLOTS] = Default::default();
    let weight = 1.0 / (last - first).max(1) as f64;
    for from in first..last {
        let mut sum = 0.0;
        for (ahead, sums) in sums.iter_mut().enumerate() {
            sum += known.litres(store, from + ahead).unwrap_or(0.0);
            if sum > 0.0 {
                sums.push((sum, weight));
            }
        }
    }
    for sums in &mut sums {
        sums.sort_by(|a, b| b.0.total_cmp(&a.0));
    }
    sums
}

/// Litres that are exceeded in a share `tail` of the time, where a share `surprises` of
/// the time is like any and the rest like this time of day.
fn exceeded(own: &[(f64, f64)], any: &[(f64, f64)], surprises: f64, tail: f64) -> f64 {
    let (mut own, mut any) = (own.iter().peekable(), any.iter().peekable());
    let mut above = 0.0;
    loop {
        let of_any = match (own.peek(), any.peek()) {
            (Some(own), Some(any)) => any.0 > own.0,
            (None, Some(_)) => true,
            (Some(_), None) => false,
            (None, None) => return 0.0,
        };
        let (share, next) =
            if of_any { (surprises, any.next()) } else { (1.0 - surprises, own.next()) };
        let Some((litres, weight)) = next else { return 0.0 };
        above += share * weight;
        if above > tail {
            return *litres;
        }
    }
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
    fn what_was_drawn_at_any_time_may_be_drawn_at_this() {
        let own = [(40.0, 0.01), (10.0, 0.99)];
        let any = [(90.0, 0.001), (60.0, 0.009)];
        let litres = |surprises, tail| exceeded(&own, &any, surprises, tail);
        // Without surprises 40 L come in a hundredth of the time.
        assert!((litres(0.0, 0.009) - 40.0).abs() < 1e-9);
        assert!((litres(0.0, 0.011) - 10.0).abs() < 1e-9);
        // With a third of them, 90 L in 0.0003 of it, 60 L or more in 0.0033.
        assert!((litres(1.0 / 3.0, 0.0003) - 90.0).abs() < 1e-9);
        assert!((litres(1.0 / 3.0, 0.003) - 60.0).abs() < 1e-9);
        assert!((litres(1.0 / 3.0, 0.005) - 40.0).abs() < 1e-9);
        assert!(exceeded(&[], &[], 0.3, 0.01).abs() < 1e-9);
    }
}
