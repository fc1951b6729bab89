//! The pasts that a study lives through, from the command line.

use std::path::{Path, PathBuf};

use chrono::{Datelike, NaiveDate};

use crate::house::House;
use crate::local_time::local_date;
use crate::series::Prices;
use crate::size::World;

use super::super::arguments::{Inputs, Size};
use super::super::{Failure, Problem, files};

/// Reads every world: each price file is one, with its own weather where there
/// is as much weather as there are prices, for each period that is asked for.
pub(super) fn read(arguments: &Size, house: &House) -> Result<Vec<World>, Problem> {
    let (prices, weather) = (&arguments.prices, &arguments.weather);
    let pairs = |count: usize, with: usize| count < 2 || with < 2 || count == with;
    let odd = |what: String| Err(Problem::new(Failure::Usage, what));
    if !pairs(prices.len(), weather.len()) {
        return odd(format!(
            "{} price files and {} weather files do not pair; give one of either for all, or as many of both",
            prices.len(),
            weather.len()
        ));
    }
    let later = &arguments.prices_later;
    if !later.is_empty() && later.len() != prices.len() {
        return odd(format!(
            "{} price files and {} values of --prices-later do not pair; give one for each, 0 where nothing moves",
            prices.len(),
            later.len()
        ));
    }
    let (from, to) = (&arguments.from, &arguments.to);
    if from.len().max(1) != to.len().max(1) {
        return odd(format!(
            "--from is given {} times and --to {} times; give as many of both, in order",
            from.len(),
            to.len()
        ));
    }
    let exchange = exchange(&arguments.exchange, &house.tariff.currency)?;
    let mut read = Vec::new();
    for world in 0..prices.len().max(weather.len()).max(1) {
        let (name, prices) = own(prices, world).map(|path| named(path)).unzip();
        let inputs = Inputs {
            prices,
            price_column: arguments.price_column.clone(),
            weather: own(weather, world).cloned(),
            pv: arguments.pv.clone(),
            load: arguments.load.clone(),
            draws: arguments.draws.clone(),
        };
        let all = World {
            name: name.unwrap_or_else(|| "the tariff".to_owned()),
            draws_column: arguments.draws_column.clone(),
            later_hours: later.get(world).copied().unwrap_or(0),
            ..one(house, &inputs, &exchange)?
        };
        let year = year(&all, house);
        for period in 0..from.len().max(to.len()).max(1) {
            let day = |texts: &[String]| texts.get(period).map(|t| date(t, year)).transpose();
            read.push(World { days: (day(from)?, day(to)?), ..all.clone() });
        }
    }
    told_apart(&mut read);
    Ok(read)
}

/// The file of a world, where one may serve all.
fn own(files: &[PathBuf], world: usize) -> Option<&PathBuf> {
    files.get(if files.len() > 1 { world } else { 0 })
}

/// Worlds of one price file differ by their weather or by their days.
fn told_apart(worlds: &mut [World]) {
    let weather = |world: &World| {
        let file = world.files.iter().find(|file| file.role == "weather");
        file.map(|file| stem(Path::new(&file.file)))
    };
    let names: Vec<String> = worlds
        .iter()
        .map(|world| {
            let alike = || worlds.iter().filter(|other| other.name == world.name);
            let mut name = world.name.clone();
            if alike().any(|other| weather(other) != weather(world)) {
                name = format!("{name}, {}", weather(world).unwrap_or_default());
            }
            if let (Some(first), true) = (world.days.0, alike().any(|o| o.days != world.days)) {
                name = format!("{name}, from {}", first.format("%-d %b"));
            }
            name
        })
        .collect();
    for (world, name) in worlds.iter_mut().zip(names) {
        world.name = name;
    }
}

/// A price file with the name it goes by: `NAME=FILE`, or the file's own.
fn named(path: &Path) -> (String, PathBuf) {
    let text = path.to_string_lossy();
    match text.split_once('=') {
        Some((name, file)) if !path.exists() && !name.trim().is_empty() => {
            (name.trim().to_owned(), PathBuf::from(file))
        }
        _ => (stem(path), path.to_owned()),
    }
}

fn one(house: &House, inputs: &Inputs, exchange: &[(String, f64)]) -> Result<World, Problem> {
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
    Ok(World {
        name: String::new(),
        known,
        draws_column: None,
        days: (None, None),
        later_hours: 0,
        exchange,
        files: files::sources(inputs)?,
    })
}

/// The year that a day without one falls into: that of the middle of the prices.
fn year(world: &World, house: &House) -> Option<i32> {
    let wholesale = &world.known.wholesale;
    let points = [&wholesale.import, &wholesale.export].map(Prices::points);
    let points = points.into_iter().find(|points| !points.is_empty())?;
    Some(local_date(points[points.len() / 2].0.start(), house.time_zone).year())
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
