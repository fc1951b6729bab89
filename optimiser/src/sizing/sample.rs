//! A year known from parts of it: which parts to live through, how many days
//! each stands for, and how far the year can be from what they say.

use std::ops::Range;

/// Student's t for a two-sided interval of 95 %, by degrees of freedom from 1 to
/// 30: NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.2.
const T_95: [f64; 30] = [
    12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160,
    2.145, 2.131, 2.120, 2.110, 2.101, 2.093, 2.086, 2.080, 2.074, 2.069, 2.064, 2.060, 2.056,
    2.052, 2.048, 2.045, 2.042,
];

/// Days of a week.
const WEEK: usize = 7;

/// Days in a row, counted from the first of the year.
pub type Stretch = Range<usize>;

/// So many stretches of so many days, spread evenly over a year. Where they are
/// no whole weeks each begins on the weekday after which the one before ended, so
/// that together they hold every weekday alike. Stretches that would overlap run
/// into one.
pub fn spread(count: usize, length: usize, days: usize) -> Vec<Stretch> {
    let length = length.clamp(1, days.max(1));
    let mut all: Vec<Stretch> = Vec::new();
    let mut weekday = None;
    for index in 0..count {
        let middle = (2 * index + 1) * days / (2 * count);
        let wished = middle.saturating_sub(length / 2).min(days - length);
        let start = match weekday {
            Some(next) if !length.is_multiple_of(WEEK) => nearest(wished, next, days - length),
            _ => wished,
        };
        weekday = Some((start + length) % WEEK);
        match all.last_mut() {
            Some(last) if last.end >= start => last.end = last.end.max(start + length),
            _ => all.push(start..start + length),
        }
    }
    all
}

/// The day on a weekday that is nearest to another, if one fits.
fn nearest(day: usize, weekday: usize, last: usize) -> usize {
    let near = day.saturating_sub(WEEK / 2)..=(day + WEEK / 2).min(last);
    near.clone().find(|day| day % WEEK == weekday).unwrap_or(day)
}

/// The share of a year that each of some stretches in order stands for: from half
/// way to the one before to half way to the next, around the turn of the year.
pub fn shares(stretches: &[Stretch], days: usize) -> Vec<f64> {
    let middle = |of: &Stretch| 0.5 * (of.start + of.end) as f64;
    let count = stretches.len();
    let year = days as f64;
    (0..count)
        .map(|index| {
            if count == 1 {
                return 1.0;
            }
            let own = middle(&stretches[index]);
            let next = middle(&stretches[(index + 1) % count]);
            let before = middle(&stretches[(index + count - 1) % count]);
            let gap = |from: f64, to: f64| if to > from { to - from } else { to + year - from };
            0.5 * (gap(before, own) + gap(own, next)) / year
        })
        .collect()
}

/// Half the width of the 95 % interval around the mean over a year, from what each
/// of its stretches in order says a year comes to, and the share of the year that
/// each stands for. `lived` is the share of the year that was lived through, whose
/// weather and prices are no guess. `None` for one stretch, which says nothing about
/// the rest of the year.
///
/// Stretches that are spread evenly share the seasons, so the variance is taken
/// from the differences of neighbours, around the turn of the year: Wolter,
/// *Introduction to Variance Estimation*, 2nd ed. (2007), section 8.2. For
/// independent values of even spread that estimate has two thirds of their number
/// of degrees of freedom (from the fourth moments, on paper).
pub fn sampling_error(values: &[f64], shares: &[f64], lived: f64) -> Option<f64> {
    if lived >= 0.99 {
        return Some(0.0);
    }
    let count = values.len();
    if count < 2 {
        return None;
    }
    let next = values.iter().cycle().skip(1);
    let squares: f64 = values.iter().zip(next).map(|(a, b)| (b - a).powi(2)).sum();
    let variance = squares / (2 * count) as f64;
    let of_mean = variance * shares.iter().map(|share| share * share).sum::<f64>();
    let freedom = (2 * count / 3).max(1);
    let t = T_95.get(freedom - 1).copied().unwrap_or(T_95[T_95.len() - 1]);
    Some(t * (of_mean * (1.0 - lived)).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twelve_weeks_lie_one_in_each_month() {
        let weeks = spread(12, 7, 365);
        assert_eq!(weeks.len(), 12);
        assert_eq!((weeks[0].clone(), weeks[11].clone()), (12..19, 346..353));
        let ends: Vec<f64> = (1..=12).map(|m| 365.0 * f64::from(m) / 12.0).collect();
        for (week, end) in weeks.iter().zip(ends) {
            assert!((week.end as f64) < end && week.start as f64 > end - 30.5, "{week:?}");
        }
        for share in shares(&weeks, 365) {
            assert!((share - 1.0 / 12.0).abs() < 0.002, "{share}");
        }
    }

    #[test]
    fn short_stretches_hold_every_weekday_alike() {
        for (count, length) in [(13, 2), (12, 2), (26, 3), (52, 1), (7, 5)] {
            let mut each = [0_usize; WEEK];
            for day in spread(count, length, 365).into_iter().flatten() {
                each[day % WEEK] += 1;
            }
            let (least, most) = (each.iter().min(), each.iter().max());
            assert!(most.zip(least).is_some_and(|(m, l)| m - l <= 1), "{count}x{length}: {each:?}");
        }
    }

    #[test]
    fn too_many_stretches_are_the_whole_year() {
        for (count, length) in [(60, 7), (1, 400)] {
            let all = spread(count, length, 365);
            assert_eq!((all.len(), all[0].clone()), (1, 0..365));
        }
        assert!((shares(&spread(60, 7, 365), 365)[0] - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_stretch_stands_for_the_days_around_it() {
        // Solved on paper: middles at days 50, 100 and 300 of 400.
        let found = shares(&[45..55, 95..105, 295..305], 400);
        for (found, expected) in found.iter().zip([100.0, 125.0, 175.0]) {
            assert!((found - expected / 400.0).abs() < 1e-12, "{found}");
        }
    }

    #[test]
    fn one_stretch_says_nothing_of_the_rest() {
        assert_eq!(sampling_error(&[100.0], &[1.0], 7.0 / 365.0), None);
        assert_eq!(sampling_error(&[100.0], &[1.0], 1.0), Some(0.0));
        // Two: a difference of 2 has a standard error of 1 in the mean, one degree of
        // freedom, and half of the year is known.
        let found = sampling_error(&[1.0, 3.0], &[0.5, 0.5], 0.5).expect("two");
        assert!((found - 12.706 * 0.5_f64.sqrt()).abs() < 1e-9, "{found}");
    }

    // Years of seasons and of weeks that differ by chance: the interval from twelve
    // weeks holds the year's own mean about as often as it says.
    #[test]
    fn the_interval_holds_the_year_as_often_as_it_says() {
        let mut seed = 17_u64;
        let mut chance = || {
            // Knuth's generator, MMIX.
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (seed >> 11) as f64 / (1_u64 << 53) as f64
        };
        let weeks = spread(12, 7, 364);
        let (mut held, tries) = (0, 2_000);
        for _ in 0..tries {
            let year: Vec<f64> = (0..52)
                .map(|week| {
                    let season = (f64::from(week) / 52.0 * std::f64::consts::TAU).cos();
                    100.0 + 30.0 * season + 40.0 * (chance() + chance() + chance() - 1.5)
                })
                .collect();
            let day = |day: usize| year[day / 7];
            let values: Vec<f64> =
                weeks.iter().map(|week| week.clone().map(day).sum::<f64>() / 7.0).collect();
            let shares = shares(&weeks, 364);
            let mean: f64 = values.iter().zip(&shares).map(|(v, s)| v * s).sum();
            let truth = year.iter().sum::<f64>() / 52.0;
            let error = sampling_error(&values, &shares, 84.0 / 364.0).expect("twelve");
            held += usize::from((mean - truth).abs() <= error);
        }
        let share = f64::from(u32::try_from(held).expect("few")) / f64::from(tries);
        assert!((0.92..=0.985).contains(&share), "{share}");
    }
}
