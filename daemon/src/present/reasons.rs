//! Reasons in plain words.

use optimiser::problem::HeaterId;
use optimiser::schedule::{HeaterPlan, Reason, SlotPlan};
use optimiser::time::Instant;

use super::{Plan, local};

/// A few words for a table row that begins at an instant.
pub(super) fn short(plan: &Plan<'_>, why: Reason, seen_from: Instant) -> String {
    let when = |instant| local::when(plan.zone(), instant, seen_from);
    match why {
        Reason::NotNeeded => "not needed now".to_owned(),
        Reason::CheaperAt(then) => format!("cheaper at {}", when(then)),
        Reason::Full => "as hot as it may be".to_owned(),
        Reason::PaidToUse => "paid to use electricity".to_owned(),
        Reason::FreeSun => "sun that would be wasted".to_owned(),
        Reason::Sun => "sun, worth more as heat than sold".to_owned(),
        Reason::Battery => "the battery has it to spare".to_owned(),
        Reason::CheapestBefore(then) => format!("cheapest before {}", when(then)),
        Reason::NeededBy(then) => format!("last chance before {}", when(then)),
        Reason::Hygiene(due) => format!("pasteurisation due {}", when(due)),
        Reason::ByHand(until) => format!("by hand until {}", when(until)),
        Reason::Stock => "worth more after this plan".to_owned(),
        Reason::Comfort => "keeps it warm at the least cost".to_owned(),
        Reason::Sunlight => "the sun heats the collectors".to_owned(),
        Reason::BackUp => "nothing else can keep what is promised".to_owned(),
        Reason::Guard => "stands guard on its own thermostat".to_owned(),
    }
}

/// A full sentence for one element in one slot, with the prices that decide.
pub(super) fn full(plan: &Plan<'_>, slot: &SlotPlan, heater: &HeaterPlan) -> String {
    let money = plan.currency();
    let when = |instant| local::when(plan.zone(), instant, slot.slot.start());
    let import = money.rate(slot.import_price);
    let export = money.rate(slot.export_price);
    match heater.why {
        Reason::NotNeeded => {
            "Off: no heat is needed now that cannot be made as cheaply at another time.".to_owned()
        }
        Reason::CheaperAt(then) => {
            let now = money.rate(plan.price_at_house(slot));
            match plan.slots().iter().find(|other| other.slot.contains(then)) {
                Some(other) => format!(
                    "Off: electricity costs {now} here and {} at {}.",
                    money.rate(plan.price_at_house(other)),
                    when(then)
                ),
                None => format!("Off: electricity costs {now} here and less at {}.", when(then)),
            }
        }
        Reason::Full => format!(
            "Off: the water it reaches is at {:.0} °C, as hot as it may be.",
            plan.store(heater.id).reach(plan.element(heater.id)).celsius()
        ),
        Reason::PaidToUse => format!("On: import costs {import}, so using it earns money."),
        Reason::FreeSun => {
            "On: with sun that could neither be sold nor stored elsewhere.".to_owned()
        }
        Reason::Sun => match worth(plan, slot, heater.id) {
            Some(worth) => {
                format!("On: sun would earn {export} by export, and as heat it is worth {worth}.")
            }
            None => format!("On: sun would earn only {export} by export."),
        },
        Reason::Battery => {
            format!("On: the battery has energy to spare, while import costs {import}.")
        }
        Reason::CheapestBefore(then) => format!(
            "On: electricity at {} is the cheapest before hot water is wanted at {}.",
            money.rate(plan.price_at_house(slot)),
            when(then)
        ),
        Reason::NeededBy(then) => format!(
            "On: the last chance to have hot water ready at {}, although electricity costs {}.",
            when(then),
            money.rate(plan.price_at_house(slot))
        ),
        Reason::Hygiene(due) => {
            format!("On: for the pasteurisation that must be complete by {}.", when(due))
        }
        Reason::ByHand(until) => {
            let state = if heater.minutes > 0.0 { "On" } else { "Off" };
            format!("{state}: asked for by hand until {}.", when(until))
        }
        Reason::Stock => format!(
            "On: electricity costs {}, and the heat is worth more after the end of this plan.",
            money.rate(plan.price_at_house(slot))
        ),
        Reason::Comfort => format!(
            "On: it keeps rooms or pool as warm as they are wanted, with electricity at {}.",
            money.rate(plan.price_at_house(slot))
        ),
        Reason::Sunlight => {
            "On: the sun heats the collectors, which costs next to nothing.".to_owned()
        }
        Reason::BackUp => {
            "On: as back-up, because nothing else can keep what is promised.".to_owned()
        }
        Reason::Guard => {
            "On: its own thermostat keeps water ready for draws that nobody foresees, if need be."
                .to_owned()
        }
    }
}

fn worth(plan: &Plan<'_>, slot: &SlotPlan, id: HeaterId) -> Option<String> {
    plan.has_values().then(|| plan.currency().rate(slot.stores[id.store].value))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::present::sample;

    #[test]
    fn every_reason_is_one_sentence_with_local_times() {
        let summer = sample::summer();
        let plan = summer.plan();
        let slot = &plan.slots()[0];
        let then = slot.slot.start() + 3_600;
        for (why, on) in [
            (Reason::NotNeeded, false),
            (Reason::CheaperAt(then), false),
            (Reason::Full, false),
            (Reason::PaidToUse, true),
            (Reason::FreeSun, true),
            (Reason::Sun, true),
            (Reason::Battery, true),
            (Reason::CheapestBefore(then), true),
            (Reason::NeededBy(then), true),
            (Reason::Hygiene(then), true),
            (Reason::Stock, true),
            (Reason::Comfort, true),
            (Reason::Sunlight, true),
            (Reason::BackUp, true),
            (Reason::Guard, true),
            (Reason::ByHand(then), slot.heaters[0].minutes > 0.0),
        ] {
            let text = full(&plan, slot, &HeaterPlan { why, ..slot.heaters[0].clone() });
            assert!(text.starts_with(if on { "On: " } else { "Off: " }), "{text}");
            assert!(text.ends_with('.') && !text.contains(". "), "{text}");
            let short = short(&plan, why, slot.slot.start());
            assert!(short.chars().count() <= 40, "{short}");
            if matches!(
                why,
                Reason::CheaperAt(_)
                    | Reason::CheapestBefore(_)
                    | Reason::NeededBy(_)
                    | Reason::Hygiene(_)
                    | Reason::ByHand(_)
            ) {
                assert!(text.contains("06:00") && short.contains("06:00"), "{text} {short}");
            }
        }
    }

    #[test]
    fn a_cheaper_slot_is_named_with_both_prices() {
        let summer = sample::summer();
        let plan = summer.plan();
        let slot = &plan.slots()[0];
        let then = plan.slots()[4].slot.start();
        let heater = HeaterPlan { why: Reason::CheaperAt(then), ..slot.heaters[0].clone() };
        let money = plan.currency();
        assert_eq!(
            full(&plan, slot, &heater),
            format!(
                "Off: electricity costs {} here and {} at 07:00.",
                money.rate(slot.electricity_value),
                money.rate(plan.slots()[4].electricity_value)
            )
        );
    }
}
