//! A study made of kept cases.

use optimiser::sizing::{Appraisal, Outlay, Terms, appraise};

use super::candidate::Candidate;
use super::case::Case;
use super::margins::Margins;
use super::study::{Changed, Lived, Outcome, Payback, Rates, Row, SCHEMA, Spread, Study};
use super::verdict::{self, Verdict};
use super::{Source, World};
use crate::house::House;
use crate::present::digits::rounded;
use crate::replay::document::Controller;
use crate::series::minor_units;

/// Days of a year on the long run.
const YEAR: f64 = 365.25;

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
        for world in kept.worlds.iter().filter(|world| world.later_hours != 0) {
            notes.push(format!(
                "{}: prices come {} hours later than in their file, so that a day of their market \
                 is a day of the house; its seasons stay where the calendar puts them",
                world.name, world.later_hours
            ));
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
            prices_later_hours: own.later_hours,
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
