//! How soon hot water scalds skin.

/// Most at a bath in England and Wales [°C]: Approved Document G (2010), G3.
pub const BATH_CELSIUS: f64 = 48.0;

/// Temperature that stored water must never exceed [°C], with two independent
/// devices besides the thermostat: hot-water trade association statement.
pub const NEVER_CELSIUS: f64 = 100.0;

/// Highest setting of a non-self-resetting cut-out [°C]: City & Guilds,
/// "Plumbing Book 1", p. 407.
pub const CUT_OUT_MAX_CELSIUS: f64 = 90.0;

/// Setting of the temperature and pressure relief [°C]: the same page; BS EN
/// 1490:2000 limits distribution to it.
pub const RELIEF_CELSIUS: f64 = 95.0;

/// Temperature [°C] and time to a second-degree burn [s], after Moritz &
/// Henriques (1947) as tabled by an antiscald trade body.
const BURNS: [(f64, f64); 7] = [
    (45.0, 7_200.0),
    (47.0, 1_200.0),
    (48.0, 900.0),
    (49.0, 480.0),
    (51.0, 120.0),
    (55.0, 17.0),
    (60.0, 3.0),
];

/// Time to a second-degree burn [s]: the logarithm of the table interpolated
/// linearly in temperature. None below 45 °C; above 60 °C the last value, which
/// is then an upper bound.
pub fn burn_seconds(celsius: f64) -> Option<f64> {
    if celsius < BURNS[0].0 {
        return None;
    }
    let pair = BURNS.windows(2).find(|pair| celsius <= pair[1].0);
    Some(pair.map_or(BURNS[BURNS.len() - 1].1, |pair| {
        let ((cool, long), (hot, short)) = (pair[0], pair[1]);
        let share = (celsius - cool) / (hot - cool);
        (long.ln() + share * (short / long).ln()).exp()
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{site, water};

    fn close(actual: f64, expected: f64, tolerance: f64) {
        assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
    }

    // SC-01 to SC-07: table after Moritz & Henriques (1947), antiscald trade body.
    #[test]
    fn the_table_is_met_at_its_points() {
        for (celsius, seconds) in [
            (45.0, 7_200.0),
            (47.0, 1_200.0),
            (48.0, 900.0),
            (49.0, 480.0),
            (51.0, 120.0),
            (55.0, 17.0),
            (60.0, 3.0),
        ] {
            close(burn_seconds(celsius).expect("in the table"), seconds, 1e-6 * seconds);
        }
    }

    // Recomputed: halfway in temperature is the geometric mean in time.
    #[test]
    fn between_points_the_logarithm_is_linear() {
        close(burn_seconds(53.0).expect("between"), (120.0_f64 * 17.0).sqrt(), 1e-9);
        close(burn_seconds(80.0).expect("above"), 3.0, 0.0);
        assert_eq!(burn_seconds(44.9), None);
    }

    // SC-10: Approved Document G (2010). SC-11: trade association statement.
    // SC-12: City & Guilds, "Plumbing Book 1", p. 407. SC-13: BS EN 1490:2000.
    // The planner's own ceiling stays below them all.
    #[test]
    fn the_safety_chain_stands_in_order() {
        close(BATH_CELSIUS, 48.0, 0.0);
        let chain =
            [site::HARD_CEILING.celsius(), CUT_OUT_MAX_CELSIUS, RELIEF_CELSIUS, NEVER_CELSIUS];
        assert!(chain.windows(2).all(|pair| pair[0] + site::CUT_OUT_MARGIN_K <= pair[1]));
    }

    // SC-14: recomputed.
    #[test]
    fn hot_share_of_a_mixer() {
        close(water::hot_share(60.0, 48.0, 10.0), 0.76, 1e-12);
        close(water::hot_share(60.0, 41.0, 10.0), 0.62, 1e-12);
    }
}
