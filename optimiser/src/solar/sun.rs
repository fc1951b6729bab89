//! Where the sun stands.
//!
//! The apparent longitude follows J. Meeus, *Astronomical Algorithms*, 1991,
//! chapter 24 (low accuracy), with the planetary and lunar terms of J. Meeus,
//! *Astronomical Formulae for Calculators*, 1979, chapter 18. Parallax,
//! refraction and pressure follow I. Reda and A. Andreas, "Solar position
//! algorithm for solar radiation applications", Solar Energy 76, 2004,
//! doi:10.1016/j.solener.2003.12.003. Own code of one page keeps the library
//! free of a dependency at the accuracy of the checks, 0.01°.

use super::Location;
use crate::time::Instant;

/// Mean air temperature that refraction is computed for [°C].
const REFRACTION_TEMPERATURE: f64 = 12.0;
/// Terrestrial minus universal time around 2025 [s] (IERS Bulletin A).
const TERRESTRIAL_TIME_AHEAD: f64 = 69.0;
const ARC_SECOND: f64 = 1.0 / 3_600.0;
/// Semi-diameter of the sun and refraction at the horizon, as in Reda and Andreas [°].
const SUNRISE_DEPTH: f64 = 0.26667 + 0.5667;

/// Direction of the sun as seen from a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SunPosition {
    /// Angle from the vertical with refraction [°]; beyond 90 the sun is down.
    pub apparent_zenith: f64,
    /// Angle from the vertical without refraction [°].
    pub zenith: f64,
    /// Direction, clockwise from north [°], 0 to 360.
    pub azimuth: f64,
}

impl SunPosition {
    /// Cosine of the apparent zenith angle, zero when the sun is down.
    pub fn cos_zenith(&self) -> f64 {
        self.apparent_zenith.to_radians().cos().max(0.0)
    }
}

/// The sun at an instant; within 0.005° of Reda and Andreas from 2010 to 2050.
pub fn sun_position(location: &Location, at: Instant) -> SunPosition {
    let days = at.unix() as f64 / 86_400.0 - 10_957.5;
    let sun = Equatorial::at(days);
    let latitude = location.latitude.to_radians();
    let hour_angle = (sun.sidereal_degrees + location.longitude).to_radians() - sun.right_ascension;

    let sine = latitude.sin() * sun.declination.sin()
        + latitude.cos() * sun.declination.cos() * hour_angle.cos();
    let geocentric = sine.clamp(-1.0, 1.0).asin();
    let elevation =
        geocentric.to_degrees() - 8.794 * ARC_SECOND / sun.distance_au * geocentric.cos();
    let azimuth = (sun.declination.cos() * hour_angle.sin()).atan2(
        hour_angle.cos() * latitude.sin() * sun.declination.cos()
            - sun.declination.sin() * latitude.cos(),
    );
    SunPosition {
        apparent_zenith: 90.0 - elevation - refraction(elevation, location.altitude_m),
        zenith: 90.0 - elevation,
        azimuth: (azimuth.to_degrees() + 180.0).rem_euclid(360.0),
    }
}

struct Equatorial {
    right_ascension: f64,
    declination: f64,
    distance_au: f64,
    /// Apparent sidereal time at Greenwich.
    sidereal_degrees: f64,
}

impl Equatorial {
    /// For days of universal time since 2000-01-01T12:00.
    fn at(days: f64) -> Self {
        let t = (days + TERRESTRIAL_TIME_AHEAD / 86_400.0) / 36_525.0;
        let sin = |degrees: f64| degrees.to_radians().sin();
        let cos = |degrees: f64| degrees.to_radians().cos();

        let mean_longitude = 280.466_46 + t * (36_000.769_83 + t * 0.000_303_2);
        let anomaly = 357.529_11 + t * (35_999.050_29 - t * 0.000_153_7);
        let eccentricity = 0.016_708_634 - t * 0.000_042_037;
        let centre = (1.914_602 - t * 0.004_817) * sin(anomaly)
            + (0.019_993 - t * 0.000_101) * sin(2.0 * anomaly)
            + 0.000_289 * sin(3.0 * anomaly);
        let distance_au = 1.000_001_018 * (1.0 - eccentricity * eccentricity)
            / (1.0 + eccentricity * cos(anomaly + centre));

        // Venus twice, Jupiter, the Moon and a slow inequality; this series
        // counts from 1900.
        let t1900 = t + 1.0;
        let perturbation = 0.001_34 * cos(153.23 + 22_518.754_1 * t1900)
            + 0.001_54 * cos(216.57 + 45_037.508_2 * t1900)
            + 0.002_00 * cos(312.69 + 32_964.357_7 * t1900)
            + 0.001_79 * sin(350.74 + 445_267.114_2 * t1900)
            + 0.001_78 * sin(231.19 + 20.20 * t1900);

        let node = 125.044_52 - 1_934.136_26 * t;
        let nutation = ARC_SECOND * (-17.20 * sin(node) - 1.32 * sin(2.0 * mean_longitude));
        let aberration = ARC_SECOND * 20.489_8 / distance_au;
        let longitude = mean_longitude + centre + perturbation + nutation - aberration;
        let obliquity = 23.439_291 - 0.013_004_2 * t
            + ARC_SECOND * (9.20 * cos(node) + 0.57 * cos(2.0 * mean_longitude));

        let t_ut = days / 36_525.0;
        let sidereal_degrees = 280.460_618_37
            + 360.985_647_366_29 * days
            + 0.000_387_933 * t_ut * t_ut
            + nutation * cos(obliquity);
        Self {
            right_ascension: (cos(obliquity) * sin(longitude)).atan2(cos(longitude)),
            declination: (sin(obliquity) * sin(longitude)).asin(),
            distance_au,
            sidereal_degrees,
        }
    }
}

/// Lift by the air [°] of a sun at a true elevation [°].
fn refraction(elevation: f64, altitude_m: f64) -> f64 {
    if elevation < -SUNRISE_DEPTH {
        return 0.0;
    }
    // Standard atmosphere [hPa]; the base stays positive up to the stratosphere.
    let pressure = ((44_331.514 - altitude_m).max(0.0) / 11_880.516).powf(1.0 / 0.190_263_2);
    let bent = 1.02 / (60.0 * (elevation + 10.3 / (elevation + 5.11)).to_radians().tan());
    pressure / 1_010.0 * 283.0 / (273.0 + REFRACTION_TEMPERATURE) * bent
}
