//! Houses of the fixtures in markets of real prices, for whole years in a loop.
//!
//! The houses lose their promises, which the rules of today know nothing of, and
//! take a tariff that follows the market; draws and load are the shared series.

use chrono::NaiveTime;
use chrono_tz::Tz;
use optimiser::solar::Location;
use optimiser::units::{Flow, Power, Price};
use stowheat::assemble::Known;
use stowheat::house::{BaseLoad, DrawHabit, DrawKind, House, Pv};
use stowheat::series::{Marks, SeriesFile, read_file};
use stowheat::tariff::{Band, Index, Rates, Wholesale};
use stowheat::weather::{Reading, Weather};

use crate::real::{house, shared};

/// A market with a year of prices.
#[derive(Debug, Clone, Copy)]
pub struct Market {
    /// Name used on the command line.
    pub name: &'static str,
    file: &'static str,
    column: &'static str,
    currency: &'static str,
    pub(crate) zone: Tz,
    weather: &'static str,
    /// Where the sun stands as in the weather file, once that was moved.
    place: Location,
    /// Hours by which the weather file is moved to earlier, so that it is noon when
    /// the local clock says so, and summer where January is.
    earlier: i64,
    /// First day of the year, as 2023-01-01.
    pub first_day: &'static str,
    /// Last day.
    pub last_day: &'static str,
}

const BREMERHAVEN: &str = "weather_60min_DE-Bremerhaven_TRY2010.csv";

/// Where that weather was measured.
const NORTH_SEA: Location = Location { latitude: 53.53, longitude: 8.58, altitude_m: 7.0 };

/// Hours from summer to winter.
const HALF_A_YEAR: i64 = 24 * 182;

/// Hours by which the sun is over Bass Strait before it is over the North Sea.
const SUN_EARLIER: i64 = 9;

/// Where the sun stands as over the North Sea half a year and nine hours later.
const BASS_STRAIT: Location = Location {
    latitude: -NORTH_SEA.latitude,
    longitude: NORTH_SEA.longitude + 15.0 * SUN_EARLIER as f64,
    altitude_m: NORTH_SEA.altitude_m,
};

/// The markets of the goals.
pub const MARKETS: [Market; 5] = [
    Market {
        name: "GB-2023",
        file: "price_30min_GB_2023.csv",
        column: "market_index_price_gbp_per_mwh",
        currency: "GBP",
        zone: chrono_tz::Europe::London,
        weather: BREMERHAVEN,
        place: NORTH_SEA,
        earlier: 0,
        first_day: "2023-01-01",
        last_day: "2023-12-31",
    },
    Market {
        name: "VIC1-2024",
        file: "price_30min_AU-VIC1_2024.csv",
        column: "price_aud_per_mwh",
        currency: "AUD",
        zone: chrono_tz::Australia::Melbourne,
        weather: BREMERHAVEN,
        place: BASS_STRAIT,
        earlier: HALF_A_YEAR + SUN_EARLIER,
        first_day: "2024-01-01",
        last_day: "2024-12-31",
    },
    Market {
        name: "DK1-2023",
        file: "price_60min_DK1_2023.csv",
        column: "price_eur_per_mwh",
        currency: "EUR",
        zone: chrono_tz::Europe::Copenhagen,
        weather: BREMERHAVEN,
        place: NORTH_SEA,
        earlier: 0,
        first_day: "2023-01-01",
        last_day: "2023-12-31",
    },
    Market {
        name: "DK1-2024",
        file: "price_60min_DK1_2024.csv",
        column: "price_eur_per_mwh",
        currency: "EUR",
        zone: chrono_tz::Europe::Copenhagen,
        weather: BREMERHAVEN,
        place: NORTH_SEA,
        earlier: 0,
        first_day: "2024-01-01",
        last_day: "2024-12-31",
    },
    Market {
        name: "BE-2024-25",
        file: "price_15min_BE-imbalance_2024-10_2025-09.csv",
        column: "imbalance_price_eur_per_mwh",
        currency: "EUR",
        zone: chrono_tz::Europe::Brussels,
        weather: "weather_60min_BE_reanalysis_2024-10_2025-09.csv",
        place: Location { latitude: 50.85, longitude: 4.35, altitude_m: 30.0 },
        earlier: 0,
        first_day: "2024-10-01",
        last_day: "2025-09-30",
    },
];

/// The houses of the goals: one element and no battery; two elements and a
/// battery; two cylinders, battery and large PV.
pub const HOUSES: [&str; 3] = ["mill-cottage", "harbour-row", "twin-gables"];

/// A house in a market without its promises, under the sky of the market's weather,
/// with the draws and the load of the shared series, and what is known of it; `None` where those are absent.
pub fn world(name: &str, market: &Market) -> Option<(House, Known)> {
    let (mut house, known) = moved(name, market)?;
    house.ready.clear();
    house.location = Some(market.place);
    if house.pv.is_some() {
        house.base_load = BaseLoad::Series { scale: 0.6 };
    }
    let columns = ["draw_l_200lpd", "draw_l_100lpd"];
    let first = usize::from(name == "mill-cottage");
    house.draws = house
        .site
        .stores
        .iter()
        .enumerate()
        .map(|(store, own)| DrawHabit {
            store,
            kind: DrawKind::Series {
                column: columns[(first + store).min(1)].to_owned(),
                temperature: own.use_temperature,
                flow: Flow::constant(8.0),
                scale: 1.0,
            },
        })
        .collect();
    Some((house, known))
}

/// A house in a market with its own habits, and what is known of it; `None` where
/// the shared series are absent.
pub fn moved(name: &str, market: &Market) -> Option<(House, Known)> {
    let mut house = house(&format!("{name}.toml"), |text| text);
    let prices = series(market.file)?;
    house.time_zone = market.zone;
    market.currency.clone_into(&mut house.tariff.currency);
    house.tariff.import = follows(market, 1.15, true);
    if let Rates::Indexed(export) = &mut house.tariff.export {
        export.column = Some(market.column.to_owned());
    }
    // The sun over a roof by its angles would stand elsewhere than that of a
    // weather file that was moved.
    if market.earlier != 0 && matches!(house.pv, Some(Pv::Arrays(_))) {
        house.pv = Some(Pv::Irradiance {
            peak: Power::constant(12.4),
            performance_ratio: 0.84,
            inverter_limit: Some(Power::constant(10.0)),
        });
    }
    let weather = Weather::from_series(&series(market.weather)?).expect("rows in order");
    let later = -3_600 * market.earlier;
    let moved = weather.rows().iter().map(|(slot, conditions)| {
        let slot = optimiser::time::Slot::new(slot.start() + later, slot.end() + later);
        (slot.expect("a slot"), *conditions)
    });
    let known = Known {
        wholesale: Wholesale::from_file(&prices, &house.tariff).expect("prices of the tariff"),
        price_step_seconds: prices.step_seconds(),
        weather: Some(Reading::Dated(Weather::new(moved.collect()).expect("rows in order"))),
        load: series("load_30min_AU-NSW_SGSC10017936_2013.csv"),
        draws: series("dhw_30min_IEA-Annex42_100-200-300Lpd.csv"),
        ..Known::default()
    };
    Some((house, known))
}

/// The unit rates of the demo house in another market.
fn follows(market: &Market, factor: f64, adders: bool) -> Rates {
    let clock = |hour| NaiveTime::from_hms_opt(hour, 0, 0).expect("an hour");
    let band = |from, until, rate| Band {
        from: clock(from),
        until: clock(until),
        rate: Price::constant(rate),
    };
    let adders = if adders {
        vec![band(0, 16, 8.5), band(16, 19, 21.0), band(19, 0, 8.5)]
    } else {
        Vec::new()
    };
    Rates::Indexed(Index {
        column: Some(market.column.to_owned()),
        factor,
        adders,
        vat: 0.05,
        cap: Some(Price::constant(95.0)),
        floor: None,
    })
}

fn series(name: &str) -> Option<SeriesFile> {
    Some(read_file(&shared(name)?, Marks::AsNamed).expect("a series in order"))
}
