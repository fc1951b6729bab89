//! Sunlight on a tilted plane.

use super::sky::{Sky, relative_air_mass};
use super::sun::SunPosition;
use crate::units::{Angle, Fraction};

/// How diffuse light is spread over the sky.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SkyModel {
    /// Evenly. B. Y. H. Liu and R. C. Jordan, Solar Energy 4, 1960,
    /// doi:10.1016/0038-092X(60)90062-1.
    Isotropic,
    /// Evenly, and round the sun the more the clearer the air. J. E. Hay and
    /// J. A. Davies, "Calculations of the solar radiation incident on an
    /// inclined surface", Canadian Solar Radiation Data Workshop, 1980.
    #[default]
    HayDavies,
    /// Evenly, round the sun, and along the horizon. R. Perez et al., "Modeling
    /// daylight availability and irradiance components from direct and global
    /// irradiance", Solar Energy 44, 1990, doi:10.1016/0038-092X(90)90055-H.
    Perez,
}

/// Brightness coefficients for all sites, Perez et al. 1990, table 6, one row
/// for each bin of sky clearness: F11, F12, F13, F21, F22, F23.
const PEREZ: [[f64; 6]; 8] = [
    [-0.008, 0.588, -0.062, -0.060, 0.072, -0.022],
    [0.130, 0.683, -0.151, -0.019, 0.066, -0.029],
    [0.330, 0.487, -0.221, 0.055, -0.064, -0.026],
    [0.568, 0.187, -0.295, 0.109, -0.152, -0.014],
    [0.873, -0.392, -0.362, 0.226, -0.462, 0.001],
    [1.132, -1.237, -0.412, 0.288, -0.823, 0.056],
    [1.060, -1.600, -0.359, 0.264, -1.127, 0.131],
    [0.678, -0.327, -0.250, 0.156, -1.377, 0.251],
];
/// Upper ends of the bins of sky clearness but the last.
const PEREZ_BINS: [f64; 7] = [1.065, 1.23, 1.5, 1.95, 2.8, 4.5, 6.2];

/// Irradiance on a plane [W/m²], never negative: beam, sky and ground.
pub fn plane_irradiance(
    model: SkyModel,
    sky: &Sky,
    sun: &SunPosition,
    tilt: Angle,
    azimuth: Angle,
    albedo: Fraction,
) -> f64 {
    let tilt = tilt.degrees().to_radians();
    let zenith = sun.apparent_zenith.to_radians();
    let turn = (sun.azimuth - azimuth.degrees()).to_radians();
    let incidence =
        (zenith.cos() * tilt.cos() + zenith.sin() * tilt.sin() * turn.cos()).clamp(0.0, 1.0);
    let seen_sky = f64::midpoint(1.0, tilt.cos());

    let beam = sky.dni * incidence;
    let diffuse = match model {
        SkyModel::Isotropic => sky.dhi * seen_sky,
        SkyModel::HayDavies => {
            // The ratio is held within 1° of the horizon, where it runs away.
            let ratio = incidence / zenith.cos().max(0.017_45);
            let clear = sky.dni / sky.dni_extraterrestrial;
            sky.dhi * (clear * ratio + (1.0 - clear) * seen_sky)
        }
        SkyModel::Perez => perez(sky, zenith, tilt, incidence, seen_sky),
    };
    let ground = sky.ghi * albedo.value() * (1.0 - seen_sky);
    (beam + diffuse.max(0.0) + ground).max(0.0)
}

fn perez(sky: &Sky, zenith: f64, tilt: f64, incidence: f64, seen_sky: f64) -> f64 {
    if sky.dhi <= 0.0 {
        return 0.0;
    }
    let cubed = 1.041 * zenith.powi(3);
    let clearness = ((sky.dhi + sky.dni) / sky.dhi + cubed) / (1.0 + cubed);
    let brightness = sky.dhi * relative_air_mass(zenith.to_degrees()) / sky.dni_extraterrestrial;
    let [f11, f12, f13, f21, f22, f23] = PEREZ[PEREZ_BINS.partition_point(|&end| end <= clearness)];
    let round_sun = (f11 + f12 * brightness + f13 * zenith).max(0.0);
    let horizon = f21 + f22 * brightness + f23 * zenith;
    let ratio = incidence / zenith.cos().max(85.0_f64.to_radians().cos());
    sky.dhi * ((1.0 - round_sun) * seen_sky + round_sun * ratio + horizon * tilt.sin())
}
