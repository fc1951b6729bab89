//! What a study comes to, in plain words, and how far it can be wrong.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::study::{Lived, Row, Study};
use crate::present::Currency;

/// What a study comes to.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Verdict {
    /// The candidate with the highest net present value, if that is above
    /// nothing in the mean and hot water is kept.
    pub recommended: Option<String>,
    /// The finding, then what could make it wrong.
    pub sentences: Vec<String>,
}

/// The candidate whose pictures are shown: the recommended one, else the house
/// as it stands.
pub(crate) fn shown(study: &Study) -> usize {
    let name = study.verdict.recommended.as_ref();
    study.candidates.iter().position(|row| Some(&row.name) == name).unwrap_or(0)
}

/// Judges the rows of a study.
pub(super) fn of(study: &Study) -> Verdict {
    let money = Currency::new(&study.currency);
    let priced: Vec<(&Row, f64)> = study.candidates[1..]
        .iter()
        .filter_map(|row| Some((row, row.discounted_net?.mean)))
        .collect();
    // Money that cold water saves counts for nothing.
    let mut sound: Vec<(&Row, f64)> =
        priced.iter().copied().filter(|(row, _)| row.comfortable).collect();
    sound.sort_by(|a, b| b.1.total_cmp(&a.1));
    let best = sound.first().filter(|(_, net)| *net > 0.0).map(|(row, _)| *row);
    let mut sentences = vec![finding(study, &money, best, priced.is_empty(), sound.is_empty())];
    match (best, sound.first()) {
        (Some(best), _) => {
            sentences.extend(doubts_of(study, &money, best, sound.get(1).copied()));
        }
        (None, Some((nearest, net))) => sentences.push(short_of(&money, nearest, *net, &sound)),
        (None, None) => {}
    }
    sentences.extend(dearer_alone(study, &money));
    sentences.extend(doubts(study));
    Verdict { recommended: best.map(|row| row.name.clone()), sentences }
}

fn finding(
    study: &Study,
    money: &Currency,
    best: Option<&Row>,
    no_price: bool,
    none_sound: bool,
) -> String {
    let years = study.terms.years;
    match best {
        Some(row) => {
            let net = row.discounted_net.unwrap_or_default();
            let payback = row.payback_years.mean.map_or_else(
                || format!("pays back only if energy grows dearer ({} at today's prices)", row.payback_years.told()),
                |years| format!("pays back in {years:.1} years"),
            );
            format!(
                "Recommended: {}. It costs {} and saves {} a year beyond the house as it stands under the same control; it {payback}, and over {years} years it is worth {} more than it costs in today's money.",
                row.name,
                money.whole(row.price.unwrap_or(0.0)),
                money.whole(row.by_hardware.mean),
                money.whole(net.mean),
            )
        }
        None if no_price && study.candidates.len() > 1 => {
            let most = study.candidates[1..]
                .iter()
                .max_by(|a, b| a.by_hardware.mean.total_cmp(&b.by_hardware.mean));
            most.map_or_else(String::new, |row| {
                if row.by_hardware.mean <= 0.0 {
                    return "No prices were given, and no candidate saves anything by its hardware, so it is worth paying nothing for.".to_owned();
                }
                let factor = optimiser::sizing::finance::uniform_present_value(
                    study.terms.discount_percent / 100.0,
                    study.terms.price_growth_percent / 100.0,
                    years,
                );
                format!(
                    "No prices were given, so nothing is recommended. {} saves most by hardware, {} a year; over {years} years that is worth paying {} for, fitted and taxed, if it lasts so long.",
                    row.name,
                    money.whole(row.by_hardware.mean),
                    money.whole(row.by_hardware.mean.max(0.0) * factor),
                )
            })
        }
        None if none_sound && study.candidates.len() > 1 => {
            "Nothing is recommended: no candidate kept the hot water within the 0.10 % of heat that may arrive cold, and money saved by cold water counts for nothing.".to_owned()
        }
        None if study.candidates.len() > 1 => format!(
            "Recommended: leave the hardware as it is. No candidate that keeps the water hot earns back its price within {years} years."
        ),
        None => "Only the house as it stands was looked at.".to_owned(),
    }
}

/// Where the house as it stands fares better under a simple control.
fn dearer_alone(study: &Study, money: &Currency) -> Option<String> {
    let saved = study.candidates.first()?.saving;
    let error = saved.sampling_error.filter(|error| *error > 0.0);
    (saved.mean < 0.0).then(|| {
        format!(
            "Without new hardware stowheat would have cost {}{} a year more than the simple control that is best in hindsight. That control is set knowing these very prices and draws: no setting of it chosen beforehand could have cost less.",
            money.whole(-saved.mean),
            error.map_or_else(String::new, |error| format!(" (± {})", money.whole(error))),
        )
    })
}

/// How far the options are from earning back their prices.
fn short_of(money: &Currency, nearest: &Row, net: f64, sound: &[(&Row, f64)]) -> String {
    let told = |row: &Row, net: f64| {
        let error = row.by_hardware.sampling_error.filter(|error| *error > 0.0);
        format!(
            "{}, which saves {}{} a year and comes out {} short",
            row.name,
            money.whole(row.by_hardware.mean),
            error.map_or_else(String::new, |error| format!(" (± {})", money.whole(error))),
            money.whole(-net)
        )
    };
    let saves = |row: &Row| row.by_hardware.mean;
    let most = sound.iter().max_by(|a, b| saves(a.0).total_cmp(&saves(b.0)));
    let other = most.filter(|(row, _)| row.name != nearest.name);
    format!(
        "Nearest to earning back its price is {}{}.",
        told(nearest, net),
        other.map_or_else(String::new, |(row, net)| format!(
            "; the most is saved by {}",
            told(row, *net)
        ))
    )
}

fn doubts_of(
    study: &Study,
    money: &Currency,
    best: &Row,
    second: Option<(&Row, f64)>,
) -> Vec<String> {
    let net = best.discounted_net.unwrap_or_default();
    let mut said = Vec::new();
    if study.worlds.len() > 1 {
        said.push(format!(
            "In the worst of the {} years it saves {} and comes to {} over the {} years; in the best, {} and {}.",
            study.worlds.len(),
            money.whole(best.by_hardware.low),
            money.whole(net.low),
            study.terms.years,
            money.whole(best.by_hardware.high),
            money.whole(net.high),
        ));
    }
    if let Some(error) = net.sampling_error.filter(|error| *error > net.mean) {
        said.push(format!(
            "Sampling alone may put what it comes to over the years off by {}, which is more than it comes to: live through more days before buying.",
            money.whole(error)
        ));
    }
    if let Some((row, other)) = second {
        let behind = net.mean - other;
        let error = apart(study, best, row);
        said.push(format!(
            "Next best is {}, {} behind{}; that is {} than the spread between the years.",
            row.name,
            money.whole(behind),
            error.filter(|error| *error > 0.0).map_or_else(String::new, |error| format!(
                " (± {} by sampling, on the same days)",
                money.whole(error)
            )),
            if behind < net.high - net.low { "less" } else { "more" },
        ));
    }
    said
}

/// How far sampling may have put the distance of two options' net present values off:
/// by their differences on the same days.
fn apart(study: &Study, one: &Row, other: &Row) -> Option<f64> {
    let mut squares = 0.0;
    for ((lived, one), other) in study.worlds.iter().zip(&one.worlds).zip(&other.worlds) {
        let pairs = one.by_hardware_in_parts.iter().zip(&other.by_hardware_in_parts);
        let in_parts: Vec<f64> = pairs.map(|(one, other)| one - other).collect();
        squares += lived.sampling_error(&in_parts)?.powi(2);
    }
    let factor = optimiser::sizing::finance::uniform_present_value(
        study.terms.discount_percent / 100.0,
        study.terms.price_growth_percent / 100.0,
        study.terms.years,
    );
    Some(factor * squares.sqrt() / study.worlds.len() as f64)
}

/// What could make every figure of the study wrong.
fn doubts(study: &Study) -> Vec<String> {
    let mut said = Vec::new();
    let partly = study.worlds.iter().filter(|world| !world.whole_year);
    let (short, sampled): (Vec<&Lived>, Vec<&Lived>) =
        partly.partition(|world| world.parts.len() == 1);
    let names = |worlds: &[&Lived]| {
        worlds.iter().map(|world| world.name.as_str()).collect::<Vec<_>>().join(" and ")
    };
    if !short.is_empty() {
        said.push(format!(
            "NOT A WHOLE YEAR: only part of one is covered by {}. Yearly figures are such a part scaled by its days, with its season in them; they are no forecast of a year.",
            names(&short)
        ));
    }
    if !sampled.is_empty() {
        let each: Vec<String> =
            sampled.iter().map(|w| format!("{}: {}", w.name, w.told())).collect();
        said.push(format!(
            "SAMPLED: of the year only some days were lived through ({}), each part standing for the days around it. 19 times in 20 a figure for the whole year is off by no more than what is given as sampling; a rare day that matters much may have been missed.",
            each.join("; ")
        ));
    }
    if study.worlds.len() == 1 {
        said.push(
            "One year only: no range over years can be given, and another year may be quite different.".to_owned(),
        );
    }
    let cold: Vec<&str> = study
        .candidates
        .iter()
        .filter(|row| !row.comfortable)
        .map(|row| row.name.as_str())
        .collect();
    if !cold.is_empty() {
        said.push(format!(
            "NOT AT EQUAL COMFORT: {} left more than 0.10 % of the hot water's heat unmet under stowheat in some year; read their savings as an upper limit.",
            cold.join("; ")
        ));
    }
    for world in &study.worlds {
        let missing = world.coverage.half_hours - world.coverage.prices;
        if missing > 0 {
            said.push(format!(
                "{}: {missing} of {} half-hours have no price; they are in no bill, and in the comparison at the mean price of their time of day.",
                world.name, world.coverage.half_hours
            ));
        }
    }
    said
}
