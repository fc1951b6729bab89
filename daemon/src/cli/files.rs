//! Reading the files that a command names.

use std::path::Path;

use crate::assemble::Known;
use crate::house::House;
use crate::series::{self, Marks, PriceError, SeriesFile};
use crate::tariff::{Rates, Wholesale};
use crate::weather::{self, Reading, Weather};

use super::arguments::Inputs;
use super::{Failure, Problem, say};

/// Site file, prices and weather of the demo house.
pub(super) const DEMO_SITE: &str = include_str!("../../../fixtures/sites/harbour-row.toml");
const DEMO_PRICES: &str = include_str!("../../../fixtures/prices/harbour-row.csv");
const DEMO_WEATHER: &str = include_str!("../../../fixtures/weather/harbour-row.csv");

/// The text of a site file, and its name for messages.
pub(super) fn site_text(path: &Path) -> Result<(String, String), Problem> {
    let name = path.display().to_string();
    match std::fs::read_to_string(path) {
        Ok(text) => Ok((name, text)),
        Err(error) => Err(Problem::new(Failure::Site, format!("{name}: cannot be read: {error}"))),
    }
}

/// What the demo house is known to live with.
pub(super) fn demo(house: &House) -> Result<Known, Problem> {
    let prices = read_series("the demo prices", DEMO_PRICES.as_bytes())?;
    Ok(Known {
        wholesale: wholesale(&prices, house, None)?,
        price_step_seconds: prices.step_seconds(),
        weather: Some(read_weather("the demo weather", DEMO_WEATHER.as_bytes())?),
        ..Known::default()
    })
}

/// What the files named on the command line say.
pub(super) fn known(arguments: &Inputs, house: &House) -> Result<Known, Problem> {
    let mut known = Known::default();
    if let Some(path) = &arguments.prices {
        let file = series_file(path)?;
        known.wholesale = wholesale(&file, house, arguments.price_column.as_deref())?;
        known.price_step_seconds = file.step_seconds();
    }
    if let Some(path) = &arguments.weather {
        let name = path.display().to_string();
        known.weather = Some(read_weather(&name, &bytes(path)?)?);
    }
    known.pv = arguments.pv.as_deref().map(series_file).transpose()?;
    known.load = arguments.load.as_deref().map(series_file).transpose()?;
    known.draws = arguments.draws.as_deref().map(series_file).transpose()?;
    Ok(known)
}

fn bytes(path: &Path) -> Result<Vec<u8>, Problem> {
    std::fs::read(path).map_err(|error| {
        Problem::new(Failure::Data, format!("{}: cannot be read: {error}", path.display()))
    })
}

fn series_file(path: &Path) -> Result<SeriesFile, Problem> {
    read_series(&path.display().to_string(), &bytes(path)?)
}

fn read_series(name: &str, bytes: &[u8]) -> Result<SeriesFile, Problem> {
    let file = series::read(name, bytes, Marks::AsNamed)
        .map_err(|error| Problem::new(Failure::Data, error))?;
    for notice in file.notices() {
        say(&format!("{name}: {notice}"));
    }
    Ok(file)
}

/// The prices that a tariff follows. A column that the site names but the file
/// does not have is no fault where the file holds only one series of prices.
fn wholesale(file: &SeriesFile, house: &House, column: Option<&str>) -> Result<Wholesale, Problem> {
    let data = |error: PriceError| Problem::new(Failure::Data, error);
    let mut tariff = house.tariff.clone();
    for rates in [&mut tariff.import, &mut tariff.export] {
        if let Rates::Indexed(index) = rates {
            if let Some(column) = column {
                index.column = Some(column.to_owned());
            } else if index.column.as_deref().is_some_and(|named| file.column(named).is_err())
                && file.only(series::Dimension::Price).is_ok()
            {
                index.column = None;
            }
        }
    }
    Wholesale::from_file(file, &tariff).map_err(data)
}

fn read_weather(name: &str, bytes: &[u8]) -> Result<Reading, Problem> {
    let text = String::from_utf8_lossy(bytes);
    let known = weather::read(&text, name).map_err(|error| Problem::new(Failure::Data, error))?;
    if let Some(reading) = known {
        return Ok(reading);
    }
    let file = read_series(name, bytes)?;
    let weather =
        Weather::from_series(&file).map_err(|error| Problem::new(Failure::Data, error))?;
    Ok(Reading::Dated(weather))
}
