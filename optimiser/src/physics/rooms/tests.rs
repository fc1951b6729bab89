use super::*;

fn close(actual: f64, expected: f64, tolerance: f64) {
    assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
}

/// BL-09: 200 m², medium (165 kJ/(m²·K)), 250, 60 and 125 W/K.
fn medium() -> Network {
    Network::new(200.0, 165.0 * 200.0 / 3.6, 250.0, 60.0, 125.0)
}

// BL-05, BL-06: 165 kJ/(m²·K) on 200 m², over 1130.4 and 434.8 W/K (BL-01: 26
// and 10 kW at 21 and −2 °C); recomputed.
#[test]
fn capacity_and_time_constants() {
    close(medium().stored_kwh(20.0, 21.0), 9.167, 0.001);
    for (kw, loss, hours) in [(26.0, 1_130.4, 8.11), (10.0, 434.8, 21.08)] {
        close(kw * 1_000.0 / 23.0, loss, 0.1);
        close(9_166.7 / loss, hours, 0.01);
    }
}

// BL-02: gains of 800 W lower the outdoor temperature from which 21 °C needs heat.
#[test]
fn base_temperatures() {
    for (loss, base) in [(1_130.4, 20.29), (434.8, 19.16)] {
        close(21.0 - 800.0 / loss, base, 0.01);
    }
}

// BL-09: one hour of the network, recomputed.
#[test]
fn an_hour_without_heat() {
    let network = medium();
    let step = network.step(20.0, 1.0, -2.0, 0.0, 600.0);
    close(step.mass, 19.035, 0.005);
    close(step.surface, 18.786, 0.005);
    close(step.air, 18.075, 0.005);
}

// BL-10: heat for air of 21 °C in that hour. For long it is 435 W/K by 23 K less
// the gains, 9,405 W; the films inside make the network lose a little less.
#[test]
fn heat_for_a_temperature() {
    let network = medium();
    close(network.heat_for(21.0, 20.0, 1.0, -2.0, 600.0), 5_314.0, 5.0);
    let settled = network.settled_mass(21.0, -2.0, 600.0);
    let held = network.heat_for(21.0, settled, 1.0, -2.0, 600.0);
    close(435.0 * 23.0 - 600.0, 9_405.0, 1e-9);
    assert!((0.92..1.0).contains(&(held / 9_405.0)), "{held}");
    close(network.step(settled, 1.0, -2.0, held, 600.0).mass, settled, 1e-9);
}

// BL-07: a set-back cools a single capacity implausibly fast (6.58 and 13.74 °C
// after 8 h from 21 °C at −2 °C, closed form). The mass of the network decays as
// slowly, from a start below the air.
#[test]
fn a_set_back_overnight() {
    for (tau, end) in [(8.11, 6.58), (21.08, 13.74)] {
        close(-2.0 + 23.0 * (-8.0_f64 / tau).exp(), end, 0.05);
    }
    let network = medium();
    let settled = network.settled_mass(21.0, -2.0, 0.0);
    let end = (0..8).fold(settled, |mass, _| network.step(mass, 1.0, -2.0, 0.0, 0.0).mass);
    close((end + 2.0) / (settled + 2.0), (-8.0_f64 / 21.08).exp(), 0.03);
}

// By construction: what goes in is stored or lost, for any step.
#[test]
fn every_step_balances() {
    for (hours, outdoor, heat, gains) in
        [(1.0, -5.0, 4_000.0, 300.0), (1.0 / 60.0, 8.0, 0.0, 900.0), (0.25, 20.0, 1_000.0, 0.0)]
    {
        let network = medium();
        let step = network.step(19.3, hours, outdoor, heat, gains);
        let stored = network.stored_kwh(19.3, step.mass) * 1_000.0 / hours;
        close(heat + gains - step.lost_w - stored, 0.0, 1e-7);
    }
}

// BL-03: degree-days to a year's heat; BL-04: mean of 10 and 6 °C below 15.5
// (*Building Services Engineering*, 5th edition, page 45); BL-08: utilisation.
#[test]
fn a_years_heat() {
    for (loss, kwh) in [(1_130.435, 59_687.0), (434.783, 22_957.0)] {
        close(loss * 2_200.0 * 24.0 / 1_000.0, kwh, 1.0);
    }
    close(15.5 - 0.5 * (10.0 + 6.0), 7.5, 1e-12);
    let a = 1.0 + 21.08 / 15.0;
    for (gamma, expected) in [(0.3_f64, 0.9607), (0.8, 0.7803)] {
        close((1.0 - gamma.powf(a)) / (1.0 - gamma.powf(a + 1.0)), expected, 1e-4);
    }
    close(a / (a + 1.0), 0.7064, 1e-4);
}

// C48: 20 kWh electric and 100 kWh gas in a day at 20 K. Taken as they are they
// say 250 W/K; with a boiler of 0.90 and 5 kWh down the drain 219 W/K.
#[test]
fn a_cold_days_meters() {
    let naive = measured_loss(20.0 + 100.0, 20.0);
    let corrected = measured_loss(20.0 + 0.9 * 100.0 - 5.0, 20.0);
    close(naive, 250.0, 0.5);
    close(corrected, 219.0, 0.5);
    close(naive * 22.0 / 1_000.0, 5.5, 0.005);
    close(corrected * 22.0 / 1_000.0, 4.81, 0.005);
    close(corrected * 20.0 / 1_000.0, 4.375, 0.001);
}
