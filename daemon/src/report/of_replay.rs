//! The page of one replay.

use super::markup::{Section, Table, escaped, page, paragraph};
use super::months::Past;
use super::options::Served;
use super::{chosen, coverage, currents, day, months, options, plant, sources, words};
use crate::house::House;
use crate::present::Currency;
use crate::present::digits::{self, text};
use crate::replay::document::Document;
use crate::size::case::Part;
use crate::size::{Case, Source};

/// The page of a replay of a house, made from these files.
pub fn of_replay(house: &House, case: &Case, files: &[Source]) -> String {
    let part = &case.parts[0];
    let replay = &part.replay;
    let money = Currency::new(&replay.currency);
    let period = format!("{} to {}", replay.first_day, replay.last_day);
    let mut sections = vec![
        Section::new("summary", "What was saved", summary(part, &money)),
        Section::new("plant", "The plant", plant::figure(house).html()),
        Section::new("controls", "stowheat beside simple controls", controls(replay, &money)),
    ];
    if let Some(body) = sources::section(replay, &money) {
        sections.push(Section::new("sources", "Sources, rooms and pool", body));
    }
    if let (Some(before), Some(after)) = (part.rule(), replay.controllers.first()) {
        let pasts = [Past { name: &period, parts: vec![(before, after)] }];
        let of = format!("stowheat against {}", before.settings.as_ref().unwrap_or(&before.name));
        let body = months::figure(&pasts, &of, &money).html();
        sections.push(Section::new("savings", "Savings", body));
    }
    let days = chosen(part.typical_days.iter().map(|day| (period.as_str(), day)));
    let pictures: Vec<String> = days
        .iter()
        .enumerate()
        .map(|(index, (past, of))| day::figure(&format!("day{index}"), past, of, &money).html())
        .collect();
    sections.push(Section::new("days", "Single days", pictures.concat()));
    let limits = (case.fuse_amperes, case.limit_amperes);
    let currents = currents::figure(&[(&period, &part.stowheat)], limits).html();
    sections.push(Section::new("currents", "Currents", currents));
    let body = comfort(part) + &limit_costs(replay, &money);
    sections.push(Section::new("comfort", "Comfort and limits", body));
    let assumed = words::assumptions(&replay.notes, None);
    sections.push(Section::new("assumptions", "What was assumed", assumed));
    let covered =
        coverage(std::iter::once((replay.site.as_str(), period.clone(), &replay.coverage)));
    let files: Vec<&Source> = files.iter().collect();
    let origin = words::origin(&covered, &files, &case.program);
    sections.push(Section::new("origin", "Where the figures come from", origin));
    sections.push(Section::new("safety", "Safety", words::safety()));
    if let Some((past, of)) = days.last() {
        let body = words::hand(past, of, &day::table(of, &money), &money);
        sections.push(Section::new("hand", "Check one day by hand", body));
    }
    let under = format!("Replayed from {period}. Money in {}.", replay.currency);
    page(&format!("{}: a replay", replay.site), &under, &sections)
}

fn summary(part: &Part, money: &Currency) -> String {
    let replay = &part.replay;
    let days = digits::days(part.stowheat.days as i64);
    let best = replay.controllers.iter().find(|own| Some(&own.name) == replay.best_rule.as_ref());
    let finding = replay.saving.map_or_else(
        || "There was no simple control to compare with.".to_owned(),
        |saving| {
            let rule = best.map_or("", |rule| rule.settings.as_ref().unwrap_or(&rule.name));
            format!(
                "Over {days} stowheat cost {} {} than the best simple control in hindsight ({rule}).",
                money.amount(saving.abs()),
                if saving < 0.0 { "more" } else { "less" }
            )
        },
    );
    let mut doubts = Vec::new();
    if !(364..=367).contains(&part.stowheat.days) {
        doubts.push(format!(
            "NOT A WHOLE YEAR: only {days}, with the season in the figures; nothing here is scaled to a year."
        ));
    }
    doubts.push(
        "One period only: no range over years can be given, and another year may be quite different.".to_owned(),
    );
    if replay.controllers.first().is_some_and(|own| !own.comfortable) {
        let colder = match replay.controllers.first().and_then(|own| own.whole.plant_room.as_ref())
        {
            Some(_) => "hot water, rooms or pool colder than is allowed",
            None => "more than 0.10 % of the hot water's heat unmet",
        };
        doubts.push(format!("NOT AT EQUAL COMFORT: stowheat left {colder}; no saving is claimed."));
    }
    if best.is_some_and(|own| !own.comfortable) {
        doubts.push(
            "No simple control kept everything warm enough; the one named came nearest, and is cheaper for what it left cold.".to_owned(),
        );
    }
    let missing = replay.coverage.half_hours - replay.coverage.prices;
    if missing > 0 {
        doubts.push(format!(
            "{missing} of {} half-hours have no price; they are in no bill, and in the comparison at the mean price of their time of day.",
            replay.coverage.half_hours
        ));
    }
    if let Some(captured) = replay.captured {
        doubts.push(format!(
            "Of what knowing everything would have saved over that control, at equal comfort, stowheat saved {} %.",
            text(100.0 * captured, 0)
        ));
    }
    format!(
        "<div class=\"finding\"><p>{}</p></div>\n<div class=\"doubt\"><h3>How far this can be wrong</h3>\n{}</div>\n",
        escaped(&finding),
        super::markup::list(&doubts)
    )
}

fn controls(replay: &Document, money: &Currency) -> String {
    let mut table = Table::new(
        "The same days under each control",
        &["Control", "settings", "bill", "of it export", "cost", "heat unmet", "failed draws"],
    )
    .words(&[1]);
    for own in &replay.controllers {
        let whole = &own.whole;
        table.row(vec![
            own.name.clone(),
            own.settings.clone().unwrap_or_else(|| "none to set".to_owned()),
            money.amount(whole.bill),
            money.amount(whole.export_income),
            money.amount(whole.cost),
            format!("{} %", text(whole.unmet_percent, 2)),
            whole.failed_draws.to_string(),
        ]);
        if Some(&own.name) == replay.best_rule.as_ref() {
            table.mark();
        }
    }
    let bounds = [
        ("knowing everything", &replay.bound),
        ("knowing everything, water kept ready", &replay.bound_at_equal_comfort),
    ];
    for (name, bound) in bounds {
        let Some(bound) = bound else { continue };
        let blank = String::new;
        table.row(vec![
            name.to_owned(),
            if !bound.certain {
                "by the linear program, not certain to be the least".to_owned()
            } else if bound.open > 0.0 {
                let open = money.amount(bound.open);
                format!("no control can do better; the best comes to up to {open} more")
            } else {
                "no control can do better".to_owned()
            },
            blank(),
            blank(),
            money.amount(bound.cost),
            format!("{} kWh", text(bound.unmet_kwh, 2)),
            blank(),
        ]);
    }
    table.html()
        + &paragraph(
            "Cost is the bill and what was paid for fuel, with an estimate for half-hours without a price, wear of the battery, and stored heat and charge valued alike at both ends. The marked control is the cheapest that kept the water hot; each is set as it would have been best in hindsight.",
        )
}

fn comfort(part: &Part) -> String {
    let unmet = |index: usize| {
        part.replay.controllers.get(index).map_or(0.0, |own| own.whole.unmet_percent)
    };
    let mut runs = vec![Served {
        name: "stowheat".to_owned(),
        unmet_percent: unmet(0),
        detail: &part.stowheat,
    }];
    let best = part.replay.best_rule.as_ref();
    let index = part.replay.controllers.iter().position(|own| Some(&own.name) == best);
    if let (Some(detail), Some(index), Some(name)) = (&part.best_rule, index, best) {
        runs.push(Served { name: name.clone(), unmet_percent: unmet(index), detail });
    }
    options::comfort("How the taps were served, and days on which limits bound", &runs)
}

/// What each limit cost.
fn limit_costs(replay: &Document, money: &Currency) -> String {
    let Some(values) = &replay.limits else { return String::new() };
    let mut table = Table::new(
        "What one more of each limit would have saved somebody who knew everything, near this point only",
        &["Limit", "now", "one more", "saved"],
    )
    .words(&[1, 2]);
    for value in values {
        table.row(vec![
            value.capacity.clone(),
            value.size.clone(),
            value.unit.clone(),
            money.amount(value.up),
        ]);
    }
    table.html()
}
