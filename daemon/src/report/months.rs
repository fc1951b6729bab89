//! What was saved month by month.

use super::markup::{Figure, Table};
use super::plot::{Plot, WIDTH, area, hatch, legend, with_zero};
use crate::present::Currency;
use crate::present::scale::Scale;
use crate::present::svg::{Anchor, Svg};
use crate::replay::document::Controller;

/// One past, month by month under two controls.
pub(super) struct Past<'a> {
    pub(super) name: &'a str,
    /// In each part of it, what savings are counted against, and what saved.
    pub(super) parts: Vec<(&'a Controller, &'a Controller)>,
}

struct Month {
    name: String,
    past: usize,
    days: f64,
    saved: f64,
}

impl Month {
    /// Saved on a day in the mean, which says the same of a month known in part.
    fn a_day(&self) -> f64 {
        self.saved / self.days.max(1.0)
    }
}

/// Savings of each month of some pasts.
pub(super) fn figure(pasts: &[Past<'_>], of: &str, money: &Currency) -> Figure {
    let months = months(pasts);
    let title = format!("Saved a day, month by month: {of}");
    let by = |a: &&Month, b: &&Month| a.a_day().total_cmp(&b.a_day());
    let finding = months.iter().max_by(by).zip(months.iter().min_by(by)).map_or_else(
        || "No month was looked at.".to_owned(),
        |(most, least)| {
            let told = |month: &Month| {
                format!("{} a day ({}, {})", money.small(month.a_day()), month.name, pasts[month.past].name)
            };
            if months.len() == 1 {
                return format!("{} saved {}.", most.name, money.amount(most.saved));
            }
            format!(
                "The best month saved {}, the worst {}. Each bar is the mean over the days of the month that were lived through; the table says how many.",
                told(most),
                told(least)
            )
        },
    );
    let names: Vec<(String, String)> =
        pasts.iter().enumerate().map(|(w, past)| (hatch(w), past.name.to_owned())).collect();
    let top = 24.0 + 18.0 * (names.len() as f64 / 2.0).ceil();
    let mut svg = Svg::figure("months", (WIDTH, top + 210.0), &title, &finding);
    svg.open("aria-hidden=\"true\"");
    legend(&mut svg, &names, (0.0, 2.0));
    let (low, high) = with_zero(months.iter().map(Month::a_day));
    let scale = Scale::around(low, high, 5.0, (0.05, 0.12));
    let plot = Plot { left: 56.0, right: WIDTH - 6.0, top, bottom: top + 180.0, scale };
    plot.rules(&mut svg, |value| money.small(value));
    let step = (plot.right - plot.left) / months.len().max(1) as f64;
    for (index, month) in months.iter().enumerate() {
        let middle = plot.left + step * (index as f64 + 0.5);
        let width = (0.7 * step).min(46.0);
        let (from, to) = (plot.y(month.a_day().max(0.0)), plot.y(month.a_day().min(0.0)));
        let corner = (middle - width / 2.0, from);
        area(&mut svg, &hatch(month.past), corner, width, (to - from).max(0.8));
        if step > 40.0 {
            let label = money.small(month.a_day());
            svg.text("tick", Anchor::Middle, (middle, from - 4.0), &label);
        }
        if step > 26.0 || index % 2 == 0 {
            let name = if step > 60.0 { &month.name[..] } else { &month.name[..3] };
            svg.text("tick", Anchor::Middle, (middle, plot.bottom + 16.0), name);
        }
    }
    svg.close();
    let mut numbers =
        Table::new(&title, &["Month", "period", "days", "saved", "a day"]).words(&[1]);
    for month in &months {
        numbers.row(vec![
            month.name.clone(),
            pasts[month.past].name.to_owned(),
            crate::present::digits::text(month.days, 0),
            money.amount(month.saved),
            money.small(month.a_day()),
        ]);
    }
    Figure { title, finding, svg: svg.finish(), numbers }
}

fn months(pasts: &[Past<'_>]) -> Vec<Month> {
    let mut all: Vec<Month> = Vec::new();
    for (past, own) in pasts.iter().enumerate() {
        for (before, after) in &own.parts {
            for (before, after) in before.months.iter().zip(&after.months) {
                let date = after.first_day.parse::<chrono::NaiveDate>();
                let name = date
                    .map_or_else(|_| after.first_day.clone(), |d| d.format("%b %Y").to_string());
                let days = after.sums.half_hours as f64 / 48.0;
                let saved = before.sums.cost - after.sums.cost;
                match all.iter_mut().find(|month| month.past == past && month.name == name) {
                    Some(month) => {
                        month.days += days;
                        month.saved += saved;
                    }
                    None => all.push(Month { name, past, days, saved }),
                }
            }
        }
    }
    all
}
