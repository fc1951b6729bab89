//! A run day by day: comfort, limits, currents.

use std::ops::Range;

use crate::replay::{Ledger, Run, Stage};

/// One local day of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct Day {
    /// Its slots, counted from the start of the period.
    pub slots: Range<usize>,
    /// Its sums.
    pub ledger: Ledger,
}

/// How the taps were served over many days.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Service {
    /// Days with a draw that failed.
    pub days_short: usize,
    /// The first of them.
    pub first_short: Option<usize>,
    /// First day and unmet heat [kWh] of the seven days together that left most
    /// unmet, if any did.
    pub worst_week: Option<(usize, f64)>,
}

/// The local days of a run.
pub fn days(stage: &Stage<'_>, run: &Run) -> Vec<Day> {
    let first = stage.timeline().judged().start;
    let marks = &stage.timeline().record().marks[first..first + stage.horizon().len()];
    let mut from = 0;
    marks
        .chunk_by(|a, b| a.day == b.day)
        .map(|day| {
            let slots = from..from + day.len();
            from = slots.end;
            Day { ledger: Ledger::of(stage, run, slots.clone()), slots }
        })
        .collect()
}

impl Service {
    /// Looks at the days of a run.
    pub fn of(days: &[Day]) -> Self {
        let short = |day: &Day| day.ledger.taps.failed > 0;
        let unmet: Vec<f64> = days.iter().map(|day| day.ledger.taps.unmet_kwh).collect();
        let weeks = unmet.windows(7.min(unmet.len()).max(1)).map(|week| week.iter().sum::<f64>());
        let worst = weeks.enumerate().max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)));
        Self {
            days_short: days.iter().filter(|day| short(day)).count(),
            first_short: days.iter().position(short),
            worst_week: worst.filter(|(_, kwh)| *kwh > 5e-3),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::replay::Taps;

    #[test]
    fn the_worst_week_is_the_coldest_seven_days() {
        let day = |unmet: f64| Day {
            slots: 0..48,
            ledger: Ledger {
                taps: Taps {
                    failed: usize::from(unmet > 0.5),
                    unmet_kwh: unmet,
                    ..Taps::default()
                },
                ..Ledger::default()
            },
        };
        let unmet = [0.0, 0.1, 0.0, 0.0, 2.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0];
        let days: Vec<Day> = unmet.into_iter().map(day).collect();
        let found = Service::of(&days);
        assert_eq!((found.days_short, found.first_short), (2, Some(4)));
        let (first, kwh) = found.worst_week.expect("a week");
        assert_eq!(first, 2);
        assert!((kwh - 3.0).abs() < 1e-12);
        assert_eq!(Service::of(&days[..1]).worst_week, None);
        assert_eq!(Service::of(&[]), Service::default());
    }
}
