//! Heating coils: heat passed by a mean temperature difference.

/// Flow minus return of a heating circuit at full capacity [K] (EN 14511
/// rates heat pumps at 5 K).
pub const SPREAD_K: f64 = 5.0;

/// Heat that a coil passes for each kelvin [W/K], from a rating: heat [kW] with
/// the mean of flow and return so many kelvin above the water around it.
pub fn from_rating(kw: f64, kelvin: f64) -> f64 {
    kw * 1_000.0 / kelvin
}
