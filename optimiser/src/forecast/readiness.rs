//! How ready a house was for what nobody foresaw, whether it came or not.
//!
//! One draw that fails may use up what is allowed for a year, so nobody learns in time
//! from those that did. What stood ready when each half-hour began, and what might have
//! been drawn then, says every day how much would have arrived cold in the mean.

use super::Knowledge;
use super::reserve::surprises;
use crate::site::Site;

/// What stood ready in each half-hour of a day.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Readiness {
    /// Half-hour of the day, and the litres at the temperature of use in each store.
    ready: Vec<(usize, Vec<f64>)>,
}

impl Readiness {
    /// Notes what stands ready as a half-hour of the day begins.
    pub fn note(&mut self, half_hour: u8, litres: Vec<f64>) {
        self.ready.push((usize::from(half_hour), litres));
    }

    /// Share of the draws that was to be expected to arrive cold since the last time;
    /// `None` where nothing is known of draws, or nothing was noted.
    pub fn expected_cold(&mut self, known: &dyn Knowledge, site: &Site) -> Option<f64> {
        let noted = std::mem::take(&mut self.ready);
        let days = noted.len() as f64 / 48.0;
        let (mut cold, mut drawn) = (0.0, 0.0);
        for store in 0..site.stores.len() {
            let Some(own) = surprises(known, site, store) else { continue };
            drawn += own.daily() * days;
            let ready =
                noted.iter().filter_map(|(of_day, litres)| Some((*of_day, *litres.get(store)?)));
            cold += ready.map(|(of_day, litres)| own.cold_beyond(of_day, litres)).sum::<f64>();
        }
        (drawn > 0.0).then(|| cold / drawn)
    }
}
