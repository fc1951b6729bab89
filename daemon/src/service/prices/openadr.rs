//! Events of OpenADR 3.1: the subset that carries prices, greenhouse gas and
//! capacity limits. Source: OpenADR 3.1.0, Definition and user guide, with its
//! `OpenAPI` file (openadr.org).

use chrono::{DateTime, Datelike};
use optimiser::time::{Instant, Slot};
use serde::Deserialize;
use serde_json::Value;

use super::duration::{self, Duration};
use super::list::{PriceError, PriceList, Quantity};

/// Most points made from one event, however often its list repeats.
const MAX_POINTS: usize = 20_000;

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Event {
    #[serde(default, rename = "eventName")]
    name: Option<String>,
    #[serde(default)]
    created_date_time: Option<String>,
    #[serde(default)]
    modification_date_time: Option<String>,
    #[serde(default)]
    duration: Option<String>,
    #[serde(default)]
    priority: Option<u32>,
    #[serde(default)]
    payload_descriptors: Option<Vec<Descriptor>>,
    #[serde(default)]
    interval_period: Option<Period>,
    intervals: Vec<Interval>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Descriptor {
    payload_type: String,
    #[serde(default)]
    units: Option<String>,
    #[serde(default)]
    currency: Option<String>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Period {
    #[serde(default)]
    start: Option<String>,
    #[serde(default)]
    duration: Option<String>,
    #[serde(default)]
    randomize_start: Option<String>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Interval {
    #[serde(default)]
    interval_period: Option<Period>,
    payloads: Vec<Payload>,
}

#[derive(Deserialize)]
struct Payload {
    #[serde(rename = "type")]
    kind: String,
    values: Vec<Value>,
}

/// Lists from an event or an array of events, and everything that was left out.
/// Nothing is made beyond `until`; `now` stands for a start that means "now".
///
/// # Errors
/// If the document is not JSON, or an event breaks a rule; the other events of the
/// array are then lost too, so that half a tariff is never taken for a whole one.
pub fn read(
    payload: &[u8],
    now: Instant,
    until: Instant,
) -> Result<(Vec<PriceList>, Vec<PriceError>), PriceError> {
    let document: Value = serde_json::from_slice(payload)
        .map_err(|error| PriceError::new("the document", format!("is not JSON: {error}")))?;
    let events = match document {
        Value::Array(events) => events,
        event => vec![event],
    };
    let (mut lists, mut notes) = (Vec::new(), Vec::new());
    for (i, event) in events.into_iter().enumerate() {
        let event: Event = serde_json::from_value(event)
            .map_err(|error| PriceError::new(format!("event {i}"), error.to_string()))?;
        let place = event.name.clone().unwrap_or_else(|| format!("event {i}"));
        read_event(&event, &place, now, until, &mut lists, &mut notes)?;
    }
    Ok((lists, notes))
}

fn read_event(
    event: &Event,
    place: &str,
    now: Instant,
    until: Instant,
    lists: &mut Vec<PriceList>,
    notes: &mut Vec<PriceError>,
) -> Result<(), PriceError> {
    let issued_at = match event.modification_date_time.as_ref().or(event.created_date_time.as_ref())
    {
        Some(text) => parse_time(text).ok_or_else(|| not_a_time(place, text))?,
        None => now,
    };
    let slots = slots(event, place, now, until, notes)?;
    let shifts = shifts(event, place, &slots, until)?;
    let mut quantities: Vec<Quantity> = Vec::new();
    for payload in event.intervals.iter().flat_map(|interval| &interval.payloads) {
        match Quantity::of_payload(&payload.kind) {
            Some(quantity) if !quantities.contains(&quantity) => quantities.push(quantity),
            Some(_) => {}
            None => notes.push(PriceError::new(
                place,
                format!("payload `{}` is not used here", payload.kind),
            )),
        }
    }
    for quantity in quantities {
        let mut points = Vec::new();
        for shift in &shifts {
            for (interval, slot) in event.intervals.iter().zip(&slots) {
                for payload in &interval.payloads {
                    if Quantity::of_payload(&payload.kind) == Some(quantity) {
                        spread(payload, *slot, *shift, until, place, &mut points)?;
                    }
                }
            }
            if points.len() > MAX_POINTS {
                return Err(PriceError::new(place, "repeats too often; make it shorter"));
            }
        }
        let end = cut(event, place, &slots)?.map_or(until, |end| end.min(until));
        let points = points.into_iter().filter_map(|(slot, value): (Slot, f64)| {
            Some((Slot::new(slot.start(), slot.end().min(end))?, value))
        });
        let unit = unit(event, quantity);
        let priority = event.priority.unwrap_or(u32::MAX);
        let (list, faults) = PriceList::new(quantity, unit, issued_at, priority, points.collect());
        notes.extend(faults);
        lists.push(list);
    }
    Ok(())
}

/// The slot of each interval: its own start or the end of the one before, its own
/// duration or that of the event. One without end reaches to `until`.
fn slots(
    event: &Event,
    place: &str,
    now: Instant,
    until: Instant,
    notes: &mut Vec<PriceError>,
) -> Result<Vec<Slot>, PriceError> {
    let mut slots: Vec<Slot> = Vec::new();
    for (i, interval) in event.intervals.iter().enumerate() {
        let place = format!("{place}, interval {i}");
        let own = interval.interval_period.as_ref();
        let default = event.interval_period.as_ref();
        let randomised = own.or(default).and_then(|period| period.randomize_start.as_ref());
        if randomised.is_some_and(|text| duration::parse(text).is_some()) {
            notes.push(PriceError::new(&place, "`randomizeStart` is ignored for prices"));
        }
        let written = own
            .and_then(|period| period.start.as_ref())
            .or_else(|| default.and_then(|period| period.start.as_ref()).filter(|_| i == 0));
        let before = slots.last().map_or(now, |slot| slot.end());
        let start = match written {
            Some(text) if text.starts_with("0001-01-01") => before,
            Some(text) => parse_time(text).ok_or_else(|| not_a_time(&place, text))?,
            None if i == 0 => return Err(PriceError::new(&place, "has no start")),
            None => before,
        };
        let text = own
            .and_then(|period| period.duration.as_ref())
            .or_else(|| default.and_then(|period| period.duration.as_ref()))
            .ok_or_else(|| PriceError::new(&place, "has no duration"))?;
        let end = match parse_duration(&place, text)? {
            Duration::Seconds(seconds) => start + seconds,
            Duration::Endless => until.max(start + 1),
        };
        let slot = Slot::new(start, end);
        slots.push(slot.ok_or_else(|| PriceError::new(&place, "ends before it starts"))?);
    }
    Ok(slots)
}

/// How far the list is moved for each of its repetitions [s].
fn shifts(
    event: &Event,
    place: &str,
    slots: &[Slot],
    until: Instant,
) -> Result<Vec<i64>, PriceError> {
    let (Some(first), Some(last)) = (slots.first(), slots.iter().map(|slot| slot.end()).max())
    else {
        return Ok(Vec::new());
    };
    let length = last - first.start();
    let end = match event.duration.as_ref().map(|text| parse_duration(place, text)).transpose()? {
        None => return Ok(vec![0]),
        Some(Duration::Endless) => until,
        Some(Duration::Seconds(seconds)) => until.min(first.start() + seconds),
    };
    let span = end - first.start();
    let count = (span + length - 1).div_euclid(length).clamp(1, MAX_POINTS as i64);
    Ok((0..count).map(|i| i * length).collect())
}

/// Where the event's own duration cuts it off.
fn cut(event: &Event, place: &str, slots: &[Slot]) -> Result<Option<Instant>, PriceError> {
    let duration = event.duration.as_ref().map(|text| parse_duration(place, text)).transpose()?;
    Ok(match (duration, slots.first()) {
        (Some(Duration::Seconds(seconds)), Some(first)) => Some(first.start() + seconds),
        _ => None,
    })
}

/// Several values in one payload share its interval evenly.
fn spread(
    payload: &Payload,
    slot: Slot,
    shift: i64,
    until: Instant,
    place: &str,
    points: &mut Vec<(Slot, f64)>,
) -> Result<(), PriceError> {
    let count = payload.values.len() as i64;
    for (i, value) in (0..).zip(&payload.values) {
        let edge = |i: i64| slot.start() + shift + slot.seconds() * i / count;
        let (start, end) = (edge(i), edge(i + 1));
        if start >= until {
            break;
        }
        let value = value.as_f64().ok_or_else(|| {
            PriceError::new(place, format!("`{value}` in `{}` is no number", payload.kind))
        })?;
        points.extend(Slot::new(start, end).map(|slot| (slot, value)));
    }
    Ok(())
}

fn unit(event: &Event, quantity: Quantity) -> String {
    let descriptor = event
        .payload_descriptors
        .iter()
        .flatten()
        .find(|descriptor| Quantity::of_payload(&descriptor.payload_type) == Some(quantity));
    let units = descriptor.and_then(|d| d.units.as_deref()).unwrap_or("KWH");
    match descriptor.and_then(|d| d.currency.as_deref()) {
        Some(currency) => format!("{currency}/{units}"),
        None => units.to_owned(),
    }
}

fn parse_time(text: &str) -> Option<Instant> {
    let time = DateTime::parse_from_rfc3339(text).ok()?;
    (time.year() > 1).then(|| Instant::from_unix(time.timestamp()))
}

fn not_a_time(place: &str, text: &str) -> PriceError {
    let text: String = text.chars().take(40).collect();
    PriceError::new(place, format!("`{text}` is no time; write it like 2026-01-31T17:00:00Z"))
}

fn parse_duration(place: &str, text: &str) -> Result<Duration, PriceError> {
    duration::parse(text).ok_or_else(|| {
        let text: String = text.chars().take(40).collect();
        PriceError::new(place, format!("`{text}` is no duration; write it like PT30M"))
    })
}

#[cfg(test)]
mod tests;
