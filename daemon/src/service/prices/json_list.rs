//! Price lists in JSON of any shape, by pointers (RFC 6901).

use chrono::{DateTime, NaiveDateTime, TimeZone};
use chrono_tz::Tz;
use optimiser::time::{Instant, Slot};
use serde_json::Value;

use super::list::{PriceError, PriceList, Quantity};

/// Where in a document the list is, and what its entries mean.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListMap {
    /// What the values are.
    pub quantity: Quantity,
    /// Their unit, such as `EUR/MWh`; never guessed.
    pub unit: String,
    /// To the array; empty for the document itself.
    pub list: String,
    /// From an entry to its start. Entries without a time are refused: the place
    /// in a list is no clock.
    pub start: String,
    /// From an entry to its end. Without it each entry lasts as long as the
    /// shortest distance between two starts.
    pub end: Option<String>,
    /// From an entry to its value.
    pub value: String,
    /// To the time of issue; without it, the time of arrival.
    pub issued: Option<String>,
    /// Zone of times that carry none; without it such times are refused.
    pub zone: Option<Tz>,
}

impl ListMap {
    /// Reads a document, and says what was left out.
    ///
    /// # Errors
    /// If there is no list, or no entry of it can be used.
    pub fn read(
        &self,
        payload: &[u8],
        now: Instant,
    ) -> Result<(PriceList, Vec<PriceError>), PriceError> {
        let document: Value = serde_json::from_slice(payload)
            .map_err(|error| PriceError::new("the document", format!("is not JSON: {error}")))?;
        let place = format!("`{}`", self.list);
        let entries = document
            .pointer(&self.list)
            .and_then(Value::as_array)
            .ok_or_else(|| PriceError::new(&place, "there is no array there; mend the pointer"))?;
        let issued_at = self
            .issued
            .as_ref()
            .and_then(|pointer| document.pointer(pointer))
            .and_then(|value| self.time(value, None).ok())
            .unwrap_or(now);
        let mut faults = Vec::new();
        let mut found: Vec<(Instant, Option<Instant>, f64)> = Vec::new();
        for (i, entry) in entries.iter().enumerate() {
            match self.entry(entry, found.last().map(|(start, ..)| *start)) {
                Ok(point) => found.push(point),
                Err(rule) => faults.push(PriceError::new(format!("{place}, entry {i}"), rule)),
            }
        }
        let shortest = shortest_distance(&found);
        let points: Vec<_> = found
            .into_iter()
            .filter_map(|(start, end, value)| {
                let end = end.or_else(|| shortest.map(|seconds| start + seconds))?;
                Some((Slot::new(start, end)?, value))
            })
            .collect();
        if points.is_empty() {
            let first = faults.first().map_or("it is empty".to_owned(), ToString::to_string);
            return Err(PriceError::new(place, format!("no entry can be used; {first}")));
        }
        let (list, more) =
            PriceList::new(self.quantity, self.unit.clone(), issued_at, u32::MAX, points);
        faults.extend(more);
        Ok((list, faults))
    }

    fn entry(
        &self,
        entry: &Value,
        before: Option<Instant>,
    ) -> Result<(Instant, Option<Instant>, f64), String> {
        let at = |pointer: &String| {
            entry.pointer(pointer).ok_or_else(|| format!("has nothing at `{pointer}`"))
        };
        let start = self.time(at(&self.start)?, before)?;
        let end = match &self.end {
            Some(pointer) => Some(self.time(at(pointer)?, Some(start))?),
            None => None,
        };
        let value = at(&self.value)?;
        let number = match value {
            Value::Number(number) => number.as_f64(),
            Value::String(text) => text.trim().parse().ok(),
            _ => None,
        };
        let number = number
            .filter(|number: &f64| number.is_finite())
            .ok_or_else(|| format!("`{value}` is no number; the slot stays a gap"))?;
        Ok((start, end, number))
    }

    /// A time with offset, seconds or milliseconds since 1970, or a local time. A
    /// local time that happens twice is the first one after the entry before.
    fn time(&self, value: &Value, before: Option<Instant>) -> Result<Instant, String> {
        if let Some(number) = value.as_i64() {
            let seconds = if number.abs() > 100_000_000_000 { number / 1_000 } else { number };
            return Ok(Instant::from_unix(seconds.clamp(-1_000_000_000_000, 1_000_000_000_000)));
        }
        let text = value.as_str().ok_or_else(|| format!("`{value}` is no time"))?;
        if let Ok(time) = DateTime::parse_from_rfc3339(text) {
            return Ok(Instant::from_unix(time.timestamp()));
        }
        let formats =
            ["%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"];
        let naive = formats
            .iter()
            .find_map(|format| NaiveDateTime::parse_from_str(text, format).ok())
            .ok_or_else(|| format!("`{text}` is no time; write it like 2026-01-31T17:00:00Z"))?;
        let zone = self.zone.ok_or_else(|| {
            format!("`{text}` has no offset; give the list a time zone, or send offsets")
        })?;
        let local = zone.from_local_datetime(&naive);
        let instants = [local.earliest(), local.latest()].map(|time| time.map(|t| t.timestamp()));
        let later = instants
            .iter()
            .flatten()
            .find(|seconds| before.is_none_or(|before| **seconds > before.unix()));
        let seconds = later.or_else(|| instants.iter().flatten().next());
        seconds
            .map(|seconds| Instant::from_unix(*seconds))
            .ok_or_else(|| format!("`{text}` does not exist in {zone}: the clocks went forward"))
    }
}

fn shortest_distance(found: &[(Instant, Option<Instant>, f64)]) -> Option<i64> {
    let mut starts: Vec<_> = found.iter().map(|(start, ..)| *start).collect();
    starts.sort_unstable();
    starts.windows(2).map(|pair| pair[1] - pair[0]).filter(|seconds| *seconds > 0).min()
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn map(zone: Option<Tz>) -> ListMap {
        ListMap {
            quantity: Quantity::Price,
            unit: "EUR/MWh".into(),
            list: "/data/rows".into(),
            start: "/from".into(),
            end: None,
            value: "/price".into(),
            issued: Some("/data/issued".into()),
            zone,
        }
    }

    fn read(map: &ListMap, rows: &Value) -> Result<(PriceList, Vec<PriceError>), PriceError> {
        let document = json!({"data": {"issued": "2026-01-01T12:00:00Z", "rows": rows}});
        map.read(document.to_string().as_bytes(), Instant::from_unix(0))
    }

    #[test]
    fn a_missing_entry_is_a_gap_and_the_slot_length_comes_from_the_data() {
        let rows = json!([
            {"from": "2026-01-02T00:00:00Z", "price": 80},
            {"from": "2026-01-02T00:15:00Z", "price": "-4.5"},
            {"from": "2026-01-02T00:30:00Z", "price": null},
            {"from": "2026-01-02T01:00:00+00:00", "price": 7}
        ]);
        let (list, faults) = read(&map(None), &rows).expect("a list");
        let starts: Vec<_> =
            list.points().iter().map(|(slot, _)| slot.start().to_string()).collect();
        assert_eq!(
            starts,
            ["2026-01-02T00:00:00Z", "2026-01-02T00:15:00Z", "2026-01-02T01:00:00Z"]
        );
        assert!(list.points().iter().all(|(slot, _)| slot.seconds() == 900));
        assert_eq!(list.issued_at.to_string(), "2026-01-01T12:00:00Z");
        assert!(faults[0].to_string().contains("entry 2"), "{faults:?}");
    }

    // Failure case 16. C34: London has 50 half-hours on 2026-10-25 and 46 on
    // 2026-03-29.
    #[test]
    fn local_times_are_read_on_both_change_days() {
        let day = |date: &str, hours: &[&str]| {
            let rows: Vec<Value> = hours
                .iter()
                .flat_map(|hour| [format!("{date} {hour}:00"), format!("{date} {hour}:30")])
                .map(|from| json!({"from": from, "price": 1}))
                .collect();
            read(&map(Some(chrono_tz::Europe::London)), &json!(rows)).expect("a list")
        };
        let (autumn, faults) = day("2026-10-25", &["00", "01"]);
        assert_eq!((autumn.points().len(), faults.len()), (4, 0));
        let rows: Vec<Value> = ["00:00", "00:30", "01:00", "01:30", "01:00", "01:30", "02:00"]
            .map(|time| json!({"from": format!("2026-10-25 {time}"), "price": time.len()}))
            .to_vec();
        let (autumn, faults) =
            read(&map(Some(chrono_tz::Europe::London)), &json!(rows)).expect("a list");
        assert_eq!(faults, []);
        let steps: Vec<_> =
            autumn.points().windows(2).map(|pair| pair[1].0.start() - pair[0].0.start()).collect();
        assert_eq!(steps, [1_800; 6], "both 01:00 and 01:30 are kept");
        let (spring, faults) = day("2026-03-29", &["00", "01", "02"]);
        assert_eq!((spring.points().len(), faults.len()), (4, 2));
        assert!(faults[0].to_string().contains("does not exist"), "{faults:?}");
    }

    #[test]
    fn a_time_without_offset_or_no_time_at_all_is_refused() {
        let error = read(&map(None), &json!([{"from": "2026-10-25 01:00", "price": 1}]));
        assert!(error.expect_err("no zone").to_string().contains("has no offset"));
        let error = read(&map(None), &json!([1, 2, 3])).expect_err("positions");
        assert!(error.to_string().contains("has nothing at `/from`"), "{error}");
    }
}
