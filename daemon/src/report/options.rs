//! What the options cost and bring, and how the taps were served, as tables.

use super::markup::{Table, paragraph};
use crate::present::Currency;
use crate::present::digits::text;
use crate::size::Study;
use crate::size::case::Detail;
use crate::size::study::{Row, Spread};

/// A column of the options: its head and what it says of each.
type Column<'a> = (&'a str, &'a dyn Fn(&Row) -> String);

/// The options over all periods, without columns that would say the same of each.
pub(super) fn money(study: &Study, money: &Currency) -> String {
    let years = study.terms.years;
    let (flat, net) = (format!("{years} years, flat"), format!("{years} years, discounted"));
    let over = |spread: Option<Spread>| {
        spread.map_or_else(|| "no price".to_owned(), |spread| money.whole(spread.mean))
    };
    let price = |price: Option<f64>| {
        price.map_or_else(|| "not given".to_owned(), |price| money.whole(price))
    };
    let several = study.worlds.len() > 1;
    let columns: [(bool, Column<'_>); 11] = [
        (true, ("price", &|row| price(row.price))),
        (has_upkeep(study), ("upkeep", &|row| money.whole(row.upkeep))),
        (true, ("saved in all", &|row| money.whole(row.saving.mean))),
        (true, ("by hardware", &|row| money.whole(row.by_hardware.mean))),
        (several, ("worst to best year", &|row| range(study, row.by_hardware, money))),
        (is_sampled(study), ("sampling", &|row| sampled(row.by_hardware, money))),
        (
            true,
            ("by hardware, simple control", &|row| money.whole(row.by_hardware_under_rule.mean)),
        ),
        (true, ("payback", &|row| row.payback_years.told())),
        (true, (&flat, &|row| over(row.flat_net))),
        (true, (&net, &|row| over(row.discounted_net))),
        (true, ("a kWh of heat", &|row| money.small(row.cost_of_heat.mean))),
    ];
    let columns: Vec<Column<'_>> =
        columns.into_iter().filter_map(|(tells, column)| tells.then_some(column)).collect();
    let mut table =
        Table::new("Options over all years; money a year unless it says otherwise", &["Option"]);
    for (head, _) in &columns {
        table.head(head);
    }
    for row in &study.candidates {
        let name = format!("{}{}", row.name, if row.comfortable { "" } else { " (cold water)" });
        let cells = columns.iter().map(|(_, tell)| tell(row));
        table.row(std::iter::once(name).chain(cells).collect());
        if study.verdict.recommended.as_ref() == Some(&row.name) {
            table.mark();
        }
    }
    let terms = &study.terms;
    let words = format!(
        "“Saved in all” is counted against {}. “By hardware” is the part that the hardware makes: against the house as it stands under the same control. “Simple control” is the same comparison where both houses are run by the timer or rule that is best in hindsight. Payback is the price over a year's saving by hardware{}; “not in 15 years” is said where all of it is worn out in 15 years and has not earned its price by then, “never” where it saves {}. Flat totals are at today's energy prices; discounted ones grow energy prices by {} % a year beyond inflation and discount by {} % a year. What wears out is bought again, and what still has life at the end counts for the share that is left.{} The last column is the levelised cost of a kWh of heat at the tap, price of the option included.",
        study.counterfactual,
        if has_upkeep(study) { " less upkeep" } else { "" },
        if has_upkeep(study) { "no more than its upkeep" } else { "nothing" },
        text(terms.price_growth_percent, 1),
        text(terms.discount_percent, 1),
        if is_sampled(study) { SAMPLING } else { "" }
    );
    paragraph(&words) + &table.html()
}

/// Range over the years, where there are several.
pub(super) fn range(study: &Study, spread: Spread, money: &Currency) -> String {
    if study.worlds.len() < 2 {
        return "one year".to_owned();
    }
    format!("{}\u{a0}to\u{a0}{}", money.whole(spread.low), money.whole(spread.high))
}

/// What the column of sampling says.
const SAMPLING: &str = " “Sampling” is how far the mean of the hardware's saving may be off, 19 times in 20, because only some days of the years were lived through: from how the parts of a year differ from their neighbours.";

fn has_upkeep(study: &Study) -> bool {
    study.candidates.iter().any(|row| row.upkeep.abs() > 0.0)
}

/// Whether only a part of some year was lived through.
fn is_sampled(study: &Study) -> bool {
    !study.worlds.iter().all(|world| world.whole_year)
}

/// How far sampling may have put a mean off.
fn sampled(spread: Spread, money: &Currency) -> String {
    let error = spread.sampling_error;
    error.map_or_else(|| "not known".to_owned(), |error| format!("± {}", money.whole(error)))
}

/// The options in each period.
pub(super) fn by_world(study: &Study, money: &Currency) -> String {
    let mut out = String::new();
    for (index, world) in study.worlds.iter().enumerate() {
        let caption = format!(
            "{}: {} to {}, {}",
            world.name,
            world.first_day,
            world.last_day,
            if world.whole_year {
                "a whole year".to_owned()
            } else {
                format!("{}, which stand for the year", world.told())
            }
        );
        let mut table = Table::new(
            &caption,
            &[
                "Option",
                "bill",
                "of it export",
                "cost",
                "saved in all",
                "by hardware",
                "foretold, knowing everything",
                "at the worth of the last step",
                "best simple control",
                "knowing everything",
                "the same, water kept ready",
            ],
        );
        for row in &study.candidates {
            let own = &row.worlds[index];
            let known = |value: Option<f64>| {
                value.map_or_else(|| "not found".to_owned(), |value| money.whole(value))
            };
            table.row(vec![
                row.name.clone(),
                money.whole(own.bill),
                money.whole(own.export_income),
                money.whole(own.cost),
                money.whole(own.saving),
                money.whole(own.by_hardware),
                known(own.foretold.map(|own| own.whole)),
                known(own.foretold.map(|own| own.at_its_last_step)),
                known(own.best_rule_cost),
                known(own.bound),
                known(own.bound_at_equal_comfort),
            ]);
        }
        out += &table.html();
    }
    out + &paragraph(
        "Cost is the bill with an estimate for half-hours without a price, wear of the battery, and stored heat and charge valued alike at both ends; savings compare costs. The last three columns are costs of the same house: under the simple control that is best in hindsight; for somebody who knew every price and draw beforehand, whom nobody can beat; and for the same who must keep water ready for draws nobody knows. These begin and end as stowheat did in that house, so they are to be read against its cost, not from option to option. “Foretold” is what the hardware would save somebody who knew every price and draw beforehand: the multipliers of all steps from the house as it stands to the option, added up; stowheat knows less, so its own saving by hardware may lie on either side. “At the worth of the last step” is what that would be if every step were worth as much as the last one, at the option's own size: where it is far below, a smaller size would do nearly as well; where it is below nothing, the last of it is too much.",
    )
}

/// A run's comfort and limits.
pub(super) struct Served<'a> {
    pub(super) name: String,
    pub(super) unmet_percent: f64,
    pub(super) detail: &'a Detail,
}

/// Comfort, limits and peaks of some runs.
pub(super) fn comfort(caption: &str, runs: &[Served<'_>]) -> String {
    let mut table = Table::new(
        caption,
        &[
            "Run",
            "heat unmet",
            "failed draws",
            "days short",
            "first short day",
            "worst week",
            "peak A",
            "peak day",
            "days at: fuse",
            "PV given up",
            "battery full",
            "at reserve",
            "all elements",
        ],
    );
    for run in runs {
        let detail = run.detail;
        let at = &detail.days_at;
        let none = || "none".to_owned();
        table.row(vec![
            run.name.clone(),
            format!("{} %", text(run.unmet_percent, 2)),
            detail.failed_draws.to_string(),
            format!("{} of {}", detail.days_short, detail.days),
            detail.first_short_day.clone().unwrap_or_else(none),
            detail.worst_week_from.as_ref().map_or_else(none, |from| {
                format!("{} kWh from {from}", text(detail.worst_week_unmet_kwh, 2))
            }),
            text(detail.currents_amperes.first().copied().unwrap_or(0.0), 1),
            format!("{} kWh", text(detail.peak_day_import_kwh, 1)),
            at.import.to_string(),
            at.export.to_string(),
            at.battery_full.to_string(),
            at.battery_empty.to_string(),
            at.elements.to_string(),
        ]);
    }
    table.html()
}
