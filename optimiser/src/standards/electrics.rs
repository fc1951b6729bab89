//! Limits of the connection and money in a battery.

use crate::units::Power;

/// Current that may be fed in for each phase without prior consent in Great
/// Britain [A]: Engineering Recommendation G98.
pub const G98_AMPERES: f64 = 16.0;

/// Cost of battery wear for each kWh given out: price over the energy of all
/// rated cycles, in the unit of the price.
pub fn wear_per_kwh(price: f64, capacity_kwh: f64, cycles: f64, depth: f64) -> f64 {
    price / (capacity_kwh * cycles * depth)
}

/// Worth that a kWh from the battery must have so that charging at a price
/// pays: `buy / round trip + wear`.
pub fn break_even(buy: f64, round_trip: f64, wear: f64) -> f64 {
    buy / round_trip + wear
}

/// Power of everything that one price can switch on in the same minute [kW], and
/// what is then left of a supply. Diversity is not assumed: tables of it hold for
/// people who act by themselves, not for loads that wait for the same half-hour
/// (common practice, no published source).
pub fn headroom_kw(supply: Power, loads: &[Power]) -> f64 {
    supply.kw() - loads.iter().map(|load| load.kw()).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Current;

    fn close(actual: f64, expected: f64, tolerance: f64) {
        assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
    }

    // EL-05: one network operator's standard domestic cut-out, public notice.
    // EL-13: 9 kW element, 3 kW heat pump and 7.36 kW vehicle exceed it.
    #[test]
    fn coincident_load_exceeds_an_80_a_service() {
        let load = Power::constant(9.0 + 3.0 + 7.36);
        close(load.current_at(230.0).amperes(), 84.2, 0.1);
        assert!(load > Current::constant(80.0).power_at(230.0, 1));
    }

    // C31, C32, common practice, no published source: a vehicle, a battery, two
    // elements, a heat pump and the house at midnight on 80 A; oven, heat pump and
    // element on 32 A.
    #[test]
    fn loads_that_wait_for_the_same_price_add_up() {
        let supply = |amperes| Current::constant(amperes).power_at(230.0, 1);
        let midnight = [7.4, 5.0, 3.0, 3.0, 3.0, 0.5].map(Power::clamped);
        close(headroom_kw(supply(80.0), &midnight), 18.4 - 21.9, 1e-9);
        close(Power::clamped(21.9).current_at(230.0).amperes(), 95.2, 0.1);
        let evening = [2.5, 2.5, 3.6].map(Power::clamped);
        close(headroom_kw(supply(32.0), &evening), 7.36 - 8.6, 1e-9);
        assert!(headroom_kw(supply(32.0), &evening[..2]) > 0.0);
    }

    // EL-06: network operator pages on G98. EL-07: the same page's example.
    #[test]
    fn feed_in_without_consent() {
        let limit = Current::constant(G98_AMPERES);
        close(limit.power_at(230.0, 1).kw(), 3.68, 1e-12);
        close(limit.power_at(230.0, 3).kw(), 11.04, 1e-12);
        close(Power::constant(9.0).current_at(3.0 * 230.0).amperes(), 13.04, 0.01);
    }

    // EL-09: Cole & Frazier, NREL ATB 2020: 0.85 round trip is 0.922 one way.
    // EL-10: NREL ATB 2022-24: 5 kW empty 12.5 kWh in 2.5 h.
    #[test]
    fn representative_battery() {
        close(0.85_f64.sqrt(), 0.922, 5e-4);
        close(Power::constant(5.0).over_hours(2.5).kwh(), 12.5, 0.0);
    }

    // EL-11: recomputed; 4 000 for 10 kWh, 6 000 cycles of 90 %.
    #[test]
    fn wear_of_a_battery() {
        close(wear_per_kwh(4_000.0, 10.0, 6_000.0, 0.9), 0.0741, 1e-4);
    }

    // EL-12: recomputed.
    #[test]
    fn arbitrage_break_even() {
        close(break_even(10.0, 0.85, 7.4), 19.2, 0.05);
        close(break_even(10.0, 0.85, 0.0), 11.76, 0.05);
    }

    // C45, common practice, no published source: 13 kWh a day from the battery
    // instead of at the day price.
    #[test]
    fn saving_of_a_night_charge() {
        for (round_trip, minor) in [(0.85, 99.0), (0.90, 116.0)] {
            let saving = 13.0 * (30.0 - break_even(19.0, round_trip, 0.0));
            close(saving, minor, 0.01 * minor);
        }
    }
}
