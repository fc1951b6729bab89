//! The tariff.

use chrono::{NaiveTime, Timelike as _};
use optimiser::units::Price;

use super::fault::Faults;
use super::tree::Node;
use crate::tariff::{Band, Index, Rates, Tariff};

/// Seconds of a day without a clock change.
const DAY: u32 = 86_400;

/// When day-ahead prices are usually known.
const PUBLISHED_AT: NaiveTime = NaiveTime::from_hms_opt(13, 0, 0).expect("a time of day");

/// Keys that only mean something for a rate that follows a series.
const INDEX_KEYS: [&str; 5] =
    ["column", "adders", "vat_percent", "cap_minor_per_kwh", "floor_minor_per_kwh"];

/// The tariff in a currency.
pub(super) fn tariff(node: &Node, currency: String, faults: &mut Faults) -> Tariff {
    Tariff {
        currency,
        import: rates(node.part("import"), faults),
        export: node
            .table("export")
            .map_or_else(|| flat(Price::constant(0.0)), |export| rates(export, faults)),
        standing_charge_per_day: node.number("standing_charge_minor_per_day"),
        published_at: node.time("published_at").unwrap_or(PUBLISHED_AT),
    }
}

fn flat(rate: Price) -> Rates {
    Rates::Bands(vec![Band { from: NaiveTime::MIN, until: NaiveTime::MIN, rate }])
}

fn rates(node: &Node, faults: &mut Faults) -> Rates {
    let why = "it belongs to a rate that follows a series (`factor`)";
    match node.only_one(&["rate_minor_per_kwh", "bands", "factor"], faults) {
        Some("bands") => {
            node.stray(&INDEX_KEYS, why, faults);
            let bands = bands(node, "bands", faults);
            report_gaps(node, &bands, faults);
            Rates::Bands(bands)
        }
        Some("factor") => Rates::Indexed(index(node, faults)),
        Some(_) => {
            node.stray(&INDEX_KEYS, why, faults);
            flat(node.quantity("rate_minor_per_kwh", Price::new))
        }
        None => flat(Price::constant(0.0)),
    }
}

fn index(node: &Node, faults: &mut Faults) -> Index {
    let cap = node.maybe_quantity("cap_minor_per_kwh", Price::new);
    let floor = node.maybe_quantity("floor_minor_per_kwh", Price::new);
    if let (Some(cap), Some(floor)) = (cap, floor)
        && floor > cap
    {
        faults.error(
            node.span_of("floor_minor_per_kwh"),
            &node.path_of("floor_minor_per_kwh"),
            format!("the floor {} is above the cap {}", floor.per_kwh(), cap.per_kwh()),
            Some("exchange them".to_owned()),
        );
    }
    Index {
        column: node.maybe_text("column").map(str::to_owned),
        factor: node.number("factor"),
        adders: bands(node, "adders", faults),
        vat: node.number("vat_percent") / 100.0,
        cap,
        floor,
    }
}

/// Spans of seconds of the day that a band covers: one, or two past midnight.
fn spans(band: &Band) -> Vec<(u32, u32)> {
    let (from, until) =
        (band.from.num_seconds_from_midnight(), band.until.num_seconds_from_midnight());
    match until {
        0 => vec![(from, DAY)],
        _ if until > from => vec![(from, until)],
        _ => vec![(0, until), (from, DAY)],
    }
}

/// Bands of a key; reports those that overlap an earlier one.
fn bands(node: &Node, key: &str, faults: &mut Faults) -> Vec<Band> {
    let mut bands: Vec<Band> = Vec::new();
    for item in node.tables(key) {
        let (Some(from), Some(until)) = (item.time("from"), item.time("until")) else { continue };
        let band = Band { from, until, rate: item.quantity("rate_minor_per_kwh", Price::new) };
        let crosses = |other: &&Band| {
            spans(&band).iter().any(|a| spans(other).iter().any(|b| a.0 < b.1 && b.0 < a.1))
        };
        if let Some(other) = bands.iter().find(crosses) {
            faults.error(
                item.span.clone(),
                &item.path,
                format!("the band {} overlaps the band {}", named(&band), named(other)),
                Some("end one band where the next begins".to_owned()),
            );
        }
        bands.push(band);
    }
    bands
}

fn report_gaps(node: &Node, bands: &[Band], faults: &mut Faults) {
    let complete = node.tables("bands").len() == bands.len();
    let mut covered: Vec<(u32, u32)> = bands.iter().flat_map(spans).collect();
    covered.sort_unstable();
    covered.push((DAY, DAY));
    let mut reached = 0;
    for (from, until) in covered {
        if from > reached && complete {
            let clock = |second: u32| format!("{:02}:{:02}", second / 3_600 % 24, second / 60 % 60);
            faults.error(
                node.span_of("bands"),
                &node.path_of("bands"),
                format!("no band gives a rate from {} to {}", clock(reached), clock(from)),
                Some("the bands must cover the whole day".to_owned()),
            );
        }
        reached = reached.max(until);
    }
}

fn named(band: &Band) -> String {
    format!("{} to {}", band.from.format("%H:%M"), band.until.format("%H:%M"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn band(from: (u32, u32), until: (u32, u32)) -> Band {
        let time = |(h, m)| NaiveTime::from_hms_opt(h, m, 0).expect("a time of day");
        Band { from: time(from), until: time(until), rate: Price::constant(10.0) }
    }

    #[test]
    fn a_band_past_midnight_covers_both_ends_of_the_day() {
        assert_eq!(spans(&band((23, 30), (5, 30))), [(0, 19_800), (84_600, DAY)]);
        assert_eq!(spans(&band((16, 0), (0, 0))), [(57_600, DAY)]);
        assert_eq!(spans(&band((0, 0), (0, 0))), [(0, DAY)]);
        assert_eq!(spans(&band((6, 0), (6, 0))), [(0, 21_600), (21_600, DAY)]);
    }
}
