use super::*;
use crate::units::{Fraction, Power};

fn close(actual: f64, expected: f64, tolerance: f64) {
    assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
}

const LINE: CapacityLine = CapacityLine {
    rated: Power::constant(8.0),
    source: Temperature::constant(7.0),
    flow: Temperature::constant(35.0),
    per_source_k: 0.02,
    per_flow_k: -0.005,
};

fn cop(performance: &Performance, kind: HeatSource, lift: f64) -> f64 {
    performance.at(kind, 0.0, lift).cop
}

// HP-01, HP-02: Staffell et al. 2012, recomputed from the published polynomials.
#[test]
fn staffell_by_lift() {
    let fit = Performance::Staffell2012(LINE);
    for (lift, expected) in [(28.0, 3.916), (33.0, 3.503), (42.0, 2.839), (48.0, 2.454)] {
        close(cop(&fit, HeatSource::Air, lift), expected, 0.001);
    }
    for (lift, expected) in [(35.0, 4.419), (50.0, 3.105)] {
        close(cop(&fit, HeatSource::Ground, lift), expected, 0.001);
    }
}

// HP-03 to HP-06: Ruhnau, Hirth and Praktiknjo 2019, recomputed from the
// authors' parameters, raw, with their field factor, and clipped at 15 K.
#[test]
fn ruhnau_by_lift() {
    let fit = |field| Performance::Ruhnau2019 { capacity: LINE, field: Fraction::constant(field) };
    let lifts = [28.0, 48.0, 60.0];
    for (lift, expected) in lifts.iter().zip([3.837, 2.715, 2.234]) {
        close(cop(&fit(1.0), HeatSource::Air, *lift), expected, 0.001);
    }
    for (lift, expected) in lifts.iter().zip([3.262, 2.308, 1.899]) {
        close(cop(&fit(0.85), HeatSource::Air, *lift), expected, 0.001);
    }
    close(cop(&fit(1.0), HeatSource::Ground, 35.0), 4.464, 0.001);
    close(cop(&fit(1.0), HeatSource::Air, 10.0), 4.781, 0.001);
    close(cop(&fit(1.0), HeatSource::Air, 15.0), 4.781, 0.001);
}

// HP-07, HP-08: the Carnot limit, recomputed; the tables of encyclopaedias
// round to 0.1.
#[test]
fn carnot_limits() {
    let limit =
        |source, flow| carnot_limit(Temperature::clamped(source), Temperature::clamped(flow));
    for (flow, expected) in
        [(35.0, 8.804), (45.0, 7.070), (55.0, 5.966), (65.0, 5.202), (75.0, 4.642), (85.0, 4.214)]
    {
        close(limit(0.0, flow), expected, 0.001);
    }
    close(limit(-20.0, 35.0), 5.603, 0.001);
    close(limit(10.0, 35.0), 12.326, 0.001);
}

// HP-09, HP-10: shares of the Carnot limit that published COPs mean, at 0 °C
// and 35, 45, 55 and 65 °C; both fits stay within what machines reach.
#[test]
fn published_cops_are_shares_of_the_limit() {
    let flows = [35.0, 45.0, 55.0, 65.0];
    let share = |cop: f64, flow: f64| {
        cop / carnot_limit(Temperature::constant(0.0), Temperature::clamped(flow))
    };
    let air = [(3.8, 0.43), (2.8, 0.40), (2.2, 0.37), (2.0, 0.38)];
    let ground = [(5.0, 0.57), (3.7, 0.52), (2.9, 0.49), (2.4, 0.46)];
    for (flow, (cop, expected)) in flows.iter().zip(air).chain(flows.iter().zip(ground)) {
        close(share(cop, *flow), expected, 0.01);
    }
    let fit = Performance::Staffell2012(LINE);
    for flow in flows {
        for kind in [HeatSource::Air, HeatSource::Ground] {
            let share = share(cop(&fit, kind, flow), flow);
            assert!((0.25..0.65).contains(&share), "{share} at {flow}");
        }
    }
}

// HP-11: the parabolas turn upward at 96 K (Staffell, air) and 94 and 87 K
// (Ruhnau, air and ground); clipped at 60 K no fit gets there.
#[test]
fn a_fit_never_rises_with_the_lift() {
    for (fit, vertex) in [(STAFFELL_AIR, 96.0), (RUHNAU_AIR, 94.0), (RUHNAU_GROUND, 87.0)] {
        close(-fit.b / (2.0 * fit.c), vertex, 0.5);
    }
    for fit in [STAFFELL_AIR, STAFFELL_GROUND, RUHNAU_AIR, RUHNAU_GROUND] {
        let cops: Vec<f64> = (0..120).map(|lift| fit.cop(f64::from(lift))).collect();
        assert!(cops.windows(2).all(|pair| pair[1] <= pair[0]));
        close(fit.cop(100.0), fit.cop(60.0), 0.0);
    }
}

// C17: COP by outdoor temperature decides between night and afternoon; with
// the authors' fit a warmer source never has the lower COP.
#[test]
fn a_warmer_source_gives_more_heat() {
    let fit = Performance::Staffell2012(LINE);
    let (night, day) = (fit.at(HeatSource::Air, 3.0, 50.0), fit.at(HeatSource::Air, 12.0, 50.0));
    assert!(day.cop > night.cop && day.capacity_kw > night.capacity_kw);
}

// Closed form: halfway between the points, and the edge beyond them.
#[test]
fn rating_points_are_interpolated_and_kept_at_the_edge() {
    let point = |source, flow, kw, cop| RatingPoint {
        source: Temperature::constant(source),
        flow: Temperature::constant(flow),
        capacity: Power::constant(kw),
        cop,
    };
    let points = Performance::Points(vec![
        point(7.0, 35.0, 8.0, 4.6),
        point(7.0, 55.0, 7.0, 2.8),
        point(-7.0, 35.0, 5.0, 2.6),
        point(-7.0, 55.0, 4.0, 1.8),
    ]);
    let at = |source, flow| points.at(HeatSource::Air, source, flow);
    close(at(7.0, 45.0).cop, 3.7, 1e-12);
    close(at(0.0, 45.0).cop, 2.95, 1e-12);
    close(at(0.0, 45.0).capacity_kw, 6.0, 1e-12);
    close(at(20.0, 30.0).cop, 4.6, 1e-12);
    close(at(-20.0, 65.0).capacity_kw, 4.0, 1e-12);
}

// HP-12: two years in the field, defrosting took 10.2 % of the heating energy
// (Oak Ridge, ASHRAE Transactions 91:2B, 1985, abstract).
#[test]
fn frost_takes_its_share_of_heat_from_air_only() {
    let pump = |source| HeatPump {
        name: "unit".to_owned(),
        source,
        performance: Performance::Staffell2012(LINE),
        flow_limit: Temperature::constant(60.0),
        least_share: Fraction::constant(1.0),
        defrost_loss: Fraction::constant(0.102),
        start_loss: crate::units::Energy::constant(0.0),
        least_run_seconds: 0,
        least_rest_seconds: 0,
        auxiliary: Power::constant(0.0),
        serves: vec![],
    };
    let share = |pump: &HeatPump, source| {
        pump.at(source, 45.0).cop / pump.performance.at(pump.source, source, 45.0).cop
    };
    close(share(&pump(HeatSource::Air), 1.0), 0.898, 1e-12);
    close(share(&pump(HeatSource::Air), 8.0), 1.0, 1e-12);
    close(share(&pump(HeatSource::Ground), 1.0), 1.0, 1e-12);
}
