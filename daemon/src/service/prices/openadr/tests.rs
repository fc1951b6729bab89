use proptest::prelude::*;

use super::*;

fn hour(hours: i64) -> Instant {
    // 2026-01-01T00:00:00Z.
    Instant::from_unix(1_767_225_600 + 3_600 * hours)
}

fn slot(start: i64, end: i64) -> Slot {
    Slot::new(hour(start), hour(end)).expect("a slot")
}

fn one(text: &str, until: i64) -> PriceList {
    let (mut lists, _) = read(text.as_bytes(), hour(0), hour(until)).expect("an event");
    assert_eq!(lists.len(), 1);
    lists.remove(0)
}

// The shape of the day-ahead price example in the OpenADR 3.1.0 user guide.
const DAY: &str = r#"{
    "objectType": "EVENT", "programID": "44", "eventName": "day ahead",
    "createdDateTime": "2025-12-31T13:00:00Z", "modificationDateTime": "2025-12-31T14:00:00Z",
    "payloadDescriptors": [{"objectType": "EVENT_PAYLOAD_DESCRIPTOR", "payloadType": "PRICE",
                            "units": "KWH", "currency": "GBP"}],
    "intervalPeriod": {"start": "2026-01-01T00:00:00Z", "duration": "PT1H"},
    "intervals": [
        {"id": 0, "payloads": [{"type": "PRICE", "values": [0.17]}]},
        {"id": 1, "payloads": [{"type": "PRICE", "values": [-0.02]}]},
        {"id": 2, "intervalPeriod": {"start": "2026-01-01T03:00:00+01:00", "duration": "PT2H"},
         "payloads": [{"type": "PRICE", "values": [0.30, 0.40]}]}
    ]}"#;

#[test]
fn intervals_follow_each_other_and_several_values_share_one() {
    let list = one(DAY, 48);
    assert_eq!(
        list.points(),
        [(slot(0, 1), 0.17), (slot(1, 2), -0.02), (slot(2, 3), 0.30), (slot(3, 4), 0.40)]
    );
    assert_eq!((list.unit.as_str(), list.issued_at), ("GBP/KWH", hour(-10)));
}

#[test]
fn the_duration_of_the_event_repeats_or_cuts_its_list() {
    let event = |duration: &str| {
        format!(
            r#"{{"duration":"{duration}","intervalPeriod":{{"start":"2026-01-01T00:00:00Z","duration":"PT12H"}},
            "intervals":[{{"payloads":[{{"type":"PRICE","values":[1]}}]}},
                         {{"payloads":[{{"type":"PRICE","values":[2]}}]}}]}}"#
        )
    };
    let values = |duration: &str, until| {
        let list = one(&event(duration), until);
        list.points().iter().map(|(slot, value)| (slot.end(), *value)).collect::<Vec<_>>()
    };
    let endless = values("P9999Y", 54);
    let expected = [(12, 1.0), (24, 2.0), (36, 1.0), (48, 2.0), (54, 1.0)];
    assert_eq!(endless, expected.map(|(end, value)| (hour(end), value)));
    assert_eq!(values("P2D", 1_000).len(), 4);
    assert_eq!(values("PT18H", 1_000), [(hour(12), 1.0), (hour(18), 2.0)]);
}

#[test]
fn the_year_one_means_now_and_endless_reaches_the_horizon() {
    let list = one(
        r#"{"intervals":[
            {"intervalPeriod":{"start":"0001-01-01T00:00:00Z","duration":"PT1H"},
             "payloads":[{"type":"GHG","values":[120]}]},
            {"intervalPeriod":{"start":"0001-01-01T00:00:00Z","duration":"P9999Y"},
             "payloads":[{"type":"GHG","values":[90]}]}]}"#,
        24,
    );
    assert_eq!(list.quantity, Quantity::Ghg);
    assert_eq!(list.points(), [(slot(0, 1), 120.0), (slot(1, 24), 90.0)]);
}

#[test]
fn an_event_carries_several_quantities_and_names_what_it_leaves_out() {
    let text = r#"[{"priority":3,"intervalPeriod":{"start":"2026-01-01T00:00:00Z","duration":"PT1H",
        "randomizeStart":"PT5M"},
        "intervals":[{"payloads":[{"type":"PRICE","values":[1]},{"type":"EXPORT_PRICE","values":[2]},
                                  {"type":"SIMPLE","values":[1]}]}]}]"#;
    let (lists, notes) = read(text.as_bytes(), hour(0), hour(24)).expect("events");
    let quantities: Vec<_> = lists.iter().map(|list| (list.quantity, list.priority)).collect();
    assert_eq!(quantities, [(Quantity::Price, 3), (Quantity::ExportPrice, 3)]);
    let notes: Vec<_> = notes.iter().map(ToString::to_string).collect();
    assert!(notes[0].contains("randomizeStart") && notes[1].contains("SIMPLE"), "{notes:?}");
}

#[test]
fn a_broken_event_names_the_place() {
    for (text, hint) in [
        ("{", "not JSON"),
        (r#"{"intervals":[{"payloads":[]}]}"#, "interval 0: has no start"),
        (r#"{"intervalPeriod":{"start":"2026-01-01"},"intervals":[{"payloads":[]}]}"#, "no time"),
        (
            r#"{"intervalPeriod":{"start":"2026-01-01T00:00:00Z"},"intervals":[{"payloads":[]}]}"#,
            "no duration",
        ),
        (
            r#"{"intervalPeriod":{"start":"2026-01-01T00:00:00Z","duration":"P1M"},"intervals":[{"payloads":[]}]}"#,
            "`P1M` is no duration",
        ),
        (
            r#"{"intervalPeriod":{"start":"2026-01-01T00:00:00Z","duration":"PT1H"},"intervals":[{"payloads":[{"type":"PRICE","values":["x"]}]}]}"#,
            "no number",
        ),
    ] {
        let error = read(text.as_bytes(), hour(0), hour(24)).expect_err(text).to_string();
        assert!(error.contains(hint), "{error}");
    }
}

proptest! {
    #[test]
    fn no_event_panics(
        start in "(2026-01-0[1-9]T0[0-9]:00:00Z|0001-01-01.{0,9}|.{0,12})",
        duration in "P([0-9]{1,6}[DWY])?(T[0-9]{1,9}[HMS])?",
        whole in "P[0-9]{1,5}[DWY]",
        values in prop::collection::vec(any::<f64>(), 0..9),
    ) {
        let event = serde_json::json!({
            "duration": whole,
            "intervalPeriod": {"start": start, "duration": duration},
            "intervals": [{"payloads": [{"type": "PRICE", "values": values}]}, {"payloads": []}],
        });
        let text = event.to_string();
        if let Ok((lists, _)) = read(text.as_bytes(), hour(0), hour(48)) {
            for (slot, value) in lists.iter().flat_map(PriceList::points) {
                prop_assert!(value.is_finite() && slot.end() <= hour(48));
            }
        }
    }
}
