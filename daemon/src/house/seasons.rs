//! What changes with the time of the year.

use chrono::Datelike;
use optimiser::site::Store;
use optimiser::time::Instant;
use optimiser::units::Temperature;

use super::{House, Months};
use crate::local_time::local_date;

impl House {
    /// The house on the day of an instant: its stores are fed with the cold water of
    /// that day. Values of months stand for their middles, with straight lines between.
    #[must_use]
    pub fn in_season(mut self, at: Instant) -> Self {
        let date = local_date(at, self.time_zone);
        let days = if date.leap_year() { 366.0 } else { 365.0 };
        let months = f64::from(date.ordinal0()) / days * 12.0;
        for (store, curve) in self.site.stores.iter_mut().zip(&self.cold_water) {
            if let Some(curve) = curve {
                store.mains = Temperature::clamped(between(curve, months));
            }
        }
        self
    }

    /// What is to be said where the cold water is not that of each day.
    pub fn in_no_season(&self) -> Vec<String> {
        let stores = self.site.stores.iter().zip(&self.cold_water);
        let by_month = stores.filter(|(_, curve)| curve.is_some());
        let note = |store: &Store| {
            let (name, mains) = (&store.name, store.mains);
            format!("{name} is fed with {mains} at all times, the cold water of its coldest month")
        };
        by_month.map(|(store, _)| note(store)).collect()
    }
}

/// The value at a time of the year, counted in months from its start.
fn between(curve: &Months, months: f64) -> f64 {
    let from_middle = (months - 0.5).rem_euclid(12.0);
    let (before, share) = (from_middle as usize % 12, from_middle.fract());
    curve[before] + share * (curve[(before + 1) % 12] - curve[before])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::local_time::parse_instant;
    use crate::site_file;

    const SITE: &str = include_str!("../../../fixtures/sites/mill-cottage.toml");

    #[test]
    fn a_curve_passes_through_the_middles_of_its_months() {
        let curve = [6.0, 6.5, 8.0, 9.5, 12.0, 15.0, 17.0, 17.5, 16.0, 13.0, 10.0, 7.0];
        for (month, value) in curve.iter().enumerate() {
            assert!((between(&curve, month as f64 + 0.5) - value).abs() < 1e-9);
        }
        assert!((between(&curve, 0.0) - 6.5).abs() < 1e-9, "new year lies between 7 and 6");
        assert!((between(&curve, 11.9999) - 6.5).abs() < 1e-3, "and so does its eve");
    }

    #[test]
    fn stores_are_fed_with_the_water_of_the_day() {
        let line = "mains_celsius_by_month = [6, 6, 8, 9, 12, 15, 17, 17, 16, 13, 10, 7]";
        let text = SITE.replacen("volume_litres", &format!("{line}\nvolume_litres"), 1);
        let house = site_file::read(&text, "site").expect("a good site").house;
        let mains = |house: &House| house.site.stores[0].mains.celsius();
        assert!((mains(&house) - 6.0).abs() < 1e-9, "designs meet the coldest month");
        let at = |text: &str| parse_instant(text).expect("an instant");
        let summer = house.clone().in_season(at("2026-08-01T12:00:00Z"));
        assert!((mains(&summer) - 17.0).abs() < 0.1, "{}", mains(&summer));
        let fixed = site_file::read(SITE, "site").expect("a good site").house;
        assert_eq!(fixed.clone().in_season(at("2026-08-01T12:00:00Z")), fixed);
    }
}
