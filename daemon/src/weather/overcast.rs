//! Weather to assume where none is known: little sun, so that nobody waits for
//! heat that does not come.

use optimiser::solar::{Location, sun_position};
use optimiser::time::{Instant, Slot};
use optimiser::units::Irradiance;

use super::{Conditions, Weather};

/// Share of a clear sky's light that a dull day still brings (common practice,
/// no published source).
pub const DULL_SHARE: f64 = 0.3;

/// Length of the rows [s].
const STEP: i64 = 900;

/// A dull sky over a span: a share of the clear-sky irradiance of Haurwitz
/// (1945), `1098·cos z·exp(−0.057/cos z)` W/m², in quarter-hours.
pub fn dull_sky(location: &Location, span: Slot) -> Weather {
    let first = span.start().unix().div_euclid(STEP);
    let last = span.end().unix().div_euclid(STEP);
    let rows = (first..=last).filter_map(|quarter| {
        let start = Instant::from_unix(quarter * STEP);
        let slot = Slot::new(start, start + STEP)?;
        let height = sun_position(location, start + STEP / 2).cos_zenith();
        let clear = if height > 0.0 { 1_098.0 * height * (-0.057 / height).exp() } else { 0.0 };
        let ghi = Some(Irradiance::clamped(clear * DULL_SHARE));
        Some((slot, Conditions { ghi, ..Conditions::default() }))
    });
    Weather::new(rows.collect()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Haurwitz, "Insolation in relation to cloudiness and cloud density",
    // Journal of Meteorology 2 (1945): at a zenith distance of 60° a clear sky
    // gives 1098·0.5·exp(-0.114) = 490 W/m².
    #[test]
    fn a_dull_sky_is_a_share_of_a_clear_one() {
        let location = Location { latitude: 0.0, longitude: 0.0, altitude_m: 0.0 };
        // Equator, equinox 2025: four hours after noon the sun stands 30° high.
        let four = Instant::from_unix(1_742_486_400 - 1_742_486_400 % 86_400 + 16 * 3_600);
        let span = Slot::new(four, four + STEP).expect("a quarter");
        let weather = dull_sky(&location, span);
        let ghi = weather.overlapping(span)[0].1.ghi.expect("light by day").watts_per_m2();
        assert!((ghi - 490.0 * DULL_SHARE).abs() < 15.0, "{ghi}");
    }

    #[test]
    fn no_light_at_night() {
        let location = Location { latitude: 51.0, longitude: 0.0, altitude_m: 0.0 };
        let midnight = Instant::from_unix(1_735_689_600);
        let span = Slot::new(midnight, midnight + 3_600).expect("an hour");
        assert!(
            dull_sky(&location, span)
                .rows()
                .iter()
                .all(|(_, row)| { row.ghi.is_some_and(|g| g.watts_per_m2() == 0.0) })
        );
    }
}
