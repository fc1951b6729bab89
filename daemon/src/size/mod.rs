//! A study: what hardware would have been worth over past years.
//!
//! [`candidates`] makes houses of the numbers that somebody wants to try; each
//! is replayed in each [`World`] and kept as a [`Case`]; a [`Study`] is made of
//! kept cases alone, so it is the same whether they were just computed, kept
//! from an interrupted run or joined from many machines.

mod axis;
mod between;
pub mod candidate;
pub mod case;
mod daily;
pub mod kept;
mod label;
pub mod margins;
mod measured;
pub mod study;
pub mod table;
pub mod verdict;

pub use axis::Axis;
pub use candidate::{Candidate, Wanted, candidates};
pub use case::Case;
pub use kept::Kept;
pub use margins::Margins;
pub use measured::{AsCalculated, Beside, Measured};
pub use study::Study;

use std::fmt::Write as _;

use chrono::{Datelike, NaiveDate};
use optimiser::sizing::{Stretch, shares};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::assemble::{Known, Period, PeriodError, days, period};
use crate::house::House;
use crate::tariff::Rates;

/// Days of a year on the long run.
const YEAR: f64 = 365.25;

/// First and last local day; all that the prices cover where one is left out.
pub type Days = (Option<NaiveDate>, Option<NaiveDate>);

/// A past to live through: prices, weather and series, with where they are from.
#[derive(Debug, Clone)]
pub struct World {
    /// Name on the page.
    pub name: String,
    /// What the files say.
    pub known: Known,
    /// Column of the draws file.
    pub draws_column: Option<String>,
    /// The parts of a year that are lived through, in order: first and last local
    /// day, if not all that the prices cover.
    pub parts: Vec<Days>,
    /// Hours by which the prices come later than in their files, so that the day
    /// of a far market falls on the house's.
    pub later_hours: i64,
    /// Prices are in another currency: which, and what one of it is worth in
    /// the site's.
    pub exchange: Option<(String, f64)>,
    /// Numbers of the site file as they were measured; none where the file's hold.
    pub measured: Vec<(String, f64)>,
    /// The files.
    pub files: Vec<Source>,
}

/// A file that figures rest on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// What it gives: site, prices, weather, pv, load, draws, options.
    pub role: String,
    /// Its name, without folders.
    pub file: String,
    /// SHA-256 of its bytes, in hexadecimal.
    pub sha256: String,
    /// The line by which its publisher wants to be named, where the README
    /// beside it says one.
    pub attribution: Option<String>,
}

impl World {
    /// A candidate's house as it was measured.
    fn of(&self, candidate: &Candidate) -> Result<House, String> {
        Ok(self.priced(&between::as_measured(candidate, &self.measured)?))
    }

    /// A house as it is priced in this world.
    fn priced(&self, house: &House) -> House {
        let mut house = house.clone();
        if let Some((_, rate)) = &self.exchange {
            for rates in [&mut house.tariff.import, &mut house.tariff.export] {
                if let Rates::Indexed(index) = rates {
                    index.factor *= rate;
                }
            }
        }
        house
    }

    /// The periods with which a year is lived through: parts of it begin a day early, so
    /// that what is in the stores at first is what the control left there.
    fn led_in(&self, house: &House) -> Result<Vec<(Period, f64)>, PeriodError> {
        let all = self.periods(house)?;
        if all.len() == 1 {
            return Ok(all);
        }
        all.into_iter().map(|(period, times)| Ok((period.after_a_day()?, times))).collect()
    }

    /// The periods, for the house as it is priced here, and how many times each
    /// counts in a year.
    fn periods(&self, house: &House) -> Result<Vec<(Period, f64)>, PeriodError> {
        let known = self.shifted();
        let column = self.draws_column.as_deref();
        let all: Vec<Period> = self
            .parts
            .iter()
            .map(|days| period(house, &known, column, *days))
            .collect::<Result<_, _>>()?;
        let times = times(&all.iter().map(|period| period.days).collect::<Vec<_>>());
        Ok(all.into_iter().zip(times).collect())
    }

    /// What is known, with the prices at the house's hours.
    fn shifted(&self) -> Known {
        let mut known = self.known.clone();
        for prices in [&mut known.wholesale.import, &mut known.wholesale.export] {
            *prices = prices.later(self.later_hours * 3_600);
        }
        known
    }

    /// First and last local day of all that could be lived through, cut to what is asked
    /// for.
    ///
    /// # Errors
    /// If there are no such days, or no prices to tell.
    pub fn days(&self, house: &House, asked: Days) -> Result<(NaiveDate, NaiveDate), PeriodError> {
        days(house, &self.shifted(), asked)
    }

    /// Everything that a replay depends on besides the house, as text.
    fn identity(&self) -> String {
        let files: Vec<String> =
            self.files.iter().map(|f| format!("{} {}", f.role, f.sha256)).collect();
        let measured = self.measured.iter().fold(String::new(), |mut text, (key, number)| {
            write!(text, "\n{key}={number}").expect("a string takes everything");
            text
        });
        format!(
            "{}\n{:?}\n{:?}\n{}\n{:?}{measured}",
            files.join("\n"),
            self.draws_column,
            self.parts,
            self.later_hours,
            self.exchange,
        )
    }
}

/// How many times the figures of each part of a year count in the year's: a part
/// stands for the days around it, half way to the next part on either side. A
/// whole year stands for itself.
fn times(parts: &[(NaiveDate, NaiveDate)]) -> Vec<f64> {
    let Some(turn) = parts.first().map(|(first, _)| first.year()) else { return Vec::new() };
    let lived = |(first, last): &(NaiveDate, NaiveDate)| (*last - *first).num_days() + 1;
    if let [whole] = parts
        && is_year(lived(whole))
    {
        return vec![1.0];
    }
    let turn = NaiveDate::from_ymd_opt(turn, 1, 1).unwrap_or_default();
    let stretches: Vec<Stretch> = parts
        .iter()
        .map(|part| {
            let from = usize::try_from((part.0 - turn).num_days()).unwrap_or(0);
            from..from + usize::try_from(lived(part)).unwrap_or(0)
        })
        .collect();
    let days = if turn.leap_year() { 366 } else { 365 };
    let shares = shares(&stretches, days);
    shares.iter().zip(parts).map(|(share, part)| share * YEAR / lived(part) as f64).collect()
}

/// Whether so many days are taken for a whole year.
fn is_year(days: i64) -> bool {
    (364..=367).contains(&days)
}

/// SHA-256 of bytes, in hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    let digest = ring::digest::digest(&ring::digest::SHA256, bytes);
    digest.as_ref().iter().fold(String::with_capacity(64), |mut text, byte| {
        write!(text, "{byte:02x}").expect("a string takes everything");
        text
    })
}

/// The attribution line that a README gives for a file: the quoted text after
/// `Line:` in the section whose heading names the file in backticks.
pub fn attribution(readme: &str, file: &str) -> Option<String> {
    let named = |heading: &str| {
        let names = heading.split('`').skip(1).step_by(2);
        let mut names = names.filter(|name| !name.is_empty());
        // A heading may give the ends of further names only.
        let stem = |first: &str| first.rsplit_once('_').map(|(stem, _)| stem.to_owned());
        let Some(first) = names.next() else { return false };
        first == file || names.any(|name| stem(first).is_some_and(|s| format!("{s}{name}") == file))
    };
    let section = readme.split("\n#").find(|section| section.lines().next().is_some_and(named))?;
    let (_, after) = section.split_once("Line: \"")?;
    after.split_once('"').map(|(line, _)| line.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    // NIST, FIPS 180-4 example values: the message "abc".
    #[test]
    fn hashes_are_those_of_the_standard() {
        assert_eq!(
            sha256(b"abc"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn parts_of_a_year_stand_for_the_days_around_them() {
        let day = |m, d| NaiveDate::from_ymd_opt(2023, m, d).expect("a day");
        let near = |found: &[f64], expected: &[f64]| {
            assert_eq!(found.len(), expected.len());
            for (found, expected) in found.iter().zip(expected) {
                assert!((found - expected).abs() < 1e-9, "{found} is not {expected}");
            }
        };
        near(&times(&[(day(1, 1), day(12, 31))]), &[1.0]);
        near(&times(&[(day(7, 1), day(7, 2))]), &[YEAR / 2.0]);
        // Days 15 to 21 and 180 to 186: 165 days from middle to middle one way, 200
        // the other, so each stands for half the year.
        near(
            &times(&[(day(1, 16), day(1, 22)), (day(6, 30), day(7, 6))]),
            &[YEAR / 14.0, YEAR / 14.0],
        );
        let quarters = [(day(1, 1), day(3, 31)), (day(4, 1), day(6, 30)), (day(7, 1), day(12, 31))];
        let all: f64 = times(&quarters)
            .iter()
            .zip(&quarters)
            .map(|(times, (a, b))| times * ((*b - *a).num_days() + 1) as f64)
            .sum();
        near(&[all], &[YEAR]);
    }

    #[test]
    fn a_readme_says_how_a_file_wants_to_be_named() {
        let readme = "# Data\n\n### `a_1.csv`, `_2.csv`\n- Licence: X. Line: \"Source: X.\"\n\n### `b.csv`\nNo line.\n";
        let line = |file| attribution(readme, file);
        assert_eq!(line("a_1.csv").as_deref(), Some("Source: X."));
        assert_eq!(line("a_2.csv").as_deref(), Some("Source: X."));
        assert_eq!(line("b.csv"), None);
        assert_eq!(line("c.csv"), None);
    }
}
