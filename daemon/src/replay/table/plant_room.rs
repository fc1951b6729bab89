//! The plant room in the text of a replay: heat by source and sink, machines,
//! rooms and pool.

use std::fmt::Write as _;

use optimiser::replay::{BandSums, PlantRoomSums};
use optimiser::site::Source;

use super::Page;
use crate::present::digits::text;

/// Heat lost, in words.
type Lost = (&'static str, fn(&PlantRoomSums) -> f64);

/// Width of the column of words.
const WORDS: usize = 34;

impl Page<'_> {
    /// Nothing for a house of stores and elements.
    pub(super) fn plant_room(&self, out: &mut String) {
        let entries = &self.replayed.entries;
        let sums: Vec<&PlantRoomSums> =
            entries.iter().filter_map(|entry| entry.whole.plant_room.as_ref()).collect();
        let Some(first) = sums.first() else { return };
        let mut head = format!("{:<WORDS$}", "Heat, kWh");
        for entry in entries {
            let _ = write!(head, "{:>15}", entry.name);
        }
        line!(out, "{head}");
        let house = self.replayed.house;
        for (index, own) in first.routes.iter().enumerate() {
            let (from, to) = (house.source_name(own.route.source), house.sink_name(own.route.sink));
            row(out, &format!("{from} → {to}"), &sums, |s| text(s.routes[index].heat_kwh, 1));
        }
        let elements: Vec<f64> = entries.iter().map(|e| e.whole.house.heaters_kwh).collect();
        let immersion = |sums: &PlantRoomSums| -> f64 {
            let own = sums.routes.iter().filter(|own| own.route.source == Source::Immersion);
            own.map(|own| own.electricity_kwh).sum()
        };
        let mut own = format!("{:<WORDS$}", "elements → stores");
        for (all, sums) in elements.iter().zip(&sums) {
            let _ = write!(own, "{:>15}", text(all - immersion(sums), 1));
        }
        line!(out, "{own}");
        let lost: [Lost; 4] = [
            ("lost by buffer", |s| s.buffer_lost_kwh),
            ("lost by pipes of secondary returns", |s| s.pipes_lost_kwh),
            ("lost by rooms, less their gains", |s| s.rooms_lost_kwh - s.rooms_gain_kwh),
            ("lost by pool, less its sun", |s| s.pool_lost_kwh),
        ];
        for (words, of) in lost {
            if sums.iter().any(|sums| of(sums).abs() > 0.05) {
                row(out, words, &sums, |sums| text(of(sums), 1));
            }
        }
        line!(out);
        self.machines(out, &sums);
        for (words, of) in [
            ("Rooms", (|s| s.rooms.as_ref()) as fn(&PlantRoomSums) -> Option<&BandSums>),
            ("Pool", |s| s.pool.as_ref()),
        ] {
            if sums.iter().any(|sums| of(sums).is_some()) {
                let kept = |read: fn(&BandSums) -> f64| {
                    move |sums: &PlantRoomSums| {
                        of(sums).map_or_else(String::new, |own| text(read(own), 1))
                    }
                };
                row(out, &format!("{words}: K·h too cold"), &sums, kept(|own| own.below));
                row(out, &format!("{words}: hours too cold"), &sums, kept(|own| own.hours_below));
                row(out, &format!("{words}: lowest, °C"), &sums, kept(|own| own.lowest));
            }
        }
        line!(out);
    }

    fn machines(&self, out: &mut String, sums: &[&PlantRoomSums]) {
        let house = self.replayed.house;
        for (index, pump) in house.site.plant_room.heat_pumps.iter().enumerate() {
            row(out, &format!("COP of {}", pump.name), sums, |sums| {
                let own = sums.routes.iter().filter(|o| o.route.source == Source::HeatPump(index));
                let (heat, used) = own.fold((0.0, 0.0), |(heat, used), own| {
                    (heat + own.heat_kwh, used + own.electricity_kwh)
                });
                if used > 0.05 { text(heat / used, 2) } else { "none ran".to_owned() }
            });
        }
        row(out, "Electricity of sources, kWh", sums, |sums| {
            let own = sums.routes.iter().filter(|own| own.route.source != Source::Immersion);
            text(own.map(|own| own.electricity_kwh).sum::<f64>(), 1)
        });
        if house.site.plant_room.boiler.is_some() {
            row(out, "Fuel, kWh", sums, |sums| text(sums.fuel_kwh(), 1));
        }
        row(out, "Starts of heat pumps and boiler", sums, |sums| sums.starts.to_string());
        line!(out);
    }
}

fn row(
    out: &mut String,
    words: &str,
    sums: &[&PlantRoomSums],
    value: impl Fn(&PlantRoomSums) -> String,
) {
    let mut own = format!("{words:<WORDS$}");
    for sums in sums {
        let _ = write!(own, "{:>15}", value(sums));
    }
    line!(out, "{own}");
}
