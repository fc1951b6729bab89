//! The air outside: as the weather says, better as a forecast of its own says, and
//! put right by what is measured now.

use optimiser::time::{Horizon, Slot};
use optimiser::units::Temperature;

use super::Known;
use crate::weather::Weather;

/// A difference between the air and its forecast is down to a third after so many
/// hours (common practice, no published source).
const FADE_HOURS: f64 = 12.0;

impl Known {
    /// The weather of a span.
    pub(super) fn weather_over(&self, span: Slot) -> Weather {
        let weather = self.weather.as_ref().map(|weather| weather.over(span)).unwrap_or_default();
        self.with_air(&weather, span)
    }

    /// Whether the temperature of the air is known for any of these slots.
    pub(super) fn states_air(&self, slots: &Horizon) -> bool {
        let span = Slot::new(slots.start(), slots.end());
        span.is_some_and(|span| self.weather_over(span).states(|row| row.temp_air))
    }

    /// Weather with the air as it is expected.
    pub(super) fn with_air(&self, weather: &Weather, span: Slot) -> Weather {
        let mut rows = match &self.outdoor {
            Some(outdoor) if weather.rows().is_empty() => outdoor.overlapping(span).to_vec(),
            _ => weather.rows().to_vec(),
        };
        for (slot, row) in &mut rows {
            row.temp_air = self.forecast_air(*slot).or(row.temp_air);
        }
        let now = span.start();
        let of_now = rows.iter().find(|(slot, _)| slot.contains(now));
        if let Some(expected) = of_now.and_then(|(_, row)| row.temp_air) {
            for (slot, row) in &mut rows {
                row.temp_air = row.temp_air.map(|air| {
                    let apart = self.air_is_apart(expected, slot.start().hours_since(now));
                    Temperature::clamped(air.celsius() + apart)
                });
            }
        }
        Weather::new(rows).unwrap_or_default()
    }

    /// By how much the air will be warmer than expected some hours ahead, as far as
    /// what is measured now tells \[K\].
    pub(super) fn air_is_apart(&self, expected_now: Temperature, hours: f64) -> f64 {
        let apart = self.outside.map_or(0.0, |air| air.celsius() - expected_now.celsius());
        apart * (-hours.max(0.0) / FADE_HOURS).exp()
    }

    /// Mean over a slot of what the outdoor forecast says, if it covers it.
    fn forecast_air(&self, slot: Slot) -> Option<Temperature> {
        let rows = self.outdoor.as_ref()?.overlapping(slot);
        let (mut covered, mut sum) = (0, 0.0);
        for (period, row) in rows {
            let seconds = period.overlap_seconds(slot);
            covered += seconds;
            sum += row.temp_air?.celsius() * seconds as f64;
        }
        (covered == slot.seconds()).then(|| Temperature::clamped(sum / covered as f64))
    }
}

#[cfg(test)]
mod tests {
    use optimiser::time::Instant;

    use super::*;
    use crate::weather::Conditions;

    fn at(hours: i64) -> Instant {
        Instant::from_unix(1_767_225_600 + hours * 3_600)
    }

    /// The same air at all times of a span, in hours.
    fn still_air(air: Temperature, span: Slot) -> Weather {
        const HOUR: i64 = 3_600;
        let first = span.start().unix().div_euclid(HOUR);
        let last = span.end().unix().div_euclid(HOUR);
        let row = |hour: i64| {
            let start = Instant::from_unix(hour * HOUR);
            let conditions = Conditions { temp_air: Some(air), ..Conditions::default() };
            Slot::new(start, start + HOUR).map(|slot| (slot, conditions))
        };
        Weather::new((first..=last).filter_map(row).collect()).unwrap_or_default()
    }

    fn span() -> Slot {
        Slot::new(at(0), at(48)).expect("two days")
    }

    fn air(weather: &Weather, hours: i64) -> f64 {
        let (_, row) =
            weather.rows().iter().find(|(slot, _)| slot.contains(at(hours))).expect("a row");
        row.temp_air.expect("a temperature").celsius()
    }

    fn known(outdoor: Option<f64>, outside: Option<f64>) -> Known {
        Known {
            outdoor: outdoor.map(|celsius| still_air(Temperature::clamped(celsius), span())),
            outside: outside.map(Temperature::clamped),
            ..Known::default()
        }
    }

    #[test]
    fn a_forecast_of_the_air_goes_before_that_of_the_weather() {
        let weather = still_air(Temperature::constant(12.0), span());
        let said = |known: Known| air(&known.with_air(&weather, span()), 20);
        assert!((said(known(None, None)) - 12.0).abs() < 1e-9);
        assert!((said(known(Some(3.0), None)) - 3.0).abs() < 1e-9);
        // Without weather it stands alone.
        assert!((air(&known(Some(3.0), None).weather_over(span()), 20) - 3.0).abs() < 1e-9);
        assert!(known(None, Some(3.0)).weather_over(span()).rows().is_empty());
    }

    // It is 6 K colder than forecast: for now all of it, after 12 h 6/e, after two days
    // hardly any.
    #[test]
    fn what_is_measured_puts_the_forecast_right_and_fades() {
        let weather = known(Some(8.0), Some(2.0)).weather_over(span());
        assert!((air(&weather, 0) - 2.0).abs() < 1e-9);
        assert!((air(&weather, 12) - (8.0 - 6.0 * (-1.0_f64).exp())).abs() < 1e-9);
        assert!(air(&weather, 47) > 7.8);
    }
}
