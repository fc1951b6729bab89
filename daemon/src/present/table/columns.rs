//! The columns of the table: those that this plan has a use for.

use std::fmt::Write as _;

use optimiser::schedule::SlotPlan;
use optimiser::units::Price;

use super::{Run, put};
use crate::present::digits::text;
use crate::present::totals::Flows;
use crate::present::{Plan, local};

/// A column of numbers.
struct Column {
    group: &'static str,
    name: &'static str,
    width: usize,
    cell: fn(&Run<'_>) -> String,
}

/// Columns in order.
pub(super) struct Columns {
    columns: Vec<Column>,
    price_unit: String,
}

/// Width of the local time, as `05:00–09:30` after a space.
const TIME: usize = 12;

impl Columns {
    pub(super) fn of(plan: &Plan<'_>) -> Self {
        let (pv, battery, exports) =
            (plan.has_pv(), plan.problem.site.battery.is_some(), plan.exports());
        let column = |group, name, width, cell| Column { group, name, width, cell };
        let all: [(bool, Column); 10] = [
            (true, column("price", "import", 12, import_price)),
            (exports, column("price", "export", 11, export_price)),
            (pv, column("from", "PV", 6, |run| kwh(Flows::of(run.slots).pv))),
            (battery, column("from", "battery", 8, |run| kwh(Flows::of(run.slots).discharge))),
            (true, column("from", "grid", 6, |run| kwh(Flows::of(run.slots).import))),
            (true, column("to", "house", 6, |run| kwh(Flows::of(run.slots).house))),
            (true, column("to", "heat", 6, |run| kwh(Flows::of(run.slots).heat))),
            (battery, column("to", "battery", 8, |run| kwh(Flows::of(run.slots).charge))),
            (exports, column("to", "export", 7, |run| kwh(Flows::of(run.slots).export))),
            (battery, column("battery", "holds", 6, |run| text(run.last().battery.kwh(), 1))),
        ];
        let mut columns: Vec<Column> =
            all.into_iter().filter_map(|(used, column)| used.then_some(column)).collect();
        let price_unit = plan.currency().rate_unit();
        for group in columns.chunk_by_mut(|a, b| a.group == b.group) {
            let width: usize = group.iter().map(|column| column.width).sum();
            let title = title(group[0].group, &price_unit).chars().count() + 1;
            group[0].width += title.saturating_sub(width);
        }
        Self { columns, price_unit }
    }

    /// Two lines of headings over a rule.
    pub(super) fn head(&self, out: &mut String) {
        let mut groups = " ".repeat(TIME);
        for group in self.columns.chunk_by(|a, b| a.group == b.group) {
            let width: usize = group.iter().map(|column| column.width).sum();
            let title = title(group[0].group, &self.price_unit);
            write!(groups, " │{title:>width$}").expect("a string takes everything");
        }
        put(out, format_args!("{groups}"));
        put(
            out,
            format_args!("{}", self.lined(format!("{:<TIME$}", " time"), |c| c.name.to_owned())),
        );
    }

    /// The numbers of a run.
    pub(super) fn row(&self, run: &Run<'_>, out: &mut String) {
        let zone = run.plan.zone();
        let time =
            format!(" {}–{}", local::clock(zone, run.start()), local::clock(zone, run.end()));
        put(out, format_args!("{}", self.lined(format!("{time:<TIME$}"), |c| (c.cell)(run))));
    }

    fn lined(&self, first: String, cell: impl Fn(&Column) -> String) -> String {
        let mut line = first;
        for group in self.columns.chunk_by(|a, b| a.group == b.group) {
            line += " │";
            for column in group {
                write!(line, "{:>width$}", cell(column), width = column.width)
                    .expect("a string takes everything");
            }
        }
        line
    }
}

fn title(group: &str, price_unit: &str) -> String {
    match group {
        "price" => price_unit.to_owned(),
        "battery" => "kWh".to_owned(),
        group => format!("{group}, kWh"),
    }
}

fn kwh(energy: f64) -> String {
    if energy < 0.005 { "·".to_owned() } else { text(energy, 2) }
}

fn import_price(run: &Run<'_>) -> String {
    let mark = if run.plan.is_forecast(run.slots[0].slot) { "~" } else { "" };
    format!("{mark}{}", prices(run, |slot| slot.import_price))
}

fn export_price(run: &Run<'_>) -> String {
    prices(run, |slot| slot.export_price)
}

fn prices(run: &Run<'_>, price: fn(&SlotPlan) -> Price) -> String {
    let money = run.plan.currency();
    let (low, high) = run.range(price);
    let (low, high) = (money.rate_number(low), money.rate_number(high));
    if low == high { low } else { format!("{low}…{high}") }
}
