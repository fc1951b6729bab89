//! Weather on the slots of a plan: means, and light on a tilted plane.

use optimiser::solar::{Location, SkyModel, WeatherSample, plane_irradiance, sky_within};
use optimiser::time::{Horizon, Slot};
use optimiser::units::{Angle, Fraction, Temperature, WindSpeed};

use super::{Conditions, Weather};

/// A plane that light falls on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane {
    /// Angle to the horizontal, 0 flat, 90 upright.
    pub tilt: Angle,
    /// Direction it faces, clockwise from north: 180 is south.
    pub azimuth: Angle,
    /// Share of light that the ground throws back.
    pub albedo: Fraction,
}

/// Mean of a quantity over each slot; `None` where the weather leaves a part of
/// the slot open.
pub fn means(
    weather: &Weather,
    horizon: &Horizon,
    quantity: impl Fn(&Conditions) -> Option<f64>,
) -> Vec<Option<f64>> {
    by_slot(weather, horizon, |_, _, row| quantity(row))
}

/// Mean irradiance on a plane over each slot [W/m²], under the sky of Hay and
/// Davies; `None` where the weather states no global irradiance.
pub fn on_plane(
    weather: &Weather,
    horizon: &Horizon,
    location: &Location,
    plane: &Plane,
) -> Vec<Option<f64>> {
    by_slot(weather, horizon, |part, period, row| {
        // Light alone matters here, so air and wind may be anything.
        let sample = WeatherSample {
            period,
            ghi: row.ghi?,
            dhi: row.dhi,
            dni: row.dni,
            air: Temperature::constant(15.0),
            wind: WindSpeed::constant(1.0),
        };
        let (sum, count) = sky_within(location, part, &sample)
            .map(|(_, sun, sky)| {
                plane_irradiance(
                    SkyModel::HayDavies,
                    &sky,
                    &sun,
                    plane.tilt,
                    plane.azimuth,
                    plane.albedo,
                )
            })
            .fold((0.0, 0_u32), |(sum, count), light| (sum + light, count + 1));
        Some(if count == 0 { 0.0 } else { sum / f64::from(count) })
    })
}

/// Means over the rows that share time with each slot; they must cover it whole.
/// The value is asked for the shared part, the row's slot and the row.
fn by_slot(
    weather: &Weather,
    horizon: &Horizon,
    value: impl Fn(Slot, Slot, &Conditions) -> Option<f64>,
) -> Vec<Option<f64>> {
    let in_slot = |slot: &Slot| {
        let (mut covered, mut sum) = (0, 0.0);
        for (period, row) in weather.overlapping(*slot) {
            let part = slot.intersection(*period)?;
            covered += part.seconds();
            sum += value(part, *period, row)? * part.seconds() as f64;
        }
        (covered == slot.seconds()).then(|| sum / slot.seconds() as f64)
    };
    horizon.slots().iter().map(in_slot).collect()
}

#[cfg(test)]
mod tests {
    use optimiser::time::Instant;
    use optimiser::units::Irradiance;

    use super::*;

    /// Two hours of weather from an instant, of a temperature and light each.
    fn weather(start: Instant, rows: [(f64, f64); 2]) -> Weather {
        let row = |(hour, (air, ghi)): (i64, (f64, f64))| {
            let begin = start + hour * 3_600;
            let conditions = Conditions {
                temp_air: Some(Temperature::clamped(air)),
                ghi: Some(Irradiance::clamped(ghi)),
                ..Conditions::default()
            };
            (Slot::new(begin, begin + 3_600).expect("an hour"), conditions)
        };
        Weather::new((0..).zip(rows).map(row).collect()).expect("in order")
    }

    #[test]
    fn a_slot_across_two_rows_has_their_weighted_mean() {
        let start = Instant::from_unix(1_750_500_000);
        let weather = weather(start, [(10.0, 0.0), (16.0, 0.0)]);
        let horizon = Horizon::regular(start + 1_800, 5_400, 2).expect("slots");
        let air = means(&weather, &horizon, |row| row.temp_air.map(Temperature::celsius));
        // Half an hour of 10 °C and an hour of 16 °C; the second slot is open.
        assert_eq!(air, [Some(14.0), None]);
    }

    // SO-06 to SO-10: 21 June 2025 at 12:00 UTC, 52° N, 1° W: 884.6 W/m² on the
    // horizontal are 1009.6 W/m² on 35° south with a diffuse part of 98.7 W/m²
    // (pvlib); without that part stated it is estimated.
    #[test]
    fn light_on_a_plane_towards_the_sun() {
        let noon = Instant::from_unix(1_750_507_200);
        let weather = weather(noon + -1_800, [(20.0, 884.6), (20.0, 0.0)]);
        let horizon = Horizon::regular(noon + -300, 600, 1).expect("a slot");
        let location = Location { latitude: 52.0, longitude: -1.0, altitude_m: 100.0 };
        let plane = |azimuth| Plane {
            tilt: Angle::constant(35.0),
            azimuth: Angle::clamped(azimuth),
            albedo: Fraction::constant(0.2),
        };
        let south = on_plane(&weather, &horizon, &location, &plane(180.0))[0].expect("light");
        let north = on_plane(&weather, &horizon, &location, &plane(0.0))[0].expect("light");
        assert!((south / 1_009.6 - 1.0).abs() < 0.03, "{south}");
        assert!(north < south);
    }
}
