//! Bands of local time of day.

use std::fmt;

use chrono::{NaiveTime, Timelike};
use optimiser::units::Price;

use super::Band;

const DAY: u32 = 86_400;

/// What keeps bands from covering the day once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BandFault {
    /// No band holds between two times; the whole day if they are equal.
    Hole {
        /// Start of the hole.
        from: NaiveTime,
        /// End of the hole; at or before `from` it runs past midnight.
        until: NaiveTime,
    },
    /// Two bands hold at once.
    Overlap {
        /// Index of one band.
        first: usize,
        /// Index of the other, larger.
        second: usize,
        /// Start of the overlap.
        from: NaiveTime,
        /// End of the overlap; at or before `from` it runs past midnight.
        until: NaiveTime,
    },
}

impl fmt::Display for BandFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Hole { from, until } if from == until => {
                write!(f, "no band holds at any time of day")
            }
            Self::Hole { from, until } => {
                write!(f, "no band holds from {} until {}", clock(from), clock(until))
            }
            Self::Overlap { first, second, from, until } => write!(
                f,
                "bands {} and {} both hold from {} until {}",
                first + 1,
                second + 1,
                clock(from),
                clock(until)
            ),
        }
    }
}

/// Everything that keeps bands from covering the day once. Adders may leave
/// holes, which count as zero, but must not overlap.
pub fn band_faults(bands: &[Band]) -> Vec<BandFault> {
    let mut edges: Vec<u32> =
        bands.iter().flat_map(|band| [band.from, band.until]).map(seconds).collect();
    edges.extend([0, DAY]);
    edges.sort_unstable();
    edges.dedup();

    let mut found: Vec<Stretch> = Vec::new();
    for pair in edges.windows(2) {
        let (from, until) = (pair[0], pair[1]);
        let holding: Vec<usize> =
            (0..bands.len()).filter(|index| holds(&bands[*index], from)).collect();
        let overlaps = holding.iter().enumerate().flat_map(|(position, first)| {
            holding[position + 1..].iter().map(|second| Some((*first, *second)))
        });
        let hole = holding.is_empty().then_some(None);
        for overlap in overlaps.chain(hole) {
            match found.iter_mut().find(|one| one.overlap == overlap && one.until == from) {
                Some(before) => before.until = until,
                None => found.push(Stretch { overlap, from, until }),
            }
        }
    }
    join_at_midnight(&mut found);
    found.into_iter().map(Stretch::fault).collect()
}

/// A part of the day without a band, or with two.
struct Stretch {
    overlap: Option<(usize, usize)>,
    from: u32,
    until: u32,
}

impl Stretch {
    fn fault(self) -> BandFault {
        let (from, until) = (time(self.from), time(self.until));
        match self.overlap {
            None => BandFault::Hole { from, until },
            Some((first, second)) => BandFault::Overlap { first, second, from, until },
        }
    }
}

/// Makes one of two stretches that meet at midnight.
fn join_at_midnight(found: &mut Vec<Stretch>) {
    for index in (0..found.len()).rev() {
        let Stretch { overlap, from, until } = found[index];
        let evening = found
            .iter_mut()
            .find(|one| one.overlap == overlap && one.until == DAY && one.from > until);
        if let (0, Some(evening)) = (from, evening) {
            evening.until = until;
            found.remove(index);
        }
    }
}

/// The rate of the band that holds at a local time of day.
pub(super) fn rate_at(bands: &[Band], time: NaiveTime) -> Option<Price> {
    let second = seconds(time);
    bands.iter().find(|band| holds(band, second)).map(|band| band.rate)
}

/// Second of the day of a time.
pub(super) fn seconds(time: NaiveTime) -> u32 {
    time.num_seconds_from_midnight()
}

fn holds(band: &Band, second: u32) -> bool {
    let (from, until) = (seconds(band.from), seconds(band.until));
    if from < until { (from..until).contains(&second) } else { second >= from || second < until }
}

fn time(second: u32) -> NaiveTime {
    NaiveTime::from_num_seconds_from_midnight_opt(second % DAY, 0)
        .expect("a remainder of the day is a time of day")
}

fn clock(time: NaiveTime) -> impl fmt::Display {
    time.format("%H:%M")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> NaiveTime {
        NaiveTime::parse_from_str(text, "%H:%M").expect("a time")
    }

    fn bands(spans: &[(&str, &str)]) -> Vec<Band> {
        let band = |(index, (from, until)): (usize, &(&str, &str))| Band {
            from: at(from),
            until: at(until),
            rate: Price::clamped(index as f64),
        };
        spans.iter().enumerate().map(band).collect()
    }

    fn texts(spans: &[(&str, &str)]) -> Vec<String> {
        band_faults(&bands(spans)).iter().map(ToString::to_string).collect()
    }

    #[test]
    fn bands_that_cover_the_day_once() {
        assert!(texts(&[("00:00", "00:00")]).is_empty());
        assert!(texts(&[("05:30", "05:30")]).is_empty());
        assert!(texts(&[("23:30", "05:30"), ("05:30", "23:30")]).is_empty());
        assert!(texts(&[("00:00", "07:00"), ("16:00", "00:00"), ("07:00", "16:00")]).is_empty());
    }

    #[test]
    fn a_hole_is_told_once_even_across_midnight() {
        assert_eq!(texts(&[("05:00", "23:00")]), ["no band holds from 23:00 until 05:00"]);
        assert_eq!(
            texts(&[("00:00", "07:00"), ("08:00", "00:00")]),
            ["no band holds from 07:00 until 08:00"]
        );
        assert_eq!(texts(&[]), ["no band holds at any time of day"]);
    }

    #[test]
    fn every_overlap_is_told() {
        assert_eq!(
            texts(&[("00:00", "08:00"), ("07:00", "17:00"), ("16:00", "00:00")]),
            [
                "bands 1 and 2 both hold from 07:00 until 08:00",
                "bands 2 and 3 both hold from 16:00 until 17:00"
            ]
        );
        assert_eq!(
            texts(&[("22:00", "06:00"), ("23:00", "01:00"), ("06:00", "22:00")]),
            ["bands 1 and 2 both hold from 23:00 until 01:00"]
        );
        assert_eq!(
            texts(&[("00:00", "00:00"), ("12:00", "12:00")]),
            ["bands 1 and 2 both hold from 00:00 until 00:00"]
        );
    }

    #[test]
    fn holes_and_overlaps_together() {
        assert_eq!(
            band_faults(&bands(&[("00:00", "10:00"), ("09:00", "20:00")])),
            [
                BandFault::Overlap { first: 0, second: 1, from: at("09:00"), until: at("10:00") },
                BandFault::Hole { from: at("20:00"), until: at("00:00") },
            ]
        );
    }

    #[test]
    fn a_band_holds_from_its_start_until_before_its_end() {
        let bands = bands(&[("23:30", "05:30"), ("05:30", "23:30")]);
        for (clock, band) in
            [("23:29", 1.0), ("23:30", 0.0), ("00:00", 0.0), ("05:29", 0.0), ("05:30", 1.0)]
        {
            assert_eq!(rate_at(&bands, at(clock)), Some(Price::constant(band)), "{clock}");
        }
        assert_eq!(rate_at(&bands[..1], at("12:00")), None);
    }
}
