//! A study as text.

use std::fmt::Write as _;

use super::study::{NoPayback, Outcome, Payback, Row, Spread, Study};
use crate::present::{Currency, digits};

macro_rules! line {
    ($out:expr) => { $out.push('\n') };
    ($out:expr, $($text:tt)*) => {{
        let text = format!($($text)*);
        $out.push_str(text.trim_end());
        $out.push('\n');
    }};
}

/// The study as text.
pub fn render(study: &Study) -> String {
    let page = Page {
        study,
        money: Currency::new(&study.currency),
        width: study
            .candidates
            .iter()
            .map(|row| row.name.chars().count())
            .max()
            .unwrap_or(0)
            .max(12),
    };
    let mut out = String::new();
    page.head(&mut out);
    page.margins(&mut out);
    page.money(&mut out);
    page.worlds(&mut out);
    page.comfort(&mut out);
    page.remarks(&mut out);
    out
}

struct Page<'a> {
    study: &'a Study,
    money: Currency,
    width: usize,
}

impl Page<'_> {
    fn head(&self, out: &mut String) {
        let study = self.study;
        line!(out, "{}: a study of {} houses", study.site, study.candidates.len());
        for world in &study.worlds {
            line!(
                out,
                "  {}: {} to {}, {}, prices for {}/{} half-hours{}",
                world.name,
                world.first_day,
                world.last_day,
                world.told(),
                world.coverage.prices,
                world.coverage.half_hours,
                match (world.whole_year, world.parts.len()) {
                    (true, _) => "",
                    (false, 1) => "; NOT A WHOLE YEAR, scaled by days",
                    (false, _) => "; a sample of the year",
                }
            );
        }
        line!(
            out,
            "Money in {}, a year at a time. Saved against {}:",
            self.money.code(),
            study.counterfactual
        );
        for world in &study.worlds {
            line!(out, "  in {}: {}", world.name, world.control);
        }
        line!(out);
    }

    fn margins(&self, out: &mut String) {
        let study = self.study;
        line!(
            out,
            "What a little more would save a year, near the present sizes only, knowing everything"
        );
        let names = study.worlds.iter().fold(String::new(), |mut text, world| {
            let _ = write!(text, "{:>26}", shortened(&world.name, 24));
            text
        });
        line!(out, "{:<22}{:>10}{:>14}{names}", "Capacity", "a", "now");
        for values in study.marginal_values() {
            let Some(first) = values.iter().flatten().next() else { continue };
            let cells = values.iter().fold(String::new(), |mut text, v| {
                let cell = v.map_or_else(|| "none".to_owned(), |v| self.both(v.up, v.down));
                let _ = write!(text, "{cell:>26}");
                text
            });
            line!(out, "{:<22}{:>10}{:>14}{cells}", first.capacity, first.unit, first.size);
        }
        for world in &study.worlds {
            if let Some(why) = &world.margins.failed {
                line!(out, "{}: no marginal values: {why}", world.name);
            }
        }
        line!(out);
    }

    /// One value, or both sides of a kink.
    fn both(&self, up: f64, down: f64) -> String {
        let apart = (up - down).abs() > 0.05 * up.abs().max(down.abs()).max(20.0);
        if apart {
            format!("{} up, {} down", self.money.amount(up), self.money.amount(down))
        } else {
            self.money.amount(0.5 * (up + down))
        }
    }

    fn money(&self, out: &mut String) {
        let study = self.study;
        let years = study.terms.years;
        line!(
            out,
            "{:<width$}{:>10}{:>12}{:>12}{:>18}{:>11}{:>12}{:>13}{:>12}{:>12}{:>12}",
            "Candidate",
            "price",
            "saved",
            "hardware",
            "from to",
            "sampling",
            "by rule",
            "payback",
            format!("{years} y flat"),
            "NPV",
            "per kWh",
            width = self.width + 2
        );
        for row in &study.candidates {
            line!(
                out,
                "{:<width$}{:>10}{:>12}{:>12}{:>18}{:>11}{:>12}{:>13}{:>12}{:>12}{:>12}",
                format!("{}{}", row.name, if row.comfortable { "" } else { " !" }),
                row.price.map_or_else(|| "?".to_owned(), |p| self.money.whole(p)),
                self.money.whole(row.saving.mean),
                self.money.whole(row.by_hardware.mean),
                self.range(row.by_hardware),
                self.sampled(row.by_hardware),
                self.money.whole(row.by_hardware_under_rule.mean),
                payback(row),
                row.flat_net.map_or_else(|| "?".to_owned(), |n| self.money.whole(n.mean)),
                row.discounted_net.map_or_else(|| "?".to_owned(), |n| self.money.whole(n.mean)),
                self.money.small(row.cost_of_heat.mean),
                width = self.width + 2
            );
        }
        line!(
            out,
            "Saved: against the above. Hardware: its part, against the house as it stands under the same control; from to: the worst and the best year; sampling: how far the mean may be off, 19 times in 20, because only some days were lived through; by rule: the same where both are run by their best simple control. Payback: not in 15 y, where all of it is worn out before. Price growth {} %, discount {} % a year. Per kWh: levelised cost of heat at the tap.{}",
            study.terms.price_growth_percent,
            study.terms.discount_percent,
            if study.candidates.iter().all(|row| row.comfortable) {
                ""
            } else {
                " ! Not at equal comfort."
            }
        );
        line!(out);
    }

    fn worlds(&self, out: &mut String) {
        for (index, world) in self.study.worlds.iter().enumerate() {
            line!(
                out,
                "{:<width$}{:>11}{:>11}{:>11}{:>12}{:>12}{:>12}{:>13}{:>13}",
                shortened(&world.name, self.width),
                "bill",
                "export",
                "saved",
                "hardware",
                "foretold",
                "last step",
                "know. all",
                "equal comf.",
                width = self.width + 2
            );
            for row in &self.study.candidates {
                let own = &row.worlds[index];
                let bound = |of: Option<f64>| {
                    of.map_or_else(|| "none".to_owned(), |cost| self.money.amount(cost))
                };
                line!(
                    out,
                    "{:<width$}{:>11}{:>11}{:>11}{:>12}{:>12}{:>12}{:>13}{:>13}",
                    row.name,
                    self.money.amount(own.bill),
                    self.money.amount(own.export_income),
                    self.money.amount(own.saving),
                    self.money.amount(own.by_hardware),
                    bound(own.foretold.map(|own| own.whole)),
                    bound(own.foretold.map(|own| own.at_its_last_step)),
                    bound(own.bound),
                    bound(own.bound_at_equal_comfort),
                    width = self.width + 2
                );
            }
            line!(out);
        }
        line!(
            out,
            "Foretold: what the hardware would save somebody who knew everything, the multipliers of the whole way to it together; last step: the same if every step were worth as much as the last one. Far below, a smaller size does nearly as well."
        );
        line!(out);
    }

    fn comfort(&self, out: &mut String) {
        for (index, world) in self.study.worlds.iter().enumerate() {
            line!(
                out,
                "{:<width$}{:>8}{:>8}{:>8}{:>13}{:>22}{:>9}{:>8}{:>8}{:>8}{:>9}{:>8}",
                shortened(&world.name, self.width),
                "unmet",
                "failed",
                "short",
                "first short",
                "worst week",
                "peak A",
                "fuse",
                "PV lost",
                "full",
                "reserve",
                "all on",
                width = self.width + 2
            );
            for row in &self.study.candidates {
                line!(out, "{}", self.comfort_row(row, &row.worlds[index]));
            }
            line!(out);
        }
        line!(
            out,
            "Short: days with a draw of which more than a twentieth of the heat did not arrive. Fuse to all on: days on which that limit bound at some time."
        );
        line!(out);
    }

    fn comfort_row(&self, row: &Row, own: &Outcome) -> String {
        let detail = &own.detail;
        let week = detail.worst_week_from.as_ref().map_or_else(
            || "none".to_owned(),
            |from| format!("{from} {:.2} kWh", detail.worst_week_unmet_kwh),
        );
        format!(
            "{:<width$}{:>6.2} %{:>8}{:>8}{:>13}{:>22}{:>9}{:>8}{:>8}{:>8}{:>9}{:>8}",
            row.name,
            own.unmet_percent,
            detail.failed_draws,
            format!("{} d", detail.days_short),
            detail.first_short_day.as_deref().unwrap_or("none"),
            week,
            digits::text(detail.currents_amperes.first().copied().unwrap_or(0.0), 1),
            detail.days_at.import,
            detail.days_at.export,
            detail.days_at.battery_full,
            detail.days_at.battery_empty,
            detail.days_at.elements,
            width = self.width + 2
        )
    }

    fn remarks(&self, out: &mut String) {
        for sentence in &self.study.verdict.sentences {
            line!(out, "{sentence}");
        }
        for note in &self.study.notes {
            line!(out, "- {note}");
        }
    }

    fn sampled(&self, spread: Spread) -> String {
        match spread.sampling_error {
            None => "not known".to_owned(),
            Some(error) if error > 0.0 => format!("± {}", self.money.whole(error)),
            Some(_) => "none".to_owned(),
        }
    }

    fn range(&self, spread: Spread) -> String {
        if self.study.worlds.len() < 2 {
            return "one year".to_owned();
        }
        format!("{} {}", self.money.whole(spread.low), self.money.whole(spread.high))
    }
}

fn payback(row: &Row) -> String {
    let Payback { mean, why_none, lasts_years, .. } = row.payback_years;
    match (mean, why_none) {
        (Some(years), _) => format!("{years:.1} y"),
        (None, Some(NoPayback::NothingToBuy)) => "-".to_owned(),
        (None, Some(NoPayback::SavesNothing)) => "never".to_owned(),
        (None, Some(NoPayback::WornOut)) => {
            format!("not in {} y", digits::text(lasts_years.unwrap_or(0.0), 0))
        }
        (None, _) => "?".to_owned(),
    }
}

/// At most so many characters.
fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most.saturating_sub(1)).chain(['…']).collect()
}
