//! The pasts that a study lives through, from the command line.

use std::path::{Path, PathBuf};

use chrono::{Datelike, NaiveDate};

use crate::house::House;
use crate::local_time::local_date;
use crate::size::{Source, World};

use super::super::arguments::{Inputs, Size};
use super::super::{Failure, Problem, files};
use super::source;

/// Reads every world: each price file is one, with its own weather where there
/// is as much weather as there are prices.
pub(super) fn read(arguments: &Size, house: &House) -> Result<Vec<World>, Problem> {
    let (prices, weather) = (&arguments.prices, &arguments.weather);
    if prices.len() > 1 && weather.len() > 1 && prices.len() != weather.len() {
        return Err(Problem::new(
            Failure::Usage,
            format!(
                "{} price files and {} weather files do not pair; give one of either for all, or as many of both",
                prices.len(),
                weather.len()
            ),
        ));
    }
    let exchange = exchange(&arguments.exchange, &house.tariff.currency)?;
    let worlds = prices.len().max(weather.len()).max(1);
    let own = |files: &[PathBuf], world: usize| {
        files.get(if files.len() > 1 { world } else { 0 }).cloned()
    };
    let mut read = Vec::new();
    for world in 0..worlds {
        let inputs = Inputs {
            prices: own(prices, world),
            price_column: arguments.price_column.clone(),
            weather: own(weather, world),
            pv: arguments.pv.clone(),
            load: arguments.load.clone(),
            draws: arguments.draws.clone(),
        };
        read.push(one(arguments, house, &inputs, &exchange)?);
    }
    // Two worlds of one price file differ by their weather.
    for index in 0..read.len() {
        let same = |other: &World| other.name == read[index].name;
        if read.iter().filter(|world| same(world)).count() > 1
            && let Some(file) = read[index].files.iter().find(|file| file.role == "weather")
        {
            read[index].name = format!("{}, {}", read[index].name, stem(Path::new(&file.file)));
        }
    }
    Ok(read)
}

fn one(
    arguments: &Size,
    house: &House,
    inputs: &Inputs,
    exchange: &[(String, f64)],
) -> Result<World, Problem> {
    let (known, exchange) = match files::known(inputs, house) {
        Ok(known) => (known, None),
        Err(problem) => exchange
            .iter()
            .find_map(|(currency, rate)| {
                let mut abroad = house.clone();
                abroad.tariff.currency.clone_from(currency);
                Some((files::known(inputs, &abroad).ok()?, Some((currency.clone(), *rate))))
            })
            .ok_or(problem)?,
    };
    let mut sources: Vec<Source> = Vec::new();
    for (role, path) in [
        ("prices", &inputs.prices),
        ("weather", &inputs.weather),
        ("pv", &inputs.pv),
        ("load", &inputs.load),
        ("draws", &inputs.draws),
    ] {
        if let Some(path) = path {
            sources.push(source(role, path, &files::bytes(path)?));
        }
    }
    // The year that a day without one falls into: that of the middle of the prices.
    let points = [&known.wholesale.import, &known.wholesale.export].map(|prices| prices.points());
    let middle = points
        .iter()
        .find(|points| !points.is_empty())
        .map(|points| local_date(points[points.len() / 2].0.start(), house.time_zone).year());
    let day = |text: &Option<String>| text.as_deref().map(|text| date(text, middle)).transpose();
    Ok(World {
        name: inputs.prices.as_deref().map_or_else(|| "the tariff".to_owned(), stem),
        known,
        draws_column: arguments.draws_column.clone(),
        days: (day(&arguments.from)?, day(&arguments.to)?),
        exchange,
        files: sources,
    })
}

fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().replace('_', " "))
}

/// A day, or a month and day of a year.
fn date(text: &str, year: Option<i32>) -> Result<NaiveDate, Problem> {
    let of_year = || {
        let (month, day) = text.split_once('-')?;
        NaiveDate::from_ymd_opt(year?, month.parse().ok()?, day.parse().ok()?)
    };
    text.parse::<NaiveDate>().ok().or_else(of_year).ok_or_else(|| {
        Problem::new(
            Failure::Usage,
            format!("{text} is not a day; write it as 2023-07-02, or as 07-02 for that day of each price file's year"),
        )
    })
}

/// `AUD=0.52`: one AUD is 0.52 of the site's currency.
fn exchange(texts: &[String], own: &str) -> Result<Vec<(String, f64)>, Problem> {
    texts
        .iter()
        .map(|text| {
            let parts = text.split_once('=').and_then(|(currency, rate)| {
                let rate = rate.trim().parse::<f64>().ok().filter(|r| r.is_finite() && *r > 0.0)?;
                Some((currency.trim().to_uppercase(), rate))
            });
            parts.ok_or_else(|| {
                Problem::new(
                    Failure::Usage,
                    format!("--exchange {text} is no rate; write it as AUD=0.52, what one of it is in {own}"),
                )
            })
        })
        .collect()
}
