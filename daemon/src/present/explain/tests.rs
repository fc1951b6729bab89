use super::*;
use crate::present::{golden, sample};

fn parse(sample: &sample::Sample, text: &str) -> Result<Target, String> {
    Target::parse(&sample.plan(), text).map_err(|e| e.to_string())
}

#[test]
fn a_local_time_and_an_instant_find_the_same_slot() {
    let summer = sample::summer();
    let expected = Ok(Target { slot: 16, of: Subject::Heater(0) });
    for text in [
        "lower@13:00",
        "lower@13:29",
        "cylinder/lower@13:00",
        "lower@2023-07-02T13:00+01:00",
        "lower@2023-07-02T12:00:00Z",
    ] {
        assert_eq!(parse(&summer, text), expected, "{text}");
    }
}

#[test]
fn a_time_that_has_passed_today_is_meant_tomorrow() {
    let target = parse(&sample::summer(), "upper@03:30").expect("a slot");
    assert_eq!(target, Target { slot: 45, of: Subject::Heater(1) });
}

#[test]
fn errors_list_what_exists() {
    let summer = sample::summer();
    for (text, says) in [
        ("lower", "`lower` is not HEATER@TIME; write for example `lower@13:00`"),
        ("middle@13:00", "this site has `cylinder/lower`, `cylinder/upper`"),
        ("lower@noon", "`noon` is not a time"),
        ("lower@2023-07-04T13:00Z", "it runs from 2023-07-02T05:00:00+01:00 to 2023-07-03T05:00"),
    ] {
        let error = parse(&summer, text).expect_err("a mistake");
        assert!(error.contains(says), "{error}");
    }
    let error = parse(&sample::autumn(), "lower@13:00").expect_err("two of them");
    assert!(error.contains("write `main cylinder/lower`, `annexe/lower`"), "{error}");
}

#[test]
fn the_price_that_would_change_the_decision_is_the_worth_of_heat() {
    let summer = sample::summer();
    let plan = summer.plan();
    let target = parse(&summer, "lower@12:30").expect("a slot");
    let slot = &plan.slots()[target.slot];
    let text = one(&plan, target);
    let value = plan.currency().rate(slot.stores[0].value);
    assert!(
        text.contains(&format!("would switch off if electricity here cost more than {value}")),
        "{text}"
    );
    assert!(text.contains("fully on at 3 kW"), "{text}");
    assert!(text.contains("wanted by    13:15, draw of 20 L at 40 °C"), "{text}");
}

#[test]
fn a_rule_plan_admits_that_it_has_no_values() {
    let plain = sample::plain();
    let target = parse(&plain, "lower@13:00").expect("a slot");
    assert!(one(&plain.plan(), target).contains("not known: this is a rule plan"));
}

#[test]
fn explanations_are_as_they_were() {
    let samples = sample::all();
    for (name, sample) in ["summer", "autumn", "plain"].into_iter().zip(&samples) {
        golden::check(&format!("explain-{name}.txt"), &overview(&sample.plan()));
    }
}
