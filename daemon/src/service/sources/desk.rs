//! Prices from any source, as the tariff needs them.

use optimiser::time::{Instant, Slot};
use optimiser::units::{Power, Price};

use crate::assemble::{Allowance, Known, MEMORY_DAYS};
use crate::series::{self, Marks, PriceUnit, Prices, unit_slip};
use crate::service::archive::{self, Archive, ArchiveError, Record};
use crate::service::prices::{Book, PriceList, Quantity, Suspicion, read_openadr};
use crate::service::settings::{PriceForm, price_unit};
use crate::tariff::{Rates, Tariff, Wholesale};

const DAY_S: i64 = 86_400;

/// Prices are kept so long, because those to come are expected from them [s].
const KEEP_S: i64 = MEMORY_DAYS * DAY_S;

/// Prices further ahead are not taken: they are of another year [s].
const AHEAD_S: i64 = 10 * DAY_S;

/// Length of a slot where no price says another [s].
const HALF_HOUR_S: i64 = 1_800;

/// Unit of everything in the books.
const UNIT: &str = "minor/kWh";

/// All that is known of prices, and of what comes with them in events.
pub struct PriceDesk {
    form: PriceForm,
    tariff: Tariff,
    import: Book,
    export: Book,
    /// Kept for those who want to know; nothing is planned with it.
    ghg: Book,
    import_limit: Book,
    export_limit: Book,
}

/// Everything that has a book.
const QUANTITIES: [Quantity; 5] = [
    Quantity::Price,
    Quantity::ExportPrice,
    Quantity::Ghg,
    Quantity::ImportCapacityLimit,
    Quantity::ExportCapacityLimit,
];

/// What became of a price document.
#[derive(Debug, Default, PartialEq)]
pub struct Taken {
    /// Prices that are new or other than before, to be remembered.
    pub records: Vec<Record>,
    /// What was left out or contradicts what was known, in words.
    pub notes: Vec<String>,
}

impl PriceDesk {
    /// Knows nothing yet.
    pub fn new(form: PriceForm, tariff: Tariff) -> Self {
        let [import, export, ghg, import_limit, export_limit] = QUANTITIES.map(Book::new);
        Self { form, tariff, import, export, ghg, import_limit, export_limit }
    }

    /// Takes up what was remembered.
    ///
    /// # Errors
    /// If the archive cannot be read.
    pub fn recall(&mut self, archive: &Archive, now: Instant) -> Result<(), ArchiveError> {
        let Some(span) = Slot::new(now + -KEEP_S, now + AHEAD_S) else { return Ok(()) };
        for quantity in QUANTITIES {
            let prices = archive.prices(name(quantity), span)?;
            for issue in prices.chunk_by(|a, b| a.issued_at == b.issued_at) {
                let points = issue.iter().map(|price| (price.slot, price.value)).collect();
                let at = issue[0].issued_at;
                let unit = issue[0].unit.clone();
                let (list, _) = PriceList::new(quantity, unit, at, u32::MAX, points);
                self.book(quantity).add(list);
            }
        }
        Ok(())
    }

    /// Takes a document.
    ///
    /// # Errors
    /// In words, if nothing of it is believed: a short name and what would help.
    pub fn take(&mut self, now: Instant, bytes: &[u8]) -> Result<Taken, (&'static str, String)> {
        let mut taken = Taken::default();
        let lists = self.read(now, bytes, &mut taken.notes).map_err(|text| ("unreadable", text))?;
        let mut suspicious = None;
        for list in lists {
            let list = self.news(now, &list);
            if list.points().is_empty() {
                continue;
            }
            let quantity = list.quantity;
            let book = self.book(quantity);
            let is_price = matches!(quantity, Quantity::Price | Quantity::ExportPrice);
            if let Some(suspicion) = Suspicion::of(&list, book).filter(|_| is_price) {
                suspicious = Some(("suspicious", suspicion.to_string()));
                continue;
            }
            taken.records.extend(list.points().iter().map(|&(slot, value)| {
                Record::Price(archive::Price {
                    quantity: name(quantity).to_owned(),
                    slot,
                    value,
                    unit: list.unit.clone(),
                    issued_at: list.issued_at,
                })
            }));
            for conflict in book.add(list) {
                taken.notes.push(format!(
                    "{}: {} was {}, and is {} by the later list",
                    name(quantity),
                    conflict.slot.start(),
                    conflict.before,
                    conflict.now
                ));
            }
            book.prune(now + -KEEP_S);
        }
        match suspicious {
            Some(suspicion) if taken.records.is_empty() => Err(suspicion),
            _ => Ok(taken),
        }
    }

    /// What is known, for planning.
    pub fn fill(&self, known: &mut Known, now: Instant) {
        let import = prices(&self.import);
        let export = prices(&self.export);
        let steps = import.points().iter().filter(|(slot, _)| slot.end() > now);
        known.price_step_seconds =
            steps.map(|(slot, _)| slot.seconds()).min().unwrap_or(HALF_HOUR_S);
        // Without prices of its own, export follows those of import.
        let export = if export.points().is_empty() { import.clone() } else { export };
        known.wholesale = Wholesale { import, export };
        let allowances = |book: &Book, is_import: bool| -> Vec<Allowance> {
            let pieces = book.pieces().into_iter().filter(|(slot, _)| slot.end() > now);
            let allowance = |(slot, kw)| Allowance { slot, power: Power::clamped(kw), is_import };
            pieces.map(allowance).collect()
        };
        known.allowances = allowances(&self.import_limit, true);
        known.allowances.extend(allowances(&self.export_limit, false));
    }

    /// From when on nothing is known.
    pub fn known_until(&self, now: Instant) -> Instant {
        self.import.known_until(now)
    }

    fn book(&mut self, quantity: Quantity) -> &mut Book {
        match quantity {
            Quantity::Price => &mut self.import,
            Quantity::ExportPrice => &mut self.export,
            Quantity::Ghg => &mut self.ghg,
            Quantity::ImportCapacityLimit => &mut self.import_limit,
            Quantity::ExportCapacityLimit => &mut self.export_limit,
        }
    }

    /// Lists in minor units per kWh.
    fn read(
        &self,
        now: Instant,
        bytes: &[u8],
        notes: &mut Vec<String>,
    ) -> Result<Vec<PriceList>, String> {
        let currency = &self.tariff.currency;
        match &self.form {
            PriceForm::Series => self.series(now, bytes),
            PriceForm::Json(map, unit) => {
                let (list, faults) = map.read(bytes, now).map_err(|error| error.to_string())?;
                notes.extend(faults.iter().map(ToString::to_string));
                converted(&list, *unit, currency).map(|list| vec![list])
            }
            PriceForm::OpenAdr => {
                let (lists, faults) =
                    read_openadr(bytes, now, now + AHEAD_S).map_err(|error| error.to_string())?;
                notes.extend(faults.iter().map(ToString::to_string));
                let in_our_units = |list: PriceList| match list.quantity {
                    Quantity::Price | Quantity::ExportPrice => {
                        let unit = price_unit(&list.unit, currency).ok_or_else(|| {
                            format!("`{}` is no unit of prices in {currency}", list.unit)
                        })?;
                        converted(&list, unit, currency)
                    }
                    Quantity::Ghg => Ok(list),
                    Quantity::ImportCapacityLimit | Quantity::ExportCapacityLimit => in_kw(&list),
                };
                lists.into_iter().map(in_our_units).collect()
            }
        }
    }

    fn series(&self, now: Instant, bytes: &[u8]) -> Result<Vec<PriceList>, String> {
        let file =
            series::read("the prices", bytes, Marks::AsNamed).map_err(|error| error.to_string())?;
        let wholesale =
            Wholesale::from_file(&file, &self.tariff).map_err(|error| error.to_string())?;
        let list = |quantity, rates: &Rates, prices: &Prices| {
            let points = prices.known().map(|(slot, price)| (slot, price.per_kwh())).collect();
            matches!(rates, Rates::Indexed(_))
                .then(|| PriceList::new(quantity, UNIT.to_owned(), now, u32::MAX, points).0)
        };
        let import = list(Quantity::Price, &self.tariff.import, &wholesale.import);
        let export = list(Quantity::ExportPrice, &self.tariff.export, &wholesale.export);
        Ok(import.into_iter().chain(export).collect())
    }

    /// What a list says that is not known yet and not of another time.
    fn news(&mut self, now: Instant, list: &PriceList) -> PriceList {
        let span = (now + -KEEP_S, now + AHEAD_S);
        let book = self.book(list.quantity);
        let points = list.points().iter().copied().filter(|(slot, value)| {
            let of_now = slot.end() > span.0 && slot.start() < span.1;
            of_now && book.value(*slot).is_none_or(|held| (held - value).abs() > 1e-9)
        });
        let points = points.collect();
        PriceList::new(list.quantity, list.unit.clone(), list.issued_at, list.priority, points).0
    }
}

fn name(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Price => "import",
        Quantity::ExportPrice => "export",
        Quantity::Ghg => "ghg",
        Quantity::ImportCapacityLimit => "import-limit",
        Quantity::ExportCapacityLimit => "export-limit",
    }
}

/// Limits of power in kW, which is also meant where no unit is given.
fn in_kw(list: &PriceList) -> Result<PriceList, String> {
    let factor = match list.unit.to_uppercase().as_str() {
        "KW" | "KWH" => 1.0,
        "W" => 1e-3,
        "MW" => 1e3,
        _ => return Err(format!("`{}` is no unit of a capacity limit", list.unit)),
    };
    let points = list.points().iter().map(|(slot, value)| (*slot, value * factor)).collect();
    let unit = "kW".to_owned();
    Ok(PriceList::new(list.quantity, unit, list.issued_at, list.priority, points).0)
}

fn prices(book: &Book) -> Prices {
    let points = book.pieces().into_iter().map(|(slot, value)| (slot, Some(Price::clamped(value))));
    Prices::new(points.collect()).unwrap_or_default()
}

/// The same list in minor units per kWh.
fn converted(list: &PriceList, unit: PriceUnit, currency: &str) -> Result<PriceList, String> {
    let factor = unit.minor_per_kwh(currency);
    let points: Vec<_> = list.points().iter().map(|(slot, v)| (*slot, v * factor)).collect();
    let priced = points.iter().map(|(slot, v)| (*slot, Some(Price::clamped(*v)))).collect();
    let priced = Prices::new(priced).unwrap_or_default();
    if let Some(slip) = unit_slip(&priced, currency, unit) {
        return Err(slip.to_string());
    }
    let (quantity, at, priority) = (list.quantity, list.issued_at, list.priority);
    Ok(PriceList::new(quantity, UNIT.to_owned(), at, priority, points).0)
}

#[cfg(test)]
mod tests {
    use crate::service::prices::ListMap;
    use crate::tariff::Index;

    use super::*;

    fn at(minutes: i64) -> Instant {
        Instant::from_unix(1_767_225_600 + minutes * 60)
    }

    fn desk() -> PriceDesk {
        let map = ListMap {
            quantity: Quantity::Price,
            unit: "EUR/MWh".into(),
            list: String::new(),
            start: "/start".into(),
            end: None,
            value: "/price".into(),
            issued: None,
            zone: None,
        };
        let index =
            Index { column: None, factor: 1.0, adders: vec![], vat: 0.0, cap: None, floor: None };
        let tariff = Tariff {
            published_at: chrono::NaiveTime::MIN,
            currency: "EUR".into(),
            import: Rates::Indexed(index.clone()),
            export: Rates::Indexed(index),
            standing_charge_per_day: 0.0,
        };
        PriceDesk::new(PriceForm::Json(Box::new(map), PriceUnit::MajorPerMwh), tariff)
    }

    fn list(half_hours: std::ops::Range<i64>, price: impl Fn(i64) -> f64) -> Vec<u8> {
        let entries: Vec<_> = half_hours
            .map(|i| serde_json::json!({"start": at(i * 30).to_string(), "price": price(i)}))
            .collect();
        serde_json::to_vec(&entries).expect("JSON")
    }

    // Failure case 17 and 18, C36, at the desk.
    #[test]
    fn prices_come_in_parts_are_corrected_and_never_relabelled() {
        let mut desk = desk();
        let price = |i: i64| 80.0 + i as f64;
        let first = desk.take(at(0), &list(0..36, price)).expect("prices");
        assert_eq!(first.records.len(), 36);
        assert_eq!(desk.known_until(at(0)), at(36 * 30));
        // The whole list again, with the rest: only the rest is new.
        let second = desk.take(at(10), &list(0..48, price)).expect("prices");
        assert_eq!(second.records.len(), 12);
        assert_eq!(desk.known_until(at(0)), at(48 * 30));
        // One value corrected.
        let third = desk.take(at(20), &list(10..12, |i| price(i) + 1.0)).expect("prices");
        assert_eq!(third.notes.len(), 2, "{:?}", third.notes);
        let same = desk.take(at(30), &list(48..96, |i| price(i - 48)));
        assert!(same.is_ok(), "the correction made it differ");
        let mut known = Known::default();
        desk.fill(&mut known, at(0));
        assert_eq!(known.price_step_seconds, 1_800);
        let first = known.wholesale.import.points()[0].1.expect("a price").per_kwh();
        assert!((first - 8.0).abs() < 1e-9, "80 EUR/MWh are 8 ct/kWh");
        let relabelled = desk.take(at(40), &list(96..144, |i| price(i - 96)));
        assert_eq!(relabelled.expect_err("yesterday").0, "suspicious");
    }

    // Failure case 19.
    #[test]
    fn a_slip_of_the_unit_is_asked_about() {
        let (kind, text) = desk()
            .take(at(0), &list(0..48, |i| 90_000.0 + 100.0 * i as f64))
            .expect_err("a thousand times too dear");
        assert_eq!(kind, "unreadable");
        assert!(text.contains("which no household pays"), "{text}");
    }

    // Subset of OpenADR 3.1: GHG is kept, capacity limits are planned with.
    #[test]
    fn an_event_brings_limits_and_greenhouse_gas_beside_prices() {
        let mut desk = PriceDesk { form: PriceForm::OpenAdr, ..desk() };
        let descriptor = |kind: &str, units: &str, currency: Option<&str>| serde_json::json!({"payloadType": kind, "units": units, "currency": currency});
        let payload = |kind: &str, value: f64| serde_json::json!({"type": kind, "values": [value]});
        let event = serde_json::json!({
            "payloadDescriptors": [
                descriptor("PRICE", "KWH", Some("EUR")),
                descriptor("IMPORT_CAPACITY_LIMIT", "W", None),
                descriptor("GHG", "G_PER_KWH", None)
            ],
            "intervalPeriod": {"start": at(0).to_string(), "duration": "PT1H"},
            "intervals": [{"payloads": [
                payload("PRICE", 0.2),
                payload("IMPORT_CAPACITY_LIMIT", 2_500.0),
                payload("EXPORT_CAPACITY_LIMIT", 1.5),
                payload("GHG", 180.0)
            ]}]
        });
        let taken = desk.take(at(-10), event.to_string().as_bytes()).expect("an event");
        let names: Vec<_> = taken
            .records
            .iter()
            .map(|record| match record {
                Record::Price(price) => (price.quantity.clone(), price.value, price.unit.clone()),
                other => panic!("{other:?}"),
            })
            .collect();
        assert!(names.contains(&("ghg".into(), 180.0, "G_PER_KWH".into())), "{names:?}");
        let mut known = Known::default();
        desk.fill(&mut known, at(0));
        let limits: Vec<_> = known.allowances.iter().map(|a| (a.power.kw(), a.is_import)).collect();
        assert_eq!(limits, [(2.5, true), (1.5, false)]);
        assert!(known.wholesale.import.known().next().is_some());
    }
}
