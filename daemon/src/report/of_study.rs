//! The page of a study.

use super::markup::{Section, escaped, list, page, paragraph, put};
use super::months::Past;
use super::options::Served;
use super::{
    chosen, coverage, currents, day, margins, measured, months, options, plant, savings, words,
};
use crate::house::House;
use crate::present::Currency;
use crate::present::digits::text;
use crate::size::case::Detail;
use crate::size::study::{Lived, LivedPart, Row, Spread};
use crate::size::{Case, Source, Study, verdict};

/// The page of a study. `houses` and `cases` are those of its candidates, in
/// the same order; pictures are of the recommended one, or else of the house as
/// it stands.
pub fn of_study(study: &Study, houses: &[&House], cases: &[Vec<Case>]) -> String {
    let money = Currency::new(&study.currency);
    let shown = verdict::shown(study);
    let own: Vec<(&str, &Case)> =
        study.worlds.iter().map(|world| world.name.as_str()).zip(&cases[shown]).collect();
    let name = &study.candidates[shown].name;
    let mut sections = vec![
        Section::new("summary", "What to buy", summary(study, &study.candidates[shown], &money)),
        Section::new("plant", "The plant", plant::figure(houses[shown]).html()),
        Section::new("options", "The options", options::money(study, &money)),
        Section::new(
            "margins",
            "What a little more is worth",
            margins::figure(study, &money).html(),
        ),
        Section::new("savings", "Savings", saved(study, cases, shown, &money)),
        Section::new("periods", "Year by year", options::by_world(study, &money)),
    ];
    if let Some(calculated) = &study.as_calculated {
        let body = measured::section(study, calculated, &money);
        sections.push(Section::new("measured", "Calculated and measured", body));
    }
    let shown_days = chosen(own.iter().flat_map(|(past, case)| {
        case.parts.iter().flat_map(|part| &part.typical_days).map(move |day| (*past, day))
    }));
    let pictures: Vec<String> = shown_days
        .iter()
        .enumerate()
        .map(|(index, (past, of))| day::figure(&format!("day{index}"), past, of, &money).html())
        .collect();
    let which = paragraph(&format!("All of this is for: {name}, run by stowheat."));
    sections.push(Section::new("days", "Single days", format!("{which}{}", pictures.concat())));
    let lived = study.candidates[shown].worlds.iter().map(|own| &own.detail);
    let flowed: Vec<(&str, &Detail)> =
        study.worlds.iter().map(|world| world.name.as_str()).zip(lived).collect();
    let limits = cases[shown].first().map_or((0.0, 0.0), |c| (c.fuse_amperes, c.limit_amperes));
    sections.push(Section::new(
        "currents",
        "Currents",
        format!("{which}{}", currents::figure(&flowed, limits).html()),
    ));
    sections.push(Section::new("comfort", "Comfort and limits", comfort(study)));
    sections.push(Section::new(
        "assumptions",
        "What was assumed",
        words::assumptions(&study.notes, Some(terms(study))),
    ));
    sections.push(Section::new("origin", "Where the figures come from", origin(study)));
    sections.push(Section::new("safety", "Safety", words::safety()));
    if let Some((past, of)) = shown_days.last() {
        let table = day::table(of, &money);
        let body = words::hand(past, of, &table, &money);
        sections.push(Section::new("hand", "Check one day by hand", body));
    }
    let periods: Vec<String> =
        study.worlds.iter().map(|world| format!("{} ({})", world.name, world.told())).collect();
    let under = format!(
        "{} candidate houses replayed over {}. Money in {}.",
        study.candidates.len(),
        periods.join(", "),
        study.currency
    );
    page(&format!("{}: what hardware is worth", study.site), &under, &sections)
}

fn summary(study: &Study, row: &Row, money: &Currency) -> String {
    let mut said = study.verdict.sentences.iter();
    let finding = said.next().map_or("", String::as_str);
    let mut out = format!("<div class=\"finding\"><p>{}</p></div>\n", escaped(finding));
    let net = row.discounted_net;
    let control = (
        "Saved a year in all",
        money.whole(row.saving.mean),
        format!(
            "{}; against the house as it stands under its best simple control",
            doubtful(study, row.saving, money)
        ),
    );
    let nothing = ("To buy", "nothing".to_owned(), row.name.clone());
    let bought = [
        (
            "Price, fitted, with tax",
            row.price.map_or_else(|| "not given".to_owned(), |price| money.whole(price)),
            row.name.clone(),
        ),
        (
            "Saved a year by the hardware",
            money.whole(row.by_hardware.mean),
            doubtful(study, row.by_hardware, money),
        ),
        control.clone(),
        (
            "Net present value",
            net.map_or_else(|| "not known".to_owned(), |net| money.whole(net.mean)),
            net.map_or_else(String::new, |net| doubtful(study, net, money)),
        ),
    ];
    let facts = if row.changes.is_empty() { vec![nothing, control] } else { bought.to_vec() };
    out += "<dl class=\"facts\">\n";
    for (name, value, small) in facts {
        let [name, value, small] = [name, &value, &small].map(escaped);
        let text =
            format_args!("<div><dt>{name}</dt><dd>{value}<small>{small}</small></dd></div>\n");
        put(&mut out, text);
    }
    out += "</dl>\n<div class=\"doubt\"><h3>How far this can be wrong</h3>\n";
    let doubts: Vec<String> = said.cloned().collect();
    out + &list(&doubts) + "</div>\n"
}

/// Range over the years, and how far sampling may have put the mean off.
fn doubtful(study: &Study, spread: Spread, money: &Currency) -> String {
    let range = options::range(study, spread, money);
    match spread.sampling_error {
        Some(error) if error > 0.0 => format!("{range}; ± {} by sampling", money.whole(error)),
        _ => range,
    }
}

fn saved(study: &Study, cases: &[Vec<Case>], shown: usize, money: &Currency) -> String {
    let pasts: Vec<Past<'_>> = study
        .worlds
        .iter()
        .enumerate()
        .filter_map(|(world, lived)| {
            let parts = cases[0][world].parts.iter().zip(&cases[shown][world].parts);
            let parts = parts.map(|(before, after)| Some((before.rule()?, after.own())));
            Some(Past { name: &lived.name, parts: parts.collect::<Option<_>>()? })
        })
        .collect();
    let months = months::figure(&pasts, &study.candidates[shown].name, money).html();
    let against = paragraph(&format!("Months are counted against {}.", study.counterfactual));
    savings::figure(study, money).html() + &against + &months
}

fn comfort(study: &Study) -> String {
    let mut out = paragraph(
        "Heat unmet is the share of the heat asked for at the taps that did not arrive; up to 0.10 % counts as comfortable. A draw failed where more than a twentieth of its heat did not arrive. Days at a limit are days on which it bound at some time; they are counts over the period, not over a year.",
    );
    for (index, world) in study.worlds.iter().enumerate() {
        let runs: Vec<Served<'_>> = study
            .candidates
            .iter()
            .map(|row| Served {
                name: row.name.clone(),
                unmet_percent: row.worlds[index].unmet_percent,
                detail: &row.worlds[index].detail,
            })
            .collect();
        out += &options::comfort(&format!("{}: under stowheat", world.name), &runs);
    }
    let peaks = study.candidates.iter().map(|row| {
        let peaks = row.worlds.iter().map(|own| own.detail.peak_day_import_kwh);
        let (low, high) =
            peaks.fold((f64::INFINITY, 0.0), |(l, h), d| (f64::min(l, d), f64::max(h, d)));
        format!("{}: {} to {} kWh", row.name, text(low, 1), text(high, 1))
    });
    let peaks: Vec<String> = peaks.collect();
    out + &paragraph("Most import on one day, from the mildest to the hardest year:")
        + &list(&peaks)
}

fn terms(study: &Study) -> String {
    format!(
        "Money over {} years: discount {} % a year, energy prices growing by {} % a year, both beyond general inflation; a year's saving is the mean over the years that were lived through.",
        study.terms.years,
        text(study.terms.discount_percent, 1),
        text(study.terms.price_growth_percent, 1)
    )
}

fn origin(study: &Study) -> String {
    let covered = coverage(study.worlds.iter().map(|world| {
        let period = format!("{} to {}, {}", world.first_day, world.last_day, world.told());
        (world.name.as_str(), period, &world.coverage)
    }));
    let sampled: Vec<String> = study.worlds.iter().filter_map(sample).collect();
    let exchanged: Vec<String> = study
        .worlds
        .iter()
        .filter_map(|world| Some(format!("{}: {}", world.name, world.exchange.as_ref()?)))
        .collect();
    let files: Vec<&Source> =
        study.files.iter().chain(study.worlds.iter().flat_map(|world| &world.files)).collect();
    let mut out = words::origin(&covered, &files, &study.program);
    if !sampled.is_empty() {
        out += &paragraph("Parts of years that were lived through, and the days each stands for:");
        out += &list(&sampled);
    }
    if !exchanged.is_empty() {
        out += &list(&exchanged);
    }
    out
}

/// The parts of a year and what they stand for, where it is not whole.
fn sample(world: &Lived) -> Option<String> {
    let told = |part: &LivedPart| {
        let days = if part.first_day == part.last_day {
            part.first_day.clone()
        } else {
            format!("{} to {}", part.first_day, part.last_day)
        };
        format!("{days} for {}", text(part.stands_for_days, 0))
    };
    let parts: Vec<String> = world.parts.iter().map(told).collect();
    (!world.whole_year).then(|| format!("{}: {}", world.name, parts.join("; ")))
}
