//! A study made of kept cases.

use optimiser::sizing::{Appraisal, Outlay, Terms, appraise};

use super::candidate::Candidate;
use super::case::{Case, Detail, Part};
use super::margins::Margins;
use super::study::{
    Changed, Lived, LivedPart, Outcome, Payback, Rates, Row, SCHEMA, Spread, Study,
};
use super::verdict::{self, Verdict};
use super::{Source, World, YEAR, is_year};
use crate::house::House;
use crate::present::digits::rounded;
use crate::replay::ALLOWED_UNMET;
use crate::replay::document::{Controller, Coverage};
use crate::series::minor_units;

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
        let parts = kept.cases[0].iter().flat_map(|case| &case.parts);
        for note in parts.flat_map(|part| &part.replay.notes) {
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
            as_calculated: None,
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
        let own = &self.worlds[world];
        let replays = || case.parts.iter().map(|part| &part.replay);
        let parts: Vec<LivedPart> = case
            .parts
            .iter()
            .map(|part| LivedPart {
                first_day: part.replay.first_day.clone(),
                last_day: part.replay.last_day.clone(),
                days: part.stowheat.days as i64,
                stands_for_days: rounded(part.times * part.stowheat.days as f64, 3),
            })
            .collect();
        let days = parts.iter().map(|part| part.days).sum();
        let day = |of: Option<&LivedPart>, which: fn(&LivedPart) -> &String| {
            of.map_or_else(String::new, |part| which(part).clone())
        };
        let rule = case.parts.first().and_then(Part::rule);
        Lived {
            name: own.name.clone(),
            first_day: day(parts.first(), |part| &part.first_day),
            last_day: day(parts.last(), |part| &part.last_day),
            days,
            whole_year: is_year(days),
            parts,
            coverage: covered(replays().map(|replay| &replay.coverage)),
            control: rule.map_or_else(|| "none".to_owned(), named),
            prices_later_hours: own.later_hours,
            exchange: own.exchange.as_ref().zip(replays().next()).map(|((other, rate), replay)| {
                format!("1 {other} taken as {rate} {}", replay.currency)
            }),
            files: own.files.clone(),
            margins: self.margins[world].clone(),
        }
    }

    fn row(&self, index: usize, worlds: &[Lived]) -> Row {
        let candidate = &self.candidates[index];
        let outcomes: Vec<Outcome> =
            (0..worlds.len()).map(|world| self.outcome(index, world)).collect();
        let spread = |of: &dyn Fn(&Part, &Part) -> f64, whole: fn(&Outcome) -> f64| {
            let errors = worlds.iter().enumerate().map(|(world, lived)| {
                let (case, present) = (&self.cases[index][world], &self.cases[0][world]);
                let parts = case.parts.iter().zip(&present.parts);
                let in_parts: Vec<f64> =
                    parts.map(|(part, stands)| YEAR / days_of(part) * of(part, stands)).collect();
                lived.sampling_error(&in_parts)
            });
            Spread::over(outcomes.iter().map(whole), errors)
        };
        let cost = |of: Option<&Controller>| of.map_or(0.0, |own| own.whole.cost);
        let saving = spread(
            &|part, stands| cost(stands.rule().or(Some(stands.own()))) - cost(Some(part.own())),
            |o| o.saving,
        );
        let by_hardware =
            spread(&|part, stands| cost(Some(stands.own())) - cost(Some(part.own())), |o| {
                o.by_hardware
            });
        let by_hardware_under_rule =
            spread(&|part, stands| cost(stands.rule()) - cost(part.rule()), |o| {
                o.by_hardware_under_rule
            });
        let minor = minor_units(&self.candidates[0].house.tariff.currency);
        let outlays: Option<Vec<Outlay>> = candidate
            .outlays
            .as_ref()
            .map(|all| all.iter().map(|outlay| in_minor(outlay, minor)).collect());
        let at = |saving: f64| outlays.as_ref().map(|all| appraise(all, saving, self.terms));
        // Net worth is a straight line in the saving.
        let each = |of: fn(&Appraisal) -> f64| {
            let net = |saving| at(saving).map(|appraisal| money(of(&appraisal)));
            let Spread { mean, low, high, sampling_error } = by_hardware;
            let apart = sampling_error.and_then(|error| Some(net(mean + error)? - net(mean)?));
            Some(Spread {
                mean: net(mean)?,
                low: net(low)?,
                high: net(high)?,
                sampling_error: apart.map(money),
            })
        };
        let lives = candidate.outlays.iter().flatten().map(|outlay| outlay.life_years);
        let lasts = lives.reduce(f64::max);
        let of_heat = |o: &Outcome| {
            let appraisal = at(0.0).unwrap_or_else(|| appraise(&[], 0.0, self.terms));
            appraisal.cost_of_heat(o.detail.heat_cost, o.detail.heat_kwh)
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
            saving,
            by_hardware,
            by_hardware_under_rule,
            payback_years: Payback::of(
                [by_hardware.mean, by_hardware.high, by_hardware.low].map(at),
                lasts,
            ),
            flat_net: each(|a| a.flat_net),
            discounted_net: each(|a| a.discounted_net),
            cost_of_heat: Spread::over(outcomes.iter().filter_map(of_heat), std::iter::empty()),
            comfortable: outcomes.iter().all(|o| o.comfortable),
            worlds: outcomes,
        }
    }

    fn outcome(&self, index: usize, world: usize) -> Outcome {
        let (case, present) = (&self.cases[index][world], &self.cases[0][world]);
        let year = |case: &Case, of: &dyn Fn(&Part) -> f64| -> f64 {
            case.parts.iter().map(|part| part.times * of(part)).sum()
        };
        let own = |of: fn(&Controller) -> f64| year(case, &|part| of(part.own()));
        let ruled = |case: &Case| {
            let known = case.parts.iter().all(|part| part.rule().is_some());
            known.then(|| year(case, &|part| part.rule().map_or(0.0, |rule| rule.whole.cost)))
        };
        let bound = |of: fn(&Part) -> Option<f64>| {
            let known = case.parts.iter().all(|part| of(part).is_some());
            known.then(|| money(year(case, &|part| of(part).unwrap_or(0.0))))
        };
        let (before, after) = (ruled(present), ruled(case));
        let cost = own(|own| own.whole.cost);
        let standing = year(present, &|part| part.own().whole.cost);
        // What is unmet of a day may be less than the last digit of a kept kWh.
        let asked = own(|o| o.whole.asked_kwh);
        let unmet = own(|o| 0.01 * o.whole.unmet_percent * o.whole.asked_kwh);
        let in_parts = case.parts.iter().zip(&present.parts).map(|(part, stands)| {
            money(YEAR / days_of(part) * (stands.own().whole.cost - part.own().whole.cost))
        });
        Outcome {
            case: case.input.clone(),
            bill: money(own(|own| own.whole.bill)),
            cost: money(cost),
            export_income: money(own(|own| own.whole.export_income)),
            saving: money(before.unwrap_or(standing) - cost),
            by_hardware: money(standing - cost),
            by_hardware_under_rule: money(
                before.zip(after).map_or(0.0, |(before, after)| before - after),
            ),
            by_hardware_in_parts: in_parts.collect(),
            foretold: self.margins[world].foretold.get(index).copied().flatten(),
            bound: bound(|part| part.replay.bound.as_ref().map(|bound| bound.cost)),
            bound_at_equal_comfort: bound(|part| {
                part.replay.bound_at_equal_comfort.as_ref().map(|bound| bound.cost)
            }),
            unmet_percent: if asked > 0.0 { rounded(100.0 * unmet / asked, 4) } else { 0.0 },
            comfortable: comfortable(case, unmet <= ALLOWED_UNMET * asked + 1e-9),
            best_rule: case.parts.first().and_then(Part::rule).map(named),
            best_rule_cost: after.map(money),
            detail: Detail::joined(
                &case.parts.iter().map(|part| (&part.stowheat, part.times)).collect::<Vec<_>>(),
            ),
        }
    }
}

/// Rooms and pool must be warm enough in every part, hot water over all of them.
fn comfortable(case: &Case, taps: bool) -> bool {
    let warm = |part: &Part| part.own().whole.plant_room.is_none() || part.own().comfortable;
    taps && case.parts.iter().all(warm)
}

fn days_of(part: &Part) -> f64 {
    part.stowheat.days as f64
}

/// A rule with its settings.
fn named(rule: &Controller) -> String {
    rule.settings.clone().unwrap_or_else(|| rule.name.clone())
}

fn covered<'a>(parts: impl Iterator<Item = &'a Coverage>) -> Coverage {
    let mut sum = Coverage { half_hours: 0, prices: 0, pv: 0, load: 0, weather: None };
    for part in parts {
        sum.half_hours += part.half_hours;
        sum.prices += part.prices;
        sum.pv += part.pv;
        sum.load += part.load;
        sum.weather = part.weather.map(|own| own + sum.weather.unwrap_or(0)).or(sum.weather);
    }
    sum
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
    /// Of the figures of some years, each with how far sampling may have put it off.
    fn over(values: impl Iterator<Item = f64>, errors: impl Iterator<Item = Option<f64>>) -> Self {
        let all: Vec<f64> = values.collect();
        if all.is_empty() {
            return Self::default();
        }
        let count = all.len() as f64;
        // Years are sampled apart, so their errors add up as squares.
        let errors: Option<Vec<f64>> = errors.collect();
        let squares = |errors: &Vec<f64>| errors.iter().map(|error| error * error).sum::<f64>();
        let known = errors.filter(|errors| errors.len() == all.len());
        Self {
            mean: money(all.iter().sum::<f64>() / count),
            low: money(all.iter().copied().fold(f64::INFINITY, f64::min)),
            high: money(all.iter().copied().fold(f64::NEG_INFINITY, f64::max)),
            sampling_error: known.map(|errors| money(squares(&errors).sqrt() / count)),
        }
    }
}

/// Money to the thousandth of the minor unit.
fn money(minor: f64) -> f64 {
    rounded(minor, 3)
}
