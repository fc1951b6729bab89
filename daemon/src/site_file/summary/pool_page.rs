//! An outdoor pool on a winter day: which assumptions give which answer.
//!
//! Calculators ask for 80 to 150 kW where 34 kW held house and pool. Both are
//! right for what they assume, so the page shows every step between them.

use optimiser::physics::pool_day::WinterDay;
use optimiser::site::{Evaporation, Exposure, Pool, Sink};
use optimiser::units::Fraction;

use super::Page;
use super::spaces::{most_heat, nominal_kw, serving};
use crate::house::House;

/// Water that such a day is counted for [°C].
const WARM: f64 = 18.0;

/// Water that calculators take [°C].
const HOT: f64 = 28.0;

/// Water before the heating begins [°C].
const START: f64 = 10.0;

/// A row: its words, equation, wind at the surface [m/s], hours open.
type Row = (&'static str, Evaporation, f64, (f64, f64));

const ROWS: [Row; 7] = [
    ("open, wind 5 m/s, ASHRAE", Evaporation::Ashrae, 5.0, (0.0, 24.0)),
    ("open, wind 3 m/s, ASHRAE", Evaporation::Ashrae, 3.0, (0.0, 24.0)),
    ("open, wind 3 m/s, Smith", Evaporation::SmithLofJones, 3.0, (0.0, 24.0)),
    ("open, sheltered 0.5 m/s, Smith", Evaporation::SmithLofJones, 0.5, (0.0, 24.0)),
    ("the same, open 10 to 18 h only", Evaporation::SmithLofJones, 0.5, (10.0, 18.0)),
    ("the same, open 14 to 16 h only", Evaporation::SmithLofJones, 0.5, (14.0, 16.0)),
    ("always covered", Evaporation::SmithLofJones, 0.5, (0.0, 0.0)),
];

pub(super) fn describe(page: &mut Page, house: &House) {
    let Some(pool) = &house.site.plant_room.pool else { return };
    if matches!(pool.exposure, Exposure::Indoor { .. }) {
        return;
    }
    page.heading("Pool on a winter day of −2 to +6 °C: which assumptions ask for what");
    page.sentence(&format!(
        "{:<34}{:>17}{:>17}{:>24}",
        "",
        format!("to hold {WARM} °C"),
        format!("to hold {HOT} °C"),
        format!("from {START} °C, in 2 days")
    ));
    for row in ROWS {
        page.sentence(&line(house, pool, row));
    }
    page.sentence(
        "Each: mean kW, and in brackets the loss of the worst half-hour without sun; then the",
    );
    page.sentence(&format!(
        "water after two days with all heat that the rooms leave of {:.0} kW, until {WARM} °C.",
        heat(house, pool)
    ));
    page.sentence(
        "Smith is Smith, Löf and Jones 1994, measured on an unoccupied pool: 72 to 82 % of ASHRAE.",
    );
    page.sentence(&format!(
        "A rule of 68 W for each m² and kelvin asks for {:.0} kW at {HOT} °C. The water holds {:.0} kWh",
        0.0681 * pool.surface_m2 * (HOT + 2.0),
        pool.capacity_kwh_per_k()
    ));
    page.sentence("for each kelvin, so a cold night costs tenths of a kelvin: size on the mean, not the peak.");
}

/// Heat of all sources that reach the pool [kW].
fn heat(house: &House, pool: &Pool) -> f64 {
    let all: f64 = serving(house, Sink::Pool).into_iter().map(|s| nominal_kw(house, s)).sum();
    all.max(most_heat(house, pool))
}

fn line(house: &House, pool: &Pool, (words, equation, wind, open): Row) -> String {
    let pool = assuming(pool, equation);
    let day = WinterDay { wind, open };
    let (warm, hot) = (day.holding(&pool, WARM), day.holding(&pool, HOT));
    let all = heat(house, &pool);
    // Rooms and pool share sources where one reaches both.
    let rooms = house.site.plant_room.rooms.zip(house.plant_room.rooms.as_ref());
    let shared = serving(house, Sink::Rooms).iter().any(|s| serving(house, Sink::Pool).contains(s));
    let spare = |hour: f64, water: f64| {
        let taken = rooms.filter(|_| shared).map_or(0.0, |(rooms, wish)| {
            let kelvin = wish.design_indoor.celsius() - WinterDay::air(hour);
            rooms.loss().watts_per_kelvin() * kelvin.max(0.0) / 1_000.0
        });
        if water < WARM { (all - taken).clamp(0.0, pool.exchanger.kw()) } else { 0.0 }
    };
    let after = day.after(&pool, START, 48.0, spare);
    let held = |h: optimiser::physics::pool_day::Holding| format!("{:.1} ({:.1})", h.mean, h.worst);
    format!("{words:<34}{:>17}{:>17}{:>21.1} °C", held(warm), held(hot), after)
}

/// The pool with an equation, and with the wind at its surface.
fn assuming(pool: &Pool, equation: Evaporation) -> Pool {
    let exposure = match pool.exposure {
        Exposure::Outdoor { cover_w_per_m2k, absorbed_open, absorbed_covered, .. } => {
            Exposure::Outdoor {
                evaporation: equation,
                wind_share: Fraction::constant(1.0),
                cover_w_per_m2k,
                absorbed_open,
                absorbed_covered,
            }
        }
        indoor @ Exposure::Indoor { .. } => indoor,
    };
    Pool { exposure, ..*pool }
}
