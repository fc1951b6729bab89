//! The pasts that a study lives through, from the command line.

use std::path::{Path, PathBuf};

use chrono::{Datelike, NaiveDate};
use optimiser::sizing::spread;

use crate::house::House;
use crate::local_time::local_date;
use crate::series::Prices;
use crate::size::{Days, World};

use super::super::arguments::{Inputs, Size};
use super::super::{Failure, Problem, files};

/// Reads every world: each price file is one, with its own weather where there
/// is as much weather as there are prices, for each period that is asked for.
pub(super) fn read(
    arguments: &Size,
    house: &House,
    measured: &[(String, f64)],
) -> Result<Vec<World>, Problem> {
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
        let mut spans = Vec::new();
        for span in 0..from.len().max(to.len()).max(1) {
            let day = |texts: &[String]| texts.get(span).map(|t| date(t, year)).transpose();
            spans.push((day(from)?, day(to)?));
        }
        if let Some(sample) = &arguments.sample {
            spans = sampled(&all, house, &spans, sample)?;
        }
        for parts in years(spans)? {
            read.push(World { parts, ..all.clone() });
        }
    }
    told_apart(&mut read);
    if !measured.is_empty() {
        let calculated = read
            .iter()
            .map(|world| World { name: format!("{}, as calculated", world.name), ..world.clone() });
        let calculated: Vec<World> = calculated.collect();
        for world in &mut read {
            world.measured = measured.to_vec();
        }
        read.extend(calculated);
    }
    Ok(read)
}

/// Stretches of each calendar year of some spans, as `12` for twelve weeks or `12x2`
/// for twelve times two days.
fn sampled(
    world: &World,
    house: &House,
    spans: &[Days],
    sample: &str,
) -> Result<Vec<Days>, Problem> {
    let (count, length) = sample.split_once('x').unwrap_or((sample, "7"));
    let number = |text: &str| text.trim().parse::<usize>().ok().filter(|n| (1..=366).contains(n));
    let Some((count, length)) = number(count).zip(number(length)) else {
        return Err(Problem::new(
            Failure::Usage,
            format!(
                "--sample {sample} is no sample; write 12 for twelve weeks of a year, or 12x2 for twelve times two days"
            ),
        ));
    };
    let mut all = Vec::new();
    for span in spans {
        let (first, last) =
            world.days(house, *span).map_err(|error| Problem::new(Failure::Data, error))?;
        for year in first.year()..=last.year() {
            let turn = |year| NaiveDate::from_ymd_opt(year, 1, 1).unwrap_or(first);
            let (from, to) =
                (first.max(turn(year)), last.min(turn(year + 1) - chrono::Days::new(1)));
            let days = usize::try_from((to - from).num_days() + 1).unwrap_or(0);
            // A few hours of a neighbouring year are no year.
            if days < count * length && days < 364 {
                continue;
            }
            let day = |day: usize| Some(from + chrono::Days::new(day as u64));
            let stretches = spread(count, length, days).into_iter();
            all.extend(stretches.map(|stretch| (day(stretch.start), day(stretch.end - 1))));
        }
    }
    if all.is_empty() {
        return Err(Problem::new(
            Failure::Usage,
            format!(
                "--sample {sample} asks for more days than there are in any year of the prices"
            ),
        ));
    }
    Ok(all)
}

/// Spans in order, those that begin in the same year together.
fn years(mut spans: Vec<Days>) -> Result<Vec<Vec<Days>>, Problem> {
    spans.sort();
    for pair in spans.windows(2) {
        if let ((_, Some(end)), (Some(start), _)) = (pair[0], pair[1])
            && start <= end
        {
            return Err(Problem::new(
                Failure::Usage,
                format!("{start} is in two of the periods; let --from and --to not overlap"),
            ));
        }
    }
    let year = |span: &Days| span.0.map(|day| day.year());
    Ok(spans.chunk_by(|a, b| year(a) == year(b)).map(<[Days]>::to_vec).collect())
}

/// The file of a world, where one may serve all.
fn own(files: &[PathBuf], world: usize) -> Option<&PathBuf> {
    files.get(if files.len() > 1 { world } else { 0 })
}

/// Worlds of one price file differ by their weather or by their year.
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
            let first = world.parts.first().and_then(|(first, _)| *first);
            if let (Some(first), true) = (first, alike().any(|o| o.parts != world.parts)) {
                name = format!("{name}, {}", first.year());
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
        parts: Vec::new(),
        later_hours: 0,
        exchange,
        measured: Vec::new(),
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
