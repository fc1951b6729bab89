//! Forecasts that are planned with while they are young.

use std::collections::BTreeMap;

use optimiser::time::Instant;

use crate::assemble::Known;
use crate::series::{self, Marks, SeriesFile};
use crate::service::settings::{ForecastOf, ForecastSource};
use crate::weather::{self, Reading, Weather};

enum Content {
    Weather(Reading),
    Series(SeriesFile),
    Air(Weather),
}

struct Held {
    content: Content,
    issued_at: Instant,
}

/// The latest forecast of each kind.
pub struct Forecasts {
    max_age_s: BTreeMap<ForecastOf, i64>,
    held: BTreeMap<ForecastOf, Held>,
    /// Those that were young when it was last asked.
    young: Vec<ForecastOf>,
}

impl Forecasts {
    /// Knows nothing yet.
    pub fn new(sources: &[ForecastSource]) -> Self {
        let max_age_s = sources.iter().map(|source| (source.of, source.max_age_s)).collect();
        Self { max_age_s, held: BTreeMap::new(), young: Vec::new() }
    }

    /// Takes a document.
    ///
    /// # Errors
    /// In words, if it cannot be read; the one before is then kept.
    pub fn take(&mut self, of: ForecastOf, issued_at: Instant, bytes: &[u8]) -> Result<(), String> {
        let name = format!("the {} forecast", of.name());
        let content = match of {
            ForecastOf::Weather => Content::Weather(read_weather(&name, bytes)?),
            ForecastOf::Outdoor => Content::Air(read_air(&name, bytes)?),
            ForecastOf::Pv | ForecastOf::Load | ForecastOf::Draws => {
                Content::Series(read_series(&name, bytes)?)
            }
        };
        self.held.insert(of, Held { content, issued_at });
        Ok(())
    }

    /// What is young, for planning.
    pub fn fill(&self, known: &mut Known, now: Instant) {
        for (of, held) in self.held.iter().filter(|(of, held)| self.is_young(**of, held, now)) {
            match (of, &held.content) {
                (ForecastOf::Weather, Content::Weather(reading)) => {
                    known.weather = Some(reading.clone());
                }
                (ForecastOf::Outdoor, Content::Air(air)) => known.outdoor = Some(air.clone()),
                (ForecastOf::Pv, Content::Series(file)) => known.pv = Some(file.clone()),
                (ForecastOf::Load, Content::Series(file)) => known.load = Some(file.clone()),
                (ForecastOf::Draws, Content::Series(file)) => known.draws = Some(file.clone()),
                _ => {}
            }
        }
    }

    /// Those that grew old or young since this was last asked.
    pub fn turned(&mut self, now: Instant) -> Vec<(ForecastOf, bool)> {
        let of_now =
            |of: &ForecastOf| self.held.get(of).is_some_and(|held| self.is_young(*of, held, now));
        let young: Vec<_> = self.max_age_s.keys().copied().filter(|of| of_now(of)).collect();
        let turned = ForecastOf::ALL
            .into_iter()
            .filter(|of| young.contains(of) != self.young.contains(of))
            .map(|of| (of, young.contains(&of)))
            .collect();
        self.young = young;
        turned
    }

    fn is_young(&self, of: ForecastOf, held: &Held, now: Instant) -> bool {
        self.max_age_s.get(&of).is_some_and(|most| now - held.issued_at <= *most)
    }
}

fn read_series(name: &str, bytes: &[u8]) -> Result<SeriesFile, String> {
    series::read(name, bytes, Marks::AsNamed).map_err(|error| error.to_string())
}

fn read_air(name: &str, bytes: &[u8]) -> Result<Weather, String> {
    let file = read_series(name, bytes)?;
    Weather::air_from_series(&file).map_err(|error| error.to_string())
}

fn read_weather(name: &str, bytes: &[u8]) -> Result<Reading, String> {
    let text = String::from_utf8_lossy(bytes);
    if let Some(reading) = weather::read(&text, name).map_err(|error| error.to_string())? {
        return Ok(reading);
    }
    let file = read_series(name, bytes)?;
    Weather::from_series(&file).map(Reading::Dated).map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    use crate::service::link::Topic;
    use crate::service::settings::Place;

    use super::*;

    // Failure case 41: an old forecast is not planned with.
    #[test]
    fn a_forecast_grows_old() {
        let at = Instant::from_unix;
        let place = Place::Topic(Topic::new("f/pv").expect("a topic"));
        let source = ForecastSource { of: ForecastOf::Pv, place, max_age_s: 3_600 };
        let mut forecasts = Forecasts::new(&[source]);
        assert_eq!(forecasts.turned(at(0)), []);
        let csv = b"start,pv_kwh\n2026-01-01T00:00:00Z,0.5\n2026-01-01T00:30:00Z,0.6\n";
        forecasts.take(ForecastOf::Pv, at(0), csv).expect("a series");
        assert_eq!(forecasts.turned(at(10)), [(ForecastOf::Pv, true)]);
        let known = |forecasts: &Forecasts, now| {
            let mut known = Known::default();
            forecasts.fill(&mut known, at(now));
            known.pv.is_some()
        };
        assert!(known(&forecasts, 3_600));
        assert!(forecasts.take(ForecastOf::Pv, at(3_000), b"rubbish").is_err());
        assert_eq!(forecasts.turned(at(3_601)), [(ForecastOf::Pv, false)]);
        assert!(!known(&forecasts, 3_601));
    }
}
