//! Houses of the fixtures on real series, where those are at hand.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use optimiser::problem::State;
use optimiser::time::Instant;
use stowheat::assemble::{Assembled, Known, Period, assemble, period};
use stowheat::house::House;
use stowheat::series::{Marks, read_file};
use stowheat::site_file;
use stowheat::tariff::Wholesale;
use stowheat::weather::{Reading, Weather};

/// A series beside the repository, if it is there.
pub fn shared(name: &str) -> Option<PathBuf> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/data").join(name);
    path.exists().then_some(path)
}

/// A house of the fixtures, with its text changed first.
pub fn house(site: &str, change: impl Fn(String) -> String) -> House {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/sites").join(site);
    let text = change(std::fs::read_to_string(path).expect("a fixture site"));
    site_file::read(&text, site).expect("a site in order").house
}

/// The state in which the site file of a house has it begin.
pub fn start(house: &House) -> State {
    State {
        battery: house.state.battery,
        stores: house.state.stores.clone(),
        plant_room: house.state.plant_room.clone(),
    }
}

/// What a house knows from a price file, and weather if given.
pub fn known(house: &House, prices: &Path, weather: Option<&Path>) -> Known {
    let file = read_file(prices, Marks::AsNamed).expect("a price file in order");
    let weather = weather.map(|path| {
        let file = read_file(path, Marks::AsNamed).expect("a weather file in order");
        Reading::Dated(Weather::from_series(&file).expect("rows in order"))
    });
    Known {
        wholesale: Wholesale::from_file(&file, &house.tariff).expect("prices for the tariff"),
        price_step_seconds: file.step_seconds(),
        weather,
        ..Known::default()
    }
}

/// The problem of a house at an instant, starting from a half-warm store.
pub fn problem(house: &House, known: &Known, at: Instant) -> Assembled {
    assemble(house, known, at).expect("a problem")
}

/// A plant room of the fixtures on days of Great Britain 2023.
#[derive(Debug)]
pub struct PlantRoom {
    /// The house.
    pub house: House,
    /// What happened around it.
    pub period: Period,
    /// Its state at the start.
    pub start: State,
}

/// A plant room of the fixtures between two days, both included, with the weather of
/// Bremerhaven, if the series are there.
pub fn plant_room(site: &str, days: (Option<NaiveDate>, Option<NaiveDate>)) -> Option<PlantRoom> {
    let data = ["price_30min_GB_2023.csv", "weather_60min_DE-Bremerhaven_TRY2010.csv"].map(shared);
    let [Some(prices), Some(weather)] = data else { return None };
    let column = "[tariff.import]\ncolumn = \"market_index_price_gbp_per_mwh\"\nfactor";
    let house =
        house(&format!("{site}.toml"), |text| text.replace("[tariff.import]\nfactor", column));
    let known = known(&house, &prices, Some(&weather));
    let period = period(&house, &known, None, days).expect("days of the series");
    let start = start(&house);
    Some(PlantRoom { house, period, start })
}
