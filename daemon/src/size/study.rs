//! A study as data, `stowheat/study/1`: what `size --json` prints.
//!
//! Savings are differences of cost between replays of the same days. A cost is
//! the bill (import less export income, so export that is given up counts),
//! with an estimate for half-hours without a price, wear, and what is left at
//! the end valued alike at both ends.

use optimiser::sizing::{Appraisal, Outlay, Terms, appraise};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::candidate::Candidate;
use super::case::{Case, Detail};
use super::margins::Margins;
use super::verdict::{self, Verdict};
use super::{Source, World};
use crate::house::House;
use crate::present::digits::rounded;
use crate::replay::document::{Controller, Coverage};
use crate::series::minor_units;

/// Name and version of the document.
pub const SCHEMA: &str = "stowheat/study/1";

/// Days of a year on the long run.
const YEAR: f64 = 365.25;

/// A study. Money is in the minor unit of `currency`, a year at a time, unless
/// a name says otherwise; energy is in kWh.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "stowheat study", extend("$id" = "urn:stowheat:study:1"))]
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
    /// Days in it.
    pub days: i64,
    /// Whether it is a whole year; if not, yearly figures are scaled by days.
    pub whole_year: bool,
    /// Factor from the period to a year.
    pub to_a_year: f64,
    /// Half-hours and those with a value.
    pub coverage: Coverage,
    /// How the counterfactual was controlled.
    pub control: String,
    /// Rate at which its prices were changed into the site's currency.
    pub exchange: Option<String>,
    /// Its files.
    pub files: Vec<Source>,
    /// Marginal values near the house as it stands, over the period.
    pub margins: Margins,
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
    /// Years of the hardware's saving less upkeep that make up its price; null
    /// without a price or where it never does.
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
}

/// Payback at the mean saving, in the best and in the worst world.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "every name states what it is")]
pub struct Payback {
    pub mean: Option<f64>,
    pub best: Option<f64>,
    pub worst: Option<f64>,
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
    /// What the multipliers say that the hardware saves to somebody who knows
    /// everything; right near the present sizes only.
    pub by_multipliers: Option<f64>,
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
    /// Days, limits and currents of stowheat's run, over the period.
    pub detail: Detail,
}

/// The JSON Schema of the document.
pub fn schema() -> schemars::Schema {
    schemars::schema_for!(Study)
}

/// What a study is made of.
#[derive(Debug, Clone, Copy)]
pub struct Kept<'a> {
    /// The house as it stands first.
    pub candidates: &'a [Candidate],
    /// The worlds.
    pub worlds: &'a [World],
    /// The case of each candidate in each world, `[candidate][world]`.
    pub cases: &'a [Vec<Case>],
    /// The margins in each world.
    pub margins: &'a [Margins],
    /// Years and rates.
    pub terms: Terms,
    /// Site and options.
    pub files: &'a [Source],
}

impl Study {
    /// Makes a study of what was kept.
    pub fn new(kept: &Kept<'_>) -> Self {
        let house: &House = &kept.candidates[0].house;
        let worlds: Vec<Lived> = (0..kept.worlds.len()).map(|w| kept.lived(w)).collect();
        let candidates: Vec<Row> =
            (0..kept.candidates.len()).map(|c| kept.row(c, &worlds)).collect();
        let mut notes: Vec<String> = Vec::new();
        for note in kept.cases[0].iter().flat_map(|case| &case.replay.notes) {
            if !notes.contains(note) {
                notes.push(note.clone());
            }
        }
        let mut study = Self {
            schema: SCHEMA.to_owned(),
            program: env!("CARGO_PKG_VERSION").to_owned(),
            site: house.name.clone(),
            time_zone: house.time_zone.name().to_owned(),
            currency: house.tariff.currency.clone(),
            terms: Rates {
                discount_percent: rounded(kept.terms.discount * 100.0, 3),
                price_growth_percent: rounded(kept.terms.price_growth * 100.0, 3),
                years: kept.terms.years,
            },
            counterfactual: "the house as it stands, under the simple control that is best in \
                             hindsight"
                .to_owned(),
            worlds,
            candidates,
            verdict: Verdict::default(),
            files: kept.files.to_vec(),
            notes,
        };
        study.verdict = verdict::of(&study);
        study
    }

    /// The document as indented JSON that ends with a line feed.
    ///
    /// # Panics
    /// Never: every part of the document has a JSON form.
    pub fn to_json(&self) -> String {
        serde_json::to_string_pretty(self).expect("a study has a JSON form") + "\n"
    }
}

impl Kept<'_> {
    fn lived(&self, world: usize) -> Lived {
        let case = &self.cases[0][world];
        let day = |text: &str| text.parse::<chrono::NaiveDate>().ok();
        let (first, last) = (day(&case.replay.first_day), day(&case.replay.last_day));
        let days = first.zip(last).map_or(0, |(first, last)| (last - first).num_days() + 1);
        let whole_year = (364..=367).contains(&days);
        let rule = rule(case);
        let own = &self.worlds[world];
        Lived {
            name: own.name.clone(),
            first_day: case.replay.first_day.clone(),
            last_day: case.replay.last_day.clone(),
            days,
            whole_year,
            to_a_year: if whole_year { 1.0 } else { YEAR / days.max(1) as f64 },
            coverage: case.replay.coverage.clone(),
            control: rule.map_or_else(
                || "none".to_owned(),
                |rule| rule.settings.clone().unwrap_or_else(|| rule.name.clone()),
            ),
            exchange: own.exchange.as_ref().map(|(currency, rate)| {
                format!("1 {currency} taken as {rate} {}", case.replay.currency)
            }),
            files: own.files.clone(),
            margins: self.margins[world].clone(),
        }
    }

    fn row(&self, index: usize, worlds: &[Lived]) -> Row {
        let candidate = &self.candidates[index];
        let outcomes: Vec<Outcome> =
            worlds.iter().enumerate().map(|(w, lived)| self.outcome(index, w, lived)).collect();
        let spread = |of: fn(&Outcome) -> f64| Spread::over(outcomes.iter().map(of));
        let by_hardware = spread(|o| o.by_hardware);
        let minor = minor_units(&self.candidates[0].house.tariff.currency);
        let outlays: Option<Vec<Outlay>> = candidate
            .outlays
            .as_ref()
            .map(|all| all.iter().map(|outlay| in_minor(outlay, minor)).collect());
        let at = |saving: f64| outlays.as_ref().map(|all| appraise(all, saving, self.terms));
        let each = |of: fn(&Appraisal) -> f64| {
            at(by_hardware.mean)?;
            let all = outcomes.iter().filter_map(|o| at(o.by_hardware)).map(|a| of(&a));
            Some(Spread::over(all))
        };
        let payback = |saving| at(saving).and_then(|a| a.payback_years).map(|y| rounded(y, 2));
        let of_heat = |o: &Outcome| {
            let appraisal = at(0.0).unwrap_or_else(|| appraise(&[], 0.0, self.terms));
            let lived = outcomes.iter().position(|p| p.case == o.case).unwrap_or(0);
            let scale = worlds[lived].to_a_year;
            appraisal.cost_of_heat(o.detail.heat_cost * scale, o.detail.heat_kwh * scale)
        };
        Row {
            name: candidate.name.clone(),
            changes: candidate
                .changes
                .iter()
                .map(|c| Changed { key: c.key.clone(), from: c.from, to: c.to })
                .collect(),
            price: at(0.0).map(|a| money(a.price)),
            upkeep: at(0.0).map_or(0.0, |a| money(a.upkeep)),
            saving: spread(|o| o.saving),
            by_hardware,
            by_hardware_under_rule: spread(|o| o.by_hardware_under_rule),
            payback_years: Payback {
                mean: payback(by_hardware.mean),
                best: payback(by_hardware.high),
                worst: payback(by_hardware.low),
            },
            flat_net: each(|a| a.flat_net),
            discounted_net: each(|a| a.discounted_net),
            cost_of_heat: Spread::over(outcomes.iter().filter_map(of_heat)),
            comfortable: outcomes.iter().all(|o| o.comfortable),
            worlds: outcomes,
        }
    }

    fn outcome(&self, index: usize, world: usize, lived: &Lived) -> Outcome {
        let (case, present) = (&self.cases[index][world], &self.cases[0][world]);
        let scale = lived.to_a_year;
        let own = &case.replay.controllers[0];
        let cost = |of: &Controller| of.whole.cost * scale;
        let (before, after) = (rule(present), rule(case));
        let standing = cost(&present.replay.controllers[0]);
        let predicted = self.margins[world].predicted(&self.candidates[0], &self.candidates[index]);
        Outcome {
            case: case.input.clone(),
            bill: money(own.whole.bill * scale),
            cost: money(cost(own)),
            export_income: money(own.whole.export_income * scale),
            saving: money(before.map_or(standing, cost) - cost(own)),
            by_hardware: money(standing - cost(own)),
            by_hardware_under_rule: money(
                before.zip(after).map_or(0.0, |(before, after)| cost(before) - cost(after)),
            ),
            by_multipliers: predicted.map(|sum| money(sum * scale)),
            bound: case.replay.bound.as_ref().map(|b| money(b.cost * scale)),
            bound_at_equal_comfort: case
                .replay
                .bound_at_equal_comfort
                .as_ref()
                .map(|b| money(b.cost * scale)),
            unmet_percent: own.whole.unmet_percent,
            comfortable: own.comfortable,
            best_rule: after.map(|rule| rule.settings.clone().unwrap_or_else(|| rule.name.clone())),
            best_rule_cost: after.map(|rule| money(cost(rule))),
            detail: case.stowheat.clone(),
        }
    }
}

/// The best rule of a case.
pub(crate) fn rule(case: &Case) -> Option<&Controller> {
    let name = case.replay.best_rule.as_ref()?;
    case.replay.controllers.iter().find(|controller| controller.name == *name)
}

fn in_minor(outlay: &Outlay, minor: f64) -> Outlay {
    Outlay {
        equipment: outlay.equipment * minor,
        fitting: outlay.fitting * minor,
        upkeep_per_year: outlay.upkeep_per_year * minor,
        ..*outlay
    }
}

impl Spread {
    fn over(values: impl Iterator<Item = f64>) -> Self {
        let all: Vec<f64> = values.collect();
        if all.is_empty() {
            return Self::default();
        }
        Self {
            mean: money(all.iter().sum::<f64>() / all.len() as f64),
            low: money(all.iter().copied().fold(f64::INFINITY, f64::min)),
            high: money(all.iter().copied().fold(f64::NEG_INFINITY, f64::max)),
        }
    }
}

/// Money to the thousandth of the minor unit.
fn money(minor: f64) -> f64 {
    rounded(minor, 3)
}
