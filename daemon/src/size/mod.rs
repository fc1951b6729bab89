//! A study: what hardware would have been worth over past years.
//!
//! [`candidates`] makes houses of the numbers that somebody wants to try; each
//! is replayed in each [`World`] and kept as a [`Case`]; a [`Study`] is made of
//! kept cases alone, so it is the same whether they were just computed, kept
//! from an interrupted run or joined from many machines.

mod axis;
pub mod candidate;
pub mod case;
mod daily;
pub mod kept;
mod label;
pub mod margins;
pub mod study;
pub mod table;
pub mod verdict;

pub use axis::Axis;
pub use candidate::{Candidate, Wanted, candidates};
pub use case::Case;
pub use kept::Kept;
pub use margins::Margins;
pub use study::Study;

use std::fmt::Write as _;

use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::assemble::{Known, Period, PeriodError, period};
use crate::house::House;
use crate::tariff::Rates;

/// A past to live through: prices, weather and series, with where they are from.
#[derive(Debug, Clone)]
pub struct World {
    /// Name on the page.
    pub name: String,
    /// What the files say.
    pub known: Known,
    /// Column of the draws file.
    pub draws_column: Option<String>,
    /// First and last local day, if not all that the prices cover.
    pub days: (Option<NaiveDate>, Option<NaiveDate>),
    /// Hours by which the prices come later than in their files, so that the day
    /// of a far market falls on the house's.
    pub later_hours: i64,
    /// Prices are in another currency: which, and what one of it is worth in
    /// the site's.
    pub exchange: Option<(String, f64)>,
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
    /// The house as it is priced in this world.
    fn house(&self, house: &House) -> House {
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

    /// The period, for the house as it is priced here.
    fn period(&self, house: &House) -> Result<Period, PeriodError> {
        let mut known = self.known.clone();
        for prices in [&mut known.wholesale.import, &mut known.wholesale.export] {
            *prices = prices.later(self.later_hours * 3_600);
        }
        period(house, &known, self.draws_column.as_deref(), self.days)
    }

    /// Everything that a replay depends on besides the house, as text.
    fn identity(&self) -> String {
        let files: Vec<String> =
            self.files.iter().map(|f| format!("{} {}", f.role, f.sha256)).collect();
        format!(
            "{}\n{:?}\n{:?}\n{}\n{:?}",
            files.join("\n"),
            self.draws_column,
            self.days,
            self.later_hours,
            self.exchange
        )
    }
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
    fn a_readme_says_how_a_file_wants_to_be_named() {
        let readme = "# Data\n\n### `a_1.csv`, `_2.csv`\n- Licence: X. Line: \"Source: X.\"\n\n### `b.csv`\nNo line.\n";
        let line = |file| attribution(readme, file);
        assert_eq!(line("a_1.csv").as_deref(), Some("Source: X."));
        assert_eq!(line("a_2.csv").as_deref(), Some("Source: X."));
        assert_eq!(line("b.csv"), None);
        assert_eq!(line("c.csv"), None);
    }
}
