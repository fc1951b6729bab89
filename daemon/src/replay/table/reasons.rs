//! Why a replay came out as it did, as text.

use super::{Page, Replayed};
use crate::replay::Entry;

impl Page<'_> {
    /// Where stowheat was dearer than the best rule: that, and in what.
    pub(super) fn dearer(&self, out: &mut String) {
        let replayed = self.replayed;
        let Some(rule) = replayed.best_rule().filter(|rule| replayed.saving(rule) < 0.0) else {
            return;
        };
        let parts: Vec<String> = differences(replayed, rule)
            .into_iter()
            .map(|(name, minor)| {
                let more = if minor < 0.0 { "less" } else { "more" };
                format!("{} {more} {name}", self.money.amount(minor.abs()))
            })
            .collect();
        let (own, other) = (&replayed.stowheat().whole, &rule.whole);
        line!(
            out,
            "stowheat was DEARER than that rule by {}: {}. It put {:+.1} kWh into elements against the rule and lost {:+.1} kWh from the stores. The rule was set in hindsight for these very days; {}.",
            self.money.amount(-replayed.saving(rule)),
            parts.join(", "),
            own.house.heaters_kwh - other.house.heaters_kwh,
            own.lost_kwh - other.lost_kwh,
            if replayed.remainder.is_some() {
                "what stowheat could not know stands at the end"
            } else {
                "--remainder finds what stowheat lacked to know"
            }
        );
    }

    /// What each limit cost.
    pub(super) fn limit_costs(&self, out: &mut String) {
        match &self.replayed.limits {
            None => return,
            Some(Err(why)) => line!(out, "What a limit cost has no answer: {why}"),
            Some(Ok(values)) => {
                line!(
                    out,
                    "What a limit cost: one more of it would have saved somebody who knew everything, near this point only"
                );
                for value in values {
                    line!(
                        out,
                        "{:<24}{:<12}{:>10}   now {}",
                        value.capacity,
                        format!("per {}", value.unit),
                        self.money.amount(value.up),
                        value.size
                    );
                }
            }
        }
        line!(out);
    }

    /// What the distance to the bound is made of.
    pub(super) fn remainder(&self, out: &mut String) {
        let Some(known) = &self.replayed.remainder else { return };
        let replayed = self.replayed;
        let cost = replayed.stowheat().whole.cost(replayed.worth);
        let parts: Vec<String> = known
            .iter()
            .map(|one| {
                let unmet = if one.unmet_percent > 0.1 {
                    format!(" with {:.2} % unmet", one.unmet_percent)
                } else {
                    String::new()
                };
                let less = cost - one.cost;
                let sign = if less < 0.0 { "more" } else { "less" };
                format!("{}, {} {sign}{unmet}", one.what, self.money.amount(less.abs()))
            })
            .collect();
        line!(
            out,
            "What the remainder is made of: had stowheat known beforehand {}. These do not add up, and runs that differ in next to nothing differ by a few per cent on short periods.{}",
            parts.join("; "),
            self.beyond(known.last().map(|all| all.cost))
        );
        line!(out);
    }

    /// What is left to the bound where everything is known.
    fn beyond(&self, knowing: Option<f64>) -> String {
        let bound = self.replayed.bounds.as_ref().and_then(|bounds| bounds[0].as_ref().ok());
        match (knowing, bound) {
            (Some(cost), Some(bound)) => format!(
                " Knowing everything it is still {} above the bound, which is the search's, the horizon's and the bound's own: it may heat litre by litre, and both ways at the meter.",
                self.money.amount(cost - bound.cost)
            ),
            _ => String::new(),
        }
    }
}

/// Parts of the cost in which stowheat and a rule differ, the largest first [minor].
fn differences(replayed: &Replayed<'_>, rule: &Entry) -> Vec<(&'static str, f64)> {
    let (own, other) = (&replayed.stowheat().whole, &rule.whole);
    let worth = replayed.worth;
    let mut parts = vec![
        ("paid for import", own.import_cost - other.import_cost),
        ("earned by export", own.export_income - other.export_income),
        ("spent on fuel", own.fuel_cost() - other.fuel_cost()),
        ("wear", own.wear - other.wear),
        ("left over at the end", own.stored_gain(worth) - other.stored_gain(worth)),
        ("for half-hours without a price", own.unpriced_cost - other.unpriced_cost),
    ];
    parts.retain(|(_, minor)| minor.abs() > 0.5);
    parts.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
    parts
}
