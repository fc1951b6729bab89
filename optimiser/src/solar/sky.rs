//! Sunlight on a horizontal plane: above the air, through it, and its parts.

use crate::time::{Instant, civil};

/// Solar constant that Spencer's series is scaled to [W/m²], from C. A.
/// Gueymard, "The sun's total and spectral irradiance for solar energy
/// applications", Solar Energy 76, 2004, doi:10.1016/j.solener.2003.08.039.
const SOLAR_CONSTANT: f64 = 1_366.1;

/// The parts of sunlight at an instant [W/m²].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sky {
    /// Global, on a horizontal plane.
    pub ghi: f64,
    /// Beam, on a plane that faces the sun.
    pub dni: f64,
    /// Diffuse, on a horizontal plane.
    pub dhi: f64,
    /// Beam above the air; see [`extraterrestrial`].
    pub dni_extraterrestrial: f64,
}

/// Beam above the air [W/m²], by the day of the year in UTC.
///
/// J. W. Spencer, "Fourier series representation of the position of the sun",
/// Search 2(5), 1971.
pub fn extraterrestrial(at: Instant) -> f64 {
    let day = at.unix().div_euclid(86_400);
    let (year, _, _) = civil(day);
    let day_of_year = day - days_before(year);
    let angle = 2.0 * std::f64::consts::PI * day_of_year as f64 / 365.0;
    SOLAR_CONSTANT
        * (1.000_11
            + 0.034_221 * angle.cos()
            + 0.001_28 * angle.sin()
            + 0.000_719 * (2.0 * angle).cos()
            + 0.000_077 * (2.0 * angle).sin())
}

/// Days from 1970-01-01 to the first day of a year.
fn days_before(year: i64) -> i64 {
    let past = year - 1;
    365 * (year - 1_970) + past.div_euclid(4) - past.div_euclid(100) + past.div_euclid(400) - 477
}

/// Length of the path through the air over that from the zenith; that of the
/// horizon when the sun is below it.
///
/// F. Kasten and A. T. Young, "Revised optical air mass tables and
/// approximation formula", Applied Optics 28, 1989, doi:10.1364/AO.28.004735.
pub fn relative_air_mass(apparent_zenith: f64) -> f64 {
    let zenith = apparent_zenith.clamp(0.0, 90.0);
    1.0 / (zenith.to_radians().cos() + 0.505_72 * (96.079_95 - zenith).powf(-1.636_4))
}

/// Diffuse share of global irradiance at a clearness index, the global
/// irradiance over the one above the air on the same horizontal plane.
///
/// D. G. Erbs, S. A. Klein and J. A. Duffie, "Estimation of the diffuse
/// radiation fraction for hourly, daily and monthly-average global radiation",
/// Solar Energy 28, 1982, doi:10.1016/0038-092X(82)90302-4.
pub fn diffuse_share(clearness: f64) -> f64 {
    if clearness <= 0.22 {
        1.0 - 0.09 * clearness.max(0.0)
    } else if clearness <= 0.8 {
        let k = clearness;
        0.951_1 + k * (-0.160_4 + k * (4.388 + k * (-16.638 + k * 12.336)))
    } else {
        0.165
    }
}
