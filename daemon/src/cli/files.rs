//! Reading the files that a command names.

use std::path::Path;

use crate::assemble::Known;
use crate::house::House;
use crate::series::{self, Marks, PriceError, SeriesFile};
use crate::size::{self, Source};
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

/// What the demo house is known to live with, where no file says otherwise.
pub(super) fn demo(arguments: &Inputs, house: &House) -> Result<Known, Problem> {
    let stated = known(arguments, house)?;
    let prices = read_series("the demo prices", DEMO_PRICES.as_bytes(), Marks::AsNamed)?;
    let weather = match stated.weather {
        Some(weather) => weather,
        None => read_weather("the demo weather", DEMO_WEATHER.as_bytes(), Marks::AsNamed)?,
    };
    Ok(Known {
        wholesale: wholesale(&prices, house, arguments.price_column.as_deref())?,
        price_step_seconds: prices.step_seconds(),
        weather: Some(weather),
        ..stated
    })
}

/// What the files named on the command line say.
pub(super) fn known(arguments: &Inputs, house: &House) -> Result<Known, Problem> {
    let mut known = Known::default();
    let series_file = |path| series_file(path, house.series_marks);
    if let Some(path) = &arguments.prices {
        let file = series_file(path)?;
        known.wholesale = wholesale(&file, house, arguments.price_column.as_deref())?;
        known.price_step_seconds = file.step_seconds();
    }
    if let Some(path) = &arguments.weather {
        let name = path.display().to_string();
        known.weather = Some(read_weather(&name, &bytes(path)?, house.series_marks)?);
    }
    known.pv = arguments.pv.as_deref().map(&series_file).transpose()?;
    known.load = arguments.load.as_deref().map(&series_file).transpose()?;
    known.draws = arguments.draws.as_deref().map(&series_file).transpose()?;
    Ok(known)
}

/// The bytes of a data file.
pub(super) fn bytes(path: &Path) -> Result<Vec<u8>, Problem> {
    std::fs::read(path).map_err(|error| {
        Problem::new(Failure::Data, format!("{}: cannot be read: {error}", path.display()))
    })
}

/// Writes a file that was asked for.
pub(super) fn write(path: &Path, text: &str) -> Result<(), Problem> {
    std::fs::write(path, text).map_err(|error| {
        Problem::new(Failure::Failed, format!("{}: cannot be written: {error}", path.display()))
    })
}

/// A file by role, name, hash and the line by which it wants to be named.
pub(super) fn source(role: &str, path: &Path, bytes: &[u8]) -> Source {
    let file =
        path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let readme = path.parent().unwrap_or(Path::new("")).join("README.md");
    let attribution =
        std::fs::read_to_string(readme).ok().and_then(|text| size::attribution(&text, &file));
    Source { role: role.to_owned(), file, sha256: size::sha256(bytes), attribution }
}

/// The series of a command as sources.
pub(super) fn sources(inputs: &Inputs) -> Result<Vec<Source>, Problem> {
    let roles = [
        ("prices", &inputs.prices),
        ("weather", &inputs.weather),
        ("pv", &inputs.pv),
        ("load", &inputs.load),
        ("draws", &inputs.draws),
    ];
    let given = roles.into_iter().filter_map(|(role, path)| Some((role, path.as_deref()?)));
    given.map(|(role, path)| Ok(source(role, path, &bytes(path)?))).collect()
}

fn series_file(path: &Path, marks: Marks) -> Result<SeriesFile, Problem> {
    read_series(&path.display().to_string(), &bytes(path)?, marks)
}

fn read_series(name: &str, bytes: &[u8], marks: Marks) -> Result<SeriesFile, Problem> {
    let file =
        series::read(name, bytes, marks).map_err(|error| Problem::new(Failure::Data, error))?;
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

fn read_weather(name: &str, bytes: &[u8], marks: Marks) -> Result<Reading, Problem> {
    let text = String::from_utf8_lossy(bytes);
    let known = weather::read(&text, name).map_err(|error| Problem::new(Failure::Data, error))?;
    if let Some(reading) = known {
        return Ok(reading);
    }
    let file = read_series(name, bytes, marks)?;
    let weather =
        Weather::from_series(&file).map_err(|error| Problem::new(Failure::Data, error))?;
    Ok(Reading::Dated(weather))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn prices(header: &str, column: Option<&str>) -> Result<Wholesale, Problem> {
        let house = crate::site_file::read(DEMO_SITE, "demo").expect("the demo").house;
        let fields = ",80".repeat(header.split(',').count());
        let text =
            format!("start_utc,{header}\n2026-04-17T00:00Z{fields}\n2026-04-17T00:30Z{fields}\n");
        let file = series::read("prices.csv", text.as_bytes(), Marks::AsNamed).expect("a file");
        wholesale(&file, &house, column)
    }

    #[test]
    fn another_column_will_do_if_it_is_the_only_one() {
        let named = "market_index_price_gbp_per_mwh";
        for header in [named, "spot_gbp_per_mwh", "spot_gbp_per_mwh,load_kwh"] {
            let found = prices(header, None).expect("prices").import;
            assert_eq!(found.points().len(), 2, "{header}");
        }
        assert!(prices(&format!("{named},other_gbp_per_mwh"), None).is_ok());
        let error = prices("spot_gbp_per_mwh,other_gbp_per_mwh", None).expect_err("two");
        assert_eq!(error.failure, Failure::Data);
        assert!(error.text.contains(named), "{}", error.text);
    }

    #[test]
    fn a_column_that_is_asked_for_must_be_there() {
        assert!(prices("a_gbp_per_mwh,b_gbp_per_mwh", Some("b_gbp_per_mwh")).is_ok());
        let error = prices("a_gbp_per_mwh", Some("b_gbp_per_mwh")).expect_err("not there");
        assert!(error.text.contains("b_gbp_per_mwh"), "{}", error.text);
    }
}
