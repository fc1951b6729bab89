//! How ready a house was for what nobody foresaw, whether it came or not.
//!
//! One draw that fails may use up what is allowed for a year, so nobody learns in time
//! from those that did. What stood ready when each half-hour began, and what might have
//! been drawn then, says every day how much would have arrived cold in the mean.

use super::Knowledge;
use super::reserve::{SLOT_SECONDS, surprises};
use super::surprise::Surprises;
use crate::site::{Site, Store};
use crate::time::Instant;
use crate::units::Temperature;

/// What stood ready in each half-hour of a day.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Readiness {
    /// When a half-hour began, and the layers of each store from bottom to top.
    stood: Vec<(Instant, Vec<Vec<Temperature>>)>,
}

impl Readiness {
    /// Notes the layers of each store, from bottom to top, as a half-hour begins.
    pub fn note(&mut self, now: Instant, stores: Vec<Vec<Temperature>>) {
        self.stood.push((now, stores));
    }

    /// Share of the draws that was to be expected to arrive cold since the last time;
    /// `None` where nothing is known of draws, or nothing was noted.
    pub fn expected_cold(&mut self, known: &dyn Knowledge, site: &Site) -> Option<f64> {
        let noted = std::mem::take(&mut self.stood);
        let days = noted.len() as f64 / 48.0;
        let (mut cold, mut drawn) = (0.0, 0.0);
        for (index, store) in site.stores.iter().enumerate() {
            let Some(own) = surprises(known, site, index) else { continue };
            drawn += own.daily() * days;
            for (start, stores) in &noted {
                let (Some(slot), Some(layers)) = (slot_at(known, *start), stores.get(index)) else {
                    continue;
                };
                let before = slot.checked_sub(1).and_then(|before| known.litres(index, before));
                if own.may_begin(before.unwrap_or(0.0)) {
                    let of_day = usize::from(known.mark(slot).half_hour);
                    cold += cold_of(&own, of_day, store, layers);
                }
            }
        }
        (drawn > 0.0).then(|| cold / drawn)
    }
}

/// The slot of the past that begins then.
fn slot_at(known: &dyn Knowledge, start: Instant) -> Option<usize> {
    let ago = (known.slot(known.now()).start() - start) / SLOT_SECONDS;
    known.now().checked_sub(usize::try_from(ago).ok()?)
}

/// Litres of what may be drawn from a half-hour of the day on that are expected to arrive
/// cold, where a store stands as it does. Once its warm water is used up, lukewarm water
/// still brings a part of the heat.
fn cold_of(own: &Surprises, of_day: usize, store: &Store, layers: &[Temperature]) -> f64 {
    let litres = store.volume.litres() / layers.len().max(1) as f64;
    let wanted = store.use_temperature.above(store.mains);
    let mut drawn = store.usable_litres(layers);
    let mut cold = own.cold_beyond(of_day, drawn);
    for layer in layers.iter().rev().filter(|layer| **layer < store.use_temperature) {
        let share = (layer.above(store.mains) / wanted).max(0.0);
        let before = own.cold_beyond(of_day, drawn);
        drawn += litres;
        cold -= share * (before - own.cold_beyond(of_day, drawn));
    }
    cold
}

#[cfg(test)]
mod tests {
    use super::super::diary::tests::diary;
    use super::*;
    use crate::site::{Control, Element, Grid, PlantRoom};
    use crate::units::{Fraction, HeatLoss, Power, Volume};

    /// 200 L with one element.
    fn site() -> Site {
        let celsius = Temperature::constant;
        let element = Element {
            name: "rod".into(),
            power: Power::constant(3.0),
            height: Fraction::constant(0.0),
            control: Control::OnOff,
            thermostat: celsius(65.0),
        };
        let store = Store {
            name: "cylinder".into(),
            volume: Volume::constant(200.0),
            height_m: 1.5,
            heat_loss: HeatLoss::constant(1.5),
            surroundings: celsius(20.0),
            mains: celsius(10.0),
            use_temperature: celsius(40.0),
            ceiling: celsius(70.0),
            cut_out: None,
            held_back: Volume::constant(0.0),
            destratification_pump: false,
            layers: 20,
            elements: vec![element],
            coils: vec![],
            return_loop: None,
        };
        let power = Power::constant(18.4);
        Site {
            grid: Grid { import_limit: power, export_limit: power },
            battery: None,
            stores: vec![store],
            plant_room: PlantRoom::default(),
        }
    }

    /// What is expected to arrive cold of the half-hour before now, in which a store of ten
    /// layers stood so warm, from the bottom up.
    fn expected(known: &dyn Knowledge, layers: [f64; 10]) -> f64 {
        let mut readiness = Readiness::default();
        let start = known.slot(known.now() - 1).start();
        readiness.note(start, vec![layers.map(Temperature::clamped).to_vec()]);
        readiness.expected_cold(known, &site()).expect("draws are known")
    }

    #[test]
    fn lukewarm_water_brings_a_part_of_the_heat() {
        let known = diary();
        let cold = expected(&known, [10.0; 10]);
        // Half-way between the main and the use: half of the heat of the first 200 L.
        let lukewarm = expected(&known, [25.0; 10]);
        assert!(lukewarm < cold && lukewarm > 0.5 * cold, "{lukewarm} {cold}");
        let warm = expected(&known, [60.0; 10]);
        assert!(warm < 0.1 * cold, "{warm} {cold}");
    }

    // A bath that began an hour ago empties the store. What follows of it was counted when
    // it began, with the store that stood ready then.
    #[test]
    fn what_goes_on_was_counted_when_it_began() {
        let mut known = diary();
        let before = known.now - 2;
        known.litres[0][before] = Some(10.0);
        assert!(expected(&known, [10.0; 10]) > 0.0);
        known.litres[0][before] = Some(150.0);
        assert!(expected(&known, [10.0; 10]).abs() < 1e-12);
    }
}
