//! Draws to be ready for: a quantile of what was drawn from now on, on earlier
//! days at this time.
//!
//! Litres are added up from now on before the quantile is taken: households
//! shift their draws by an hour from day to day, and a sum does not care. The
//! mean would leave somebody cold every second day. Samples of the same weekday
//! count more. The quantile is high for the next hours, which no later plan can
//! mend, and lower for later ones, which the coming plans will see again.

use crate::problem::Draw;
use crate::replay::View;
use crate::units::{Flow, Temperature, Volume};

/// Days that are looked back.
const DAYS: usize = 35;

/// How much of the time the draws of the next half-hour may be more than is
/// planned for. It adapts to how the taps were served.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Risk(f64);

impl Default for Risk {
    fn default() -> Self {
        Self(0.03)
    }
}

impl Risk {
    /// Moves on by a day, towards a share of draw heat that may be unmet.
    pub fn adapt(&mut self, view: &View<'_>, allowed: f64) {
        let served = view.served();
        if served.asked_kwh <= 0.0 {
            return;
        }
        let share = served.unmet_kwh / served.asked_kwh;
        let step = if share > allowed { 0.8 } else { 1.03 };
        self.0 = (self.0 * step).clamp(0.002, 0.1);
    }

    /// Quantile for the sum over a number of slots.
    fn quantile(self, slots: usize) -> f64 {
        (1.0 - self.0 * (1.0 + slots as f64 / 4.0)).max(0.55)
    }
}

/// The draws to be ready for in the coming slots; those agreed in advance where
/// there are such.
pub fn draws(view: &View<'_>, slots: usize, risk: Risk) -> Vec<Draw> {
    if let Some(agreed) = view.coming_draws(slots) {
        return agreed.to_vec();
    }
    (0..view.state().stores.len()).flat_map(|store| expected(view, slots, risk, store)).collect()
}

fn expected(view: &View<'_>, slots: usize, risk: Risk, store: usize) -> Vec<Draw> {
    let (temperature, flow) =
        view.last_draw(store).unwrap_or((Temperature::constant(40.0), Flow::constant(8.0)));
    sums(view, slots, risk, store)
        .windows(2)
        .enumerate()
        .map(|(ahead, pair)| Draw {
            store,
            start: view.slot(view.now() + ahead).start(),
            volume: Volume::clamped(pair[1] - pair[0]),
            temperature,
            flow,
        })
        .collect()
}

/// Rising sums of litres to be ready for, from zero.
fn sums(view: &View<'_>, slots: usize, risk: Risk, store: usize) -> Vec<f64> {
    let past = view.past_litres(store);
    let now = view.now();
    let weekend = view.mark(now).weekend;
    let mut samples: Vec<Sample> = (1..=DAYS)
        .filter_map(|days| {
            let start = view.days_before(now, days)?;
            let alike = view.mark(start).weekend == weekend;
            let weight = if days % 7 == 0 {
                3.0
            } else if alike {
                1.0
            } else {
                0.4
            };
            Some(Sample { from: start, weight, sum: 0.0 })
        })
        .collect();
    let mut sums = vec![0.0];
    for ahead in 0..slots {
        // A sample ends where the past ends.
        samples.retain_mut(|sample| {
            let litres = past.get(sample.from + ahead);
            sample.sum += litres.copied().unwrap_or(0.0);
            litres.is_some()
        });
        samples.sort_by(|a, b| a.sum.total_cmp(&b.sum));
        let last = sums[sums.len() - 1];
        let next = weighted_quantile(&samples, risk.quantile(ahead + 1)).unwrap_or(last);
        sums.push(next.max(last));
    }
    sums
}

#[derive(Debug, Clone, Copy)]
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
