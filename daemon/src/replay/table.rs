//! The replay as text for a customer.

use std::fmt::Write as _;

use optimiser::replay::Ledger;

use super::{Entry, NO_BOUND, Replayed};
use crate::present::Currency;
use crate::present::digits::days;

macro_rules! line {
    ($out:expr) => { $out.push('\n') };
    ($out:expr, $($text:tt)*) => {{
        let text = format!($($text)*);
        $out.push_str(text.trim_end());
        $out.push('\n');
    }};
}

mod plant_room;
mod reasons;

/// Names of the bounds.
const BOUNDS: [&str; 2] = ["knowing everything", "the same, equal comfort"];

/// The replay as text.
pub fn render(replayed: &Replayed<'_>) -> String {
    let page = Page { replayed, money: Currency::new(&replayed.house.tariff.currency) };
    let mut out = String::new();
    page.head(&mut out);
    page.costs(&mut out);
    page.months(&mut out);
    page.energy(&mut out);
    page.plant_room(&mut out);
    page.comfort(&mut out);
    page.limits(&mut out);
    page.limit_costs(&mut out);
    page.remainder(&mut out);
    page.remarks(&mut out);
    out
}

struct Page<'a> {
    replayed: &'a Replayed<'a>,
    money: Currency,
}

impl Page<'_> {
    fn head(&self, out: &mut String) {
        let replayed = self.replayed;
        let (first, last) = replayed.period.days;
        line!(
            out,
            "{}: replay of {first} to {last}, {}",
            replayed.house.name,
            days(replayed.day_count())
        );
        line!(
            out,
            "Local time, {}. Money in {}.",
            replayed.house.time_zone.name(),
            self.money.code()
        );
        line!(out);
    }

    fn costs(&self, out: &mut String) {
        let burns = self.replayed.house.site.plant_room.boiler.is_some();
        let fuel = |text: &str| if burns { format!("{text:>10}") } else { String::new() };
        line!(
            out,
            "{:<16}{:>11}{:>11}{:>11}{}{:>9}{:>11}{:>11}{:>9}",
            "Cost",
            "import",
            "export",
            "bill",
            fuel("fuel"),
            "wear",
            "left over",
            "cost",
            "unmet"
        );
        for entry in &self.replayed.entries {
            let whole = &entry.whole;
            line!(
                out,
                "{:<16}{:>11}{:>11}{:>11}{}{:>9}{:>11}{:>11}{:>9}",
                entry.name,
                self.money.amount(whole.import_cost),
                self.money.amount(-whole.export_income),
                self.money.amount(whole.bill()),
                fuel(&self.money.amount(whole.fuel_cost())),
                self.money.amount(whole.wear),
                self.money.amount(-whole.stored_gain(self.replayed.worth)),
                self.money.amount(whole.cost(self.replayed.worth)),
                percent(entry),
            );
        }
        for (name, bound) in BOUNDS.iter().zip(self.replayed.bounds.iter().flatten()) {
            match bound {
                Ok(bound) => {
                    let cost = self.money.amount(bound.cost);
                    line!(out, "{name:<24}{cost:>55}{}", self.up_to(bound.open));
                }
                Err(why) => line!(out, "{name:<24} no answer: {why}"),
            }
        }
        if self.replayed.bounds.is_some() && !self.replayed.stage.has_bound() {
            line!(out, "Knowing everything is a measure here and no bound: {NO_BOUND}.");
        }
        line!(out);
        if let Some(rule) = self.replayed.best_rule() {
            line!(
                out,
                "Saved against the best rule ({}): {}",
                rule.name,
                self.money.amount(self.replayed.saving(rule))
            );
            if !rule.comfortable {
                line!(
                    out,
                    "No rule kept everything warm enough; this one came nearest, and is cheaper for what it left cold."
                );
            }
        }
        self.dearer(out);
        let own = self.replayed.stowheat();
        if !own.comfortable {
            line!(
                out,
                "NOT AT EQUAL COMFORT: {}; read the saving as an upper limit.",
                self.replayed.shortfall(own)
            );
        }
        if let Some(share) = self.replayed.captured() {
            line!(
                out,
                "That is {:.0} % of what knowing everything would have saved.",
                share * 100.0
            );
        }
        let standing = self.replayed.standing_charge();
        line!(out, "Standing charge, in no sum above: {}", self.money.amount(standing));
        line!(out);
    }

    /// How exactly a bound is known, where it is not the least cost itself.
    fn up_to(&self, open: f64) -> String {
        let open = Some(open).filter(|open| *open > 0.0);
        open.map_or_else(String::new, |open| format!("  or up to {} more", self.money.amount(open)))
    }

    fn months(&self, out: &mut String) {
        let entries = &self.replayed.entries;
        let Some(first) = entries.first() else { return };
        line!(out, "Bill by month, over the half-hours with a price");
        let mut head = format!("{:<10}", "");
        for entry in entries {
            let _ = write!(head, "{:>16}", entry.name);
        }
        line!(out, "{head}{:>12}", "priced");
        for (index, (date, ledger)) in first.months.iter().enumerate() {
            let mut row = format!("{:<10}", date.format("%Y-%m"));
            for entry in entries {
                let bill = entry.months.get(index).map_or(0.0, |(_, ledger)| ledger.bill());
                let _ = write!(row, "{:>16}", self.money.amount(bill));
            }
            line!(out, "{row}{:>12}", coverage(ledger));
        }
        line!(out);
    }

    fn energy(&self, out: &mut String) {
        line!(
            out,
            "{:<16}{:>9}{:>9}{:>9}{:>10}{:>9}{:>9}{:>9}{:>9}",
            "Energy, kWh",
            "grid",
            "PV",
            "battery",
            "house",
            "heaters",
            "charged",
            "export",
            "given up"
        );
        for entry in &self.replayed.entries {
            let house = &entry.whole.house;
            line!(
                out,
                "{:<16}{:>9.1}{:>9.1}{:>9.1}{:>10.1}{:>9.1}{:>9.1}{:>9.1}{:>9.1}",
                entry.name,
                house.import_kwh,
                house.pv_kwh,
                house.discharge_kwh,
                house.base_kwh,
                house.heaters_kwh,
                house.charge_kwh,
                house.export_kwh,
                house.curtailed_kwh,
            );
        }
        line!(out);
    }

    fn comfort(&self, out: &mut String) {
        line!(
            out,
            "{:<16}{:>9}{:>9}{:>11}{:>14}{:>11}{:>14}",
            "Hot water",
            "draws",
            "failed",
            "unmet",
            "litre-degrees",
            "holds",
            "longest gap"
        );
        for entry in &self.replayed.entries {
            let taps = &entry.whole.taps;
            let holds: usize = entry.run.holds.iter().map(Vec::len).sum();
            line!(
                out,
                "{:<16}{:>9}{:>9}{:>11}{:>14.0}{:>11}{:>14}",
                entry.name,
                taps.draws,
                taps.failed,
                percent(entry),
                taps.litre_degrees(),
                holds,
                longest_gap(self.replayed, entry)
                    .map_or_else(String::new, |days| format!("{days:.1} d")),
            );
        }
        line!(out);
    }

    fn limits(&self, out: &mut String) {
        line!(
            out,
            "{:<16}{:>9}{:>9}{:>14}{:>12}{:>14}{:>12}",
            "Hours at limit",
            "import",
            "PV lost",
            "battery full",
            "at reserve",
            "all elements",
            "peak"
        );
        for entry in &self.replayed.entries {
            let limits = &entry.whole.limits;
            line!(
                out,
                "{:<16}{:>9.1}{:>9.1}{:>14.1}{:>12.1}{:>14.1}{:>9.2} kW",
                entry.name,
                limits.import,
                limits.curtailed,
                limits.battery_full,
                limits.battery_empty,
                limits.elements,
                entry.whole.house.peak_import_kw,
            );
        }
        line!(out);
    }

    fn remarks(&self, out: &mut String) {
        let replayed = self.replayed;
        for entry in &replayed.entries[1..] {
            let settings = entry.settings.as_deref().unwrap_or_default();
            let cold =
                if entry.comfortable { "" } else { " (no setting kept everything warm enough)" };
            line!(out, "{:<16}{settings}{cold}", entry.name);
        }
        line!(out);
        let gaps = replayed.gaps();
        let share = |missing: usize| format!("{}/{}", gaps.slots - missing, gaps.slots);
        line!(
            out,
            "Half-hours with a value: prices {}, PV {}, load {}{}.",
            share(gaps.prices),
            share(gaps.pv),
            share(gaps.load),
            gaps.weather
                .map_or_else(String::new, |g| format!(", outdoor temperature {}", share(g)))
        );
        if gaps.prices > 0 {
            let whole = &replayed.stowheat().whole;
            line!(
                out,
                "The bill is partial: stowheat imported {:.1} kWh in half-hours without a price. The cost holds {} for them, at the mean price of their time of day.",
                whole.unpriced_import_kwh,
                self.money.amount(whole.unpriced_cost),
            );
        }
        if let (steps, Some(why)) = &replayed.by_rule {
            line!(out, "{steps} half-hours were decided by rule; the last time because {why}.");
        }
        for note in &replayed.period.notes {
            line!(out, "Note: {note}.");
        }
        line!(
            out,
            "Rules are tuned in hindsight on this very period; stowheat knew at each instant only what was known then."
        );
        line!(
            out,
            "Unit rates hold VAT as the tariff states it; wear is a reckoning and on no bill."
        );
    }
}

fn percent(entry: &Entry) -> String {
    format!("{:.2} %", entry.whole.taps.unmet_percent())
}

fn coverage(ledger: &Ledger) -> String {
    format!("{}/{}", ledger.slots - ledger.unpriced_slots, ledger.slots)
}

/// Longest time between two holds, the ends of the period included [days].
fn longest_gap(replayed: &Replayed<'_>, entry: &Entry) -> Option<f64> {
    let horizon = replayed.stage.horizon();
    let gap = |holds: &Vec<optimiser::time::Instant>| {
        let ends = holds.iter().copied().chain([horizon.end()]);
        let mut last = horizon.start();
        let mut longest = 0.0_f64;
        for end in ends {
            longest = longest.max(end.hours_since(last) / 24.0);
            last = end;
        }
        longest
    };
    entry.run.holds.iter().map(gap).reduce(f64::max)
}
