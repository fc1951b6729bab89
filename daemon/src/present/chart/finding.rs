//! What the picture shows, in words.

use crate::present::digits::text;
use crate::present::totals::Sources;
use crate::present::{Plan, local};

/// A few sentences: window, heat by source, prices, temperatures, comfort.
pub(super) fn of(plan: &Plan<'_>) -> String {
    let zone = plan.zone();
    let money = plan.currency();
    let (from, until) = plan.window();
    let time = |at| format!("{} {}", local::short_day(zone, at), local::clear_clock(zone, at));
    let heat = Sources::of(plan.slots().iter().flat_map(|slot| &slot.heaters));
    let parts: Vec<String> = heat
        .named()
        .into_iter()
        .filter(|(_, kwh)| *kwh >= 0.05)
        .map(|(name, kwh)| {
            format!("{} from {}", text(kwh, 1), if name == "PV" { "PV" } else { name })
        })
        .collect();
    let mut words = format!("From {} to {}, ", time(from), time(until));
    if parts.is_empty() {
        words += "no heater runs. ";
    } else {
        words += &format!("heaters use {} kWh: {}. ", text(heat.total(), 1), parts.join(", "));
    }
    let by_price = |a: &&optimiser::schedule::SlotPlan, b: &&optimiser::schedule::SlotPlan| {
        a.import_price.per_kwh().total_cmp(&b.import_price.per_kwh())
    };
    let cheapest = plan.slots().iter().min_by(by_price);
    let dearest = plan.slots().iter().rev().max_by(by_price);
    if let (Some(low), Some(high)) = (cheapest, dearest) {
        words += &format!(
            "Electricity to import is cheapest at {} ({}) and dearest at {} ({}). ",
            local::when(zone, low.slot.start(), from),
            money.rate(low.import_price),
            local::when(zone, high.slot.start(), from),
            money.rate(high.import_price),
        );
    }
    for (index, store) in plan.problem.site.stores.iter().enumerate() {
        let tops = || plan.slots().iter().map(|slot| slot.stores[index].top.celsius());
        let (low, high) = (tops().fold(f64::MAX, f64::min), tops().fold(f64::MIN, f64::max));
        words += &format!("The top of {} is between {low:.0} and {high:.0} °C. ", store.name);
    }
    words += &if plan.schedule.unmet_kwh >= 0.005 {
        format!("{} L of hot water would arrive cold. ", text(plan.schedule.unmet_litres, 0))
    } else {
        "Every draw is served warm. ".to_owned()
    };
    let total = money.amount(plan.schedule.cost.net());
    words + &format!("Electricity costs {total} net.")
}
