//! Scales with round marks.

/// A range of values and the values marked on it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Scale {
    low: f64,
    high: f64,
    marks: Vec<f64>,
}

impl Scale {
    /// A scale over values with about `marks` round marks, with some room at
    /// its ends as shares of the range.
    pub(crate) fn around(low: f64, high: f64, marks: f64, (below, above): (f64, f64)) -> Self {
        let range = (high - low).max(1e-6);
        let step = round_step(range / marks);
        let low = low - below * range;
        let high = high + above * range;
        let first = (low / step).ceil() as i64;
        let last = (high / step + 1e-9).floor() as i64;
        Self { low, high, marks: (first..=last).map(|i| i as f64 * step).collect() }
    }

    /// Where a value lies between the ends, from 0 to 1.
    pub(crate) fn share(&self, value: f64) -> f64 {
        ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0)
    }

    /// The round values on it.
    pub(crate) fn marks(&self) -> &[f64] {
        &self.marks
    }
}

/// The smallest of 1, 2, 5 times a power of ten that is not below a number.
fn round_step(least: f64) -> f64 {
    let power = 10_f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0]
        .into_iter()
        .map(|m| m * power)
        .find(|&s| s >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_round_and_within_the_scale() {
        let scale = Scale::around(-6.3, 38.8, 4.0, (0.1, 0.1));
        assert_eq!(scale.marks, [0.0, 20.0, 40.0]);
        assert!(scale.low <= -6.3 && scale.high >= 38.8);
        assert_eq!(Scale::around(0.0, 3.0, 3.0, (0.0, 0.0)).marks, [0.0, 1.0, 2.0, 3.0]);
    }

    #[test]
    fn values_that_never_change_still_have_a_scale() {
        let scale = Scale::around(5.0, 5.0, 4.0, (0.1, 0.1));
        assert!(scale.high > scale.low && scale.marks.len() < 10, "{scale:?}");
    }
}
