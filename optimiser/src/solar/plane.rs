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
    [-0.008_311_7, 0.587_727_7, -0.062_063_6, -0.059_601_2, 0.072_124_9, -0.022_021_6],
    [0.129_945_7, 0.682_595_4, -0.151_375_2, -0.018_932_5, 0.065_965_0, -0.028_874_8],
    [0.329_695_8, 0.486_873_5, -0.221_095_8, 0.055_414_0, -0.063_958_8, -0.026_054_2],
    [0.568_205_3, 0.187_452_5, -0.295_129_0, 0.108_863_1, -0.151_922_9, -0.013_975_4],
    [0.873_028_0, -0.392_040_3, -0.361_614_9, 0.225_564_7, -0.462_044_2, 0.001_244_8],
    [1.132_607_7, -1.236_728_4, -0.411_849_4, 0.287_781_3, -0.823_035_7, 0.055_865_1],
    [1.060_159_1, -1.599_913_7, -0.358_922_1, 0.264_212_4, -1.127_234_0, 0.131_069_4],
    [0.677_747_0, -0.327_258_8, -0.250_428_6, 0.156_131_3, -1.376_503_1, 0.250_621_2],
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
