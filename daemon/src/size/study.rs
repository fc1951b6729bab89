//! A study as data, `stowheat/study/3`: what `size --json` prints.
//!
//! Savings are differences of cost between replays of the same days. A cost is
//! the bill (import less export income, so export that is given up counts),
//! with an estimate for half-hours without a price, wear, and what is left at
//! the end valued alike at both ends.

use optimiser::sizing::{Appraisal, sampling_error};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::case::Detail;
use super::margins::{Foretold, Margins, Value};
use super::measured::AsCalculated;
use super::verdict::Verdict;
use super::{Source, YEAR};
use crate::present::digits;
use crate::replay::document::Coverage;

/// Name and version of the document.
pub const SCHEMA: &str = "stowheat/study/3";

/// A study. Money is in the minor unit of `currency`, a year at a time, unless
/// a name says otherwise; energy is in kWh.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "stowheat study", extend("$id" = "urn:stowheat:study:3"))]
pub struct Study {
    /// Name and version of this document.
    #[schemars(extend("const" = SCHEMA))]
    pub schema: String,
    /// Version of the program.
    pub program: String,
    /// Name of the site.
    pub site: String,
    /// Name of the site's zone in the time-zone database.
    pub time_zone: String,
    /// ISO 4217 code of the currency.
    pub currency: String,
    /// Years and rates of the appraisal.
    pub terms: Rates,
    /// The house as it stands, run by the simple control that is best in
    /// hindsight: what savings are counted against.
    pub counterfactual: String,
    /// What was lived through.
    pub worlds: Vec<Lived>,
    /// The house as it stands first, then the candidates.
    pub candidates: Vec<Row>,
    /// What it comes to, in words.
    pub verdict: Verdict,
    /// What the calculated numbers would have said, where others were measured.
    pub as_calculated: Option<AsCalculated>,
    /// Site and options.
    pub files: Vec<Source>,
    /// Everything that was assumed.
    pub notes: Vec<String>,
}

/// Years and rates beyond general inflation.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "every name states quantity and unit")]
pub struct Rates {
    pub discount_percent: f64,
    pub price_growth_percent: f64,
    pub years: u32,
}

/// A world as it was lived through.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Lived {
    /// Its name.
    pub name: String,
    /// First local day.
    pub first_day: String,
    /// Last local day.
    pub last_day: String,
    /// Days that were lived through.
    pub days: i64,
    /// Whether they are a whole year; if not, each part stands for the days around it.
    pub whole_year: bool,
    /// The parts that were lived through.
    pub parts: Vec<LivedPart>,
    /// Half-hours and those with a value.
    pub coverage: Coverage,
    /// How the counterfactual was controlled.
    pub control: String,
    /// Hours by which its prices come later than in their file.
    pub prices_later_hours: i64,
    /// Rate at which its prices were changed into the site's currency.
    pub exchange: Option<String>,
    /// Its files.
    pub files: Vec<Source>,
    /// Marginal values near the house as it stands.
    pub margins: Margins,
}

/// A part of a year that was lived through.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LivedPart {
    /// First local day.
    pub first_day: String,
    /// Last local day.
    pub last_day: String,
    /// Days in it.
    pub days: i64,
    /// Days of the year that it stands for.
    pub stands_for_days: f64,
}

/// A candidate over all worlds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Row {
    /// Its name.
    pub name: String,
    /// What differs from the house as it stands.
    pub changes: Vec<Changed>,
    /// Price with fitting and tax, if every change has one.
    pub price: Option<f64>,
    /// Upkeep in a year.
    pub upkeep: f64,
    /// Saving against the counterfactual.
    pub saving: Spread,
    /// Part of it that the hardware makes: against the house as it stands under
    /// the same control.
    pub by_hardware: Spread,
    /// What the hardware saves under the best simple control of each house.
    pub by_hardware_under_rule: Spread,
    /// Years of the hardware's saving less upkeep that make up its price.
    pub payback_years: Payback,
    /// Net of all payments over the years, without growth and discount.
    pub flat_net: Option<Spread>,
    /// Net present value.
    pub discounted_net: Option<Spread>,
    /// Levelised cost of a kWh of heat at the tap, the option's price included;
    /// without its price where it has none.
    pub cost_of_heat: Spread,
    /// Whether unmet heat stayed within what is allowed in every world.
    pub comfortable: bool,
    /// Each world.
    pub worlds: Vec<Outcome>,
}

/// A number of the site file that a candidate changes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "every name states what it is")]
pub struct Changed {
    pub key: String,
    pub from: f64,
    pub to: f64,
}

/// Mean over the worlds, and the least and the most of them.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "every name states what it is")]
pub struct Spread {
    pub mean: f64,
    pub low: f64,
    pub high: f64,
    /// How far the mean can be from that over all days of the same years, because only
    /// parts of them were lived through: half the width of the 95 % interval. Null where
    /// a year has one part that is no whole year.
    pub sampling_error: Option<f64>,
}

/// Payback at the mean saving, in the best and in the worst world; null without a price,
/// where nothing is saved, and where all of the hardware is worn out before.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "every name states what it is")]
pub struct Payback {
    pub mean: Option<f64>,
    pub best: Option<f64>,
    pub worst: Option<f64>,
    /// Why there is none at the mean saving.
    pub why_none: Option<NoPayback>,
    /// Years until the last of what is bought is worn out.
    pub lasts_years: Option<f64>,
}

/// Why something does not pay back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum NoPayback {
    /// Nothing is to be bought.
    NothingToBuy,
    /// Its price is not known.
    NoPrice,
    /// It saves no more than its upkeep.
    SavesNothing,
    /// All of it is worn out before.
    WornOut,
}

impl Payback {
    /// Of appraisals at the mean, the highest and the lowest saving, for hardware that
    /// lasts so long.
    pub(super) fn of([mean, best, worst]: [Option<Appraisal>; 3], lasts: Option<f64>) -> Self {
        let lasting = |years: &f64| lasts.is_some_and(|lasts| *years <= lasts);
        let years =
            |of: Option<Appraisal>| Some(digits::rounded(of?.payback_years.filter(lasting)?, 2));
        let why_none = match (mean, lasts) {
            (None, _) => Some(NoPayback::NoPrice),
            (_, None) => Some(NoPayback::NothingToBuy),
            (Some(own), _) if own.payback_years.is_none() => Some(NoPayback::SavesNothing),
            (Some(_), _) if years(mean).is_none() => Some(NoPayback::WornOut),
            _ => None,
        };
        Self {
            mean: years(mean),
            best: years(best),
            worst: years(worst),
            why_none,
            lasts_years: lasts,
        }
    }

    /// In words, as `12.5 years`.
    pub fn told(&self) -> String {
        let whole = |years: Option<f64>| digits::text(years.unwrap_or(0.0), 0);
        match (self.mean, self.why_none) {
            (Some(years), _) => format!("{} years", digits::text(years, 1)),
            (None, Some(NoPayback::NothingToBuy)) => "nothing to buy".to_owned(),
            (None, Some(NoPayback::SavesNothing)) => "never".to_owned(),
            (None, Some(NoPayback::WornOut)) => {
                format!("not in {} years", whole(self.lasts_years))
            }
            (None, _) => "no price".to_owned(),
        }
    }
}

/// A candidate in one world, a year at a time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Outcome {
    /// Hash that names the kept case.
    pub case: String,
    /// Bill over the half-hours with a price.
    pub bill: f64,
    /// What is compared: see above.
    pub cost: f64,
    /// Income from export, part of the bill.
    pub export_income: f64,
    /// Cost of the counterfactual less this cost.
    pub saving: f64,
    /// Part of it that the hardware makes.
    pub by_hardware: f64,
    /// What the hardware saves under simple control.
    pub by_hardware_under_rule: f64,
    /// The hardware's saving as each part of the year alone would have it.
    pub by_hardware_in_parts: Vec<f64>,
    /// What the multipliers say that the hardware saves somebody who knows everything.
    pub foretold: Option<Foretold>,
    /// Cost to somebody who knows everything.
    pub bound: Option<f64>,
    /// The same, obliged to keep water ready for draws nobody knows.
    pub bound_at_equal_comfort: Option<f64>,
    /// Share of draw heat left unmet [%].
    pub unmet_percent: f64,
    /// Whether that is within what is allowed.
    pub comfortable: bool,
    /// The simple control that was best, and its cost.
    pub best_rule: Option<String>,
    /// Cost under it.
    pub best_rule_cost: Option<f64>,
    /// Days, limits and currents of stowheat's run.
    pub detail: Detail,
}

impl Lived {
    /// Half the width of the 95 % interval around a year's figure, from what each part
    /// alone says it is.
    pub fn sampling_error(&self, in_parts: &[f64]) -> Option<f64> {
        let stood: f64 = self.parts.iter().map(|part| part.stands_for_days).sum();
        let shares: Vec<f64> = self.parts.iter().map(|part| part.stands_for_days / stood).collect();
        sampling_error(in_parts, &shares, self.days as f64 / YEAR)
    }

    /// Days and parts in words: `365 days`, or `84 days in 12 parts`.
    pub fn told(&self) -> String {
        let days = digits::days(self.days);
        if self.parts.len() == 1 { days } else { format!("{days} in {} parts", self.parts.len()) }
    }
}

/// The JSON Schema of the document.
pub fn schema() -> schemars::Schema {
    schemars::schema_for!(Study)
}

impl Study {
    /// Every capacity with a marginal value, and its value in each world.
    pub fn marginal_values(&self) -> Vec<Vec<Option<&Value>>> {
        let mut names: Vec<&str> = Vec::new();
        for value in self.worlds.iter().flat_map(|world| &world.margins.values) {
            if !names.contains(&value.capacity.as_str()) {
                names.push(&value.capacity);
            }
        }
        let of = |world: &'_ Lived, name: &str| {
            world.margins.values.iter().position(|value| value.capacity == name)
        };
        names
            .iter()
            .map(|name| {
                let each = self.worlds.iter();
                each.map(|world| Some(&world.margins.values[of(world, name)?])).collect()
            })
            .collect()
    }

    /// The document as indented JSON that ends with a line feed.
    ///
    /// # Panics
    /// Never: every part of the document has a JSON form.
    pub fn to_json(&self) -> String {
        serde_json::to_string_pretty(self).expect("a study has a JSON form") + "\n"
    }
}

#[cfg(test)]
mod tests {
    use optimiser::sizing::{Outlay, Terms, appraise};

    use super::*;

    #[test]
    fn what_is_worn_out_before_it_has_paid_does_not_pay_back() {
        let outlay = Outlay {
            equipment: 1_000.0,
            fitting: 0.0,
            vat: 0.2,
            life_years: 15.0,
            upkeep_per_year: 10.0,
        };
        let terms = Terms { discount: 0.035, price_growth: 0.0, years: 20 };
        let at = |saving| Some(appraise(&[outlay], saving, terms));
        let told = |savings: [f64; 3]| Payback::of(savings.map(at), Some(15.0));
        let pays = told([110.0, 130.0, 60.0]);
        assert_eq!((pays.mean, pays.best, pays.worst), (Some(12.0), Some(10.0), None));
        assert_eq!((pays.why_none, pays.told()), (None, "12.0 years".to_owned()));
        let late = told([11.0, 130.0, 5.0]);
        assert_eq!((late.mean, late.why_none), (None, Some(NoPayback::WornOut)));
        assert_eq!(late.told(), "not in 15 years");
        let never = told([10.0, 10.0, -5.0]);
        assert_eq!((never.why_none, never.told()), (Some(NoPayback::SavesNothing), "never".into()));
        let nothing = Payback::of([Some(appraise(&[], 5.0, terms)); 3], None);
        assert_eq!((nothing.mean, nothing.why_none), (None, Some(NoPayback::NothingToBuy)));
        assert_eq!(Payback::of([None; 3], None).told(), "no price");
    }
}
