//! One list of values, as it was issued.

use optimiser::time::{Instant, Slot};

/// What a list is about, after the payload types of OpenADR 3.1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Quantity {
    /// Price of import.
    Price,
    /// Price of export.
    ExportPrice,
    /// Greenhouse gas [g/kWh].
    Ghg,
    /// Most power that may be imported.
    ImportCapacityLimit,
    /// Most power that may be exported.
    ExportCapacityLimit,
}

impl Quantity {
    pub(super) fn of_payload(name: &str) -> Option<Self> {
        Some(match name {
            "PRICE" => Self::Price,
            "EXPORT_PRICE" => Self::ExportPrice,
            "GHG" => Self::Ghg,
            "IMPORT_CAPACITY_LIMIT" => Self::ImportCapacityLimit,
            "EXPORT_CAPACITY_LIMIT" => Self::ExportCapacityLimit,
            _ => return None,
        })
    }
}

/// Why prices could not be read, with the place and a remedy.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{place}: {rule}")]
pub struct PriceError {
    /// Where in the document.
    pub place: String,
    /// Which rule it breaks, and what would mend it.
    pub rule: String,
}

impl PriceError {
    pub(super) fn new(place: impl Into<String>, rule: impl Into<String>) -> Self {
        Self { place: place.into(), rule: rule.into() }
    }
}

/// Values by slot, in order and without overlap.
#[derive(Debug, Clone, PartialEq)]
pub struct PriceList {
    /// What the values are.
    pub quantity: Quantity,
    /// Unit as the source names it, such as `EUR/MWh`; the tariff turns it into
    /// unit rates.
    pub unit: String,
    /// When the source issued it.
    pub issued_at: Instant,
    /// Where lists overlap, the lower number wins whenever it was issued.
    pub priority: u32,
    points: Vec<(Slot, f64)>,
}

impl PriceList {
    /// Sorts the points. Where two overlap with different values neither is kept,
    /// because nothing says which is right; the places are returned.
    pub fn new(
        quantity: Quantity,
        unit: String,
        issued_at: Instant,
        priority: u32,
        mut points: Vec<(Slot, f64)>,
    ) -> (Self, Vec<PriceError>) {
        let mut faults = Vec::new();
        points.sort_by_key(|(slot, _)| (slot.start(), slot.end()));
        points.dedup();
        let mut doubtful = vec![false; points.len()];
        let mut latest = 0;
        for i in 1..points.len() {
            let (slot, before) = (points[i].0, points[latest].0);
            if slot.overlap_seconds(before) > 0 {
                (doubtful[i], doubtful[latest]) = (true, true);
                let rule = format!(
                    "has two values ({} and {}); neither is used until a later issue says which",
                    points[latest].1, points[i].1
                );
                faults.push(PriceError::new(slot.start().to_string(), rule));
            }
            if slot.end() > before.end() {
                latest = i;
            }
        }
        let mut keep = doubtful.iter();
        points.retain(|(slot, value)| {
            let doubtful = keep.next().copied().unwrap_or(true);
            if !value.is_finite() {
                let rule = format!("`{value}` is no price; the slot stays a gap");
                faults.push(PriceError::new(slot.start().to_string(), rule));
            }
            !doubtful && value.is_finite()
        });
        (Self { quantity, unit, issued_at, priority, points }, faults)
    }

    /// The values in order.
    pub fn points(&self) -> &[(Slot, f64)] {
        &self.points
    }

    /// The value at an instant.
    pub fn at(&self, instant: Instant) -> Option<(Slot, f64)> {
        let index = self.points.partition_point(|(slot, _)| slot.end() <= instant);
        self.points.get(index).copied().filter(|(slot, _)| slot.contains(instant))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn slot(start: i64, end: i64) -> Slot {
        let at = |minutes| Instant::from_unix(minutes * 60);
        Slot::new(at(start), at(end)).expect("a slot")
    }

    #[test]
    fn what_is_doubtful_is_a_gap() {
        let points = vec![
            (slot(60, 90), 3.0),
            (slot(0, 30), 1.0),
            (slot(0, 30), 1.0),
            (slot(30, 60), 2.0),
            (slot(30, 60), 20.0),
            (slot(90, 120), f64::NAN),
        ];
        let now = Instant::from_unix(0);
        let (list, faults) = PriceList::new(Quantity::Price, "p/kWh".into(), now, 0, points);
        assert_eq!(list.points(), [(slot(0, 30), 1.0), (slot(60, 90), 3.0)]);
        assert_eq!(faults.len(), 2);
        assert!(
            faults[0].to_string().starts_with("1970-01-01T00:30:00Z: has two values (2 and 20)")
        );
        assert_eq!(list.at(Instant::from_unix(45 * 60)), None);
        assert_eq!(list.at(Instant::from_unix(60 * 60)), Some((slot(60, 90), 3.0)));
    }
}
