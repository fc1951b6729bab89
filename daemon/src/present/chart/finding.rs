//! What the picture shows, in words.

use optimiser::schedule::SlotPlan;

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
        .map(|(name, kwh)| format!("{} from {}", text(kwh, 1), name))
        .collect();
    let mut sentences = vec![if parts.is_empty() {
        format!("From {} to {}, no heater runs.", time(from), time(until))
    } else {
        let (total, parts) = (text(heat.total(), 1), parts.join(", "));
        format!("From {} to {}, heaters use {total} kWh: {parts}.", time(from), time(until))
    }];
    let by_price = |a: &&SlotPlan, b: &&SlotPlan| {
        a.import_price.per_kwh().total_cmp(&b.import_price.per_kwh())
    };
    let cheapest = plan.slots().iter().min_by(by_price);
    let dearest = plan.slots().iter().rev().max_by(by_price);
    if let (Some(low), Some(high)) = (cheapest, dearest) {
        sentences.push(format!(
            "Electricity to import is cheapest at {} ({}) and dearest at {} ({}).",
            local::when(zone, low.slot.start(), from),
            money.rate(low.import_price),
            local::when(zone, high.slot.start(), from),
            money.rate(high.import_price),
        ));
    }
    for (index, store) in plan.problem.site.stores.iter().enumerate() {
        let tops = || plan.slots().iter().map(|slot| slot.stores[index].top.celsius());
        let (low, high) = (tops().fold(f64::MAX, f64::min), tops().fold(f64::MIN, f64::max));
        sentences.push(format!("The top of {} is between {low:.0} and {high:.0} °C.", store.name));
    }
    sentences.push(if plan.schedule.unmet_kwh >= 0.005 {
        let litres = text(plan.schedule.unmet_litres, 0);
        format!("{litres} L of hot water would arrive cold.")
    } else {
        "Every draw is served warm.".to_owned()
    });
    let total = money.amount(plan.schedule.cost.net());
    sentences
        .push(format!("The net cost is {total}, before the worth of what is left at the end."));
    sentences.join(" ")
}
