//! Worth in a fixed number of steps, so that every program has the same shape.

use crate::problem::ValueStep;
use crate::units::{Energy, Price};

/// Steps of the worth of what is left, for the store and for the battery.
const STEPS: usize = 8;

/// A concave worth in a fixed number of steps: neighbours that differ least are
/// joined at their mean, and what is missing has no width.
pub(super) fn even_steps(steps: &[ValueStep]) -> Vec<ValueStep> {
    let mut pieces: Vec<(f64, f64)> =
        steps.iter().map(|s| (s.width.kwh(), s.value.per_kwh())).collect();
    while pieces.len() > STEPS {
        let loss = |i: usize| {
            let ((w, v), (x, u)) = (pieces[i], pieces[i + 1]);
            w * x / (w + x) * (v - u)
        };
        let Some(at) = (0..pieces.len() - 1).min_by(|&a, &b| loss(a).total_cmp(&loss(b))) else {
            break;
        };
        let ((w, v), (x, u)) = (pieces[at], pieces[at + 1]);
        pieces[at] = (w + x, (w * v + x * u) / (w + x));
        pieces.remove(at + 1);
    }
    // Rounding must not let a step rise.
    for i in 1..pieces.len() {
        pieces[i].1 = pieces[i].1.min(pieces[i - 1].1);
    }
    let floor = pieces.last().map_or(0.0, |last| last.1);
    pieces.resize(STEPS, (0.0, floor));
    let step =
        |(width, value)| ValueStep { width: Energy::clamped(width), value: Price::clamped(value) };
    pieces.into_iter().map(step).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn joined_steps_keep_their_area_and_fall() {
        let steps: Vec<ValueStep> = (0..20)
            .map(|i| ValueStep {
                width: Energy::clamped(0.5 + f64::from(i % 3)),
                value: Price::clamped(40.0 - f64::from(i * i) * 0.1),
            })
            .collect();
        let area = |of: &[ValueStep]| -> f64 {
            of.iter().map(|s| s.width.kwh() * s.value.per_kwh()).sum()
        };
        let few = even_steps(&steps);
        assert_eq!(few.len(), STEPS);
        assert!((area(&few) - area(&steps)).abs() < 1e-9);
        assert!(few.windows(2).all(|pair| pair[1].value <= pair[0].value));
        assert_eq!(even_steps(&[]).len(), STEPS);
    }
}
