//! Invented plans to show. They are put together by hand and obey the balances
//! of a plan, but no solver made them.

use chrono::NaiveTime;
use optimiser::problem::{
    Ambient, Comfort, Draw, EndValue, HeaterId, Hygiene, PlantRoomState, Problem, Ready, State,
    Weights,
};
use optimiser::schedule::{
    BatteryMode, Cost, Evidence, HeaterPlan, Origin, PlantRoomPlan, Reason, Schedule, SlotPlan,
};
use optimiser::site::{Battery, Control, Element, Grid, PlantRoom, Site, Store};
use optimiser::time::{Horizon, Instant, Series};
use optimiser::units::{
    Current, Energy, Flow, Fraction, HeatLoss, Power, Price, Temperature, Volume,
};

use super::Plan;
use super::tank::Tank;
use crate::house::{BaseLoad, House, PlantRoomFacts, PresentState, Supply};
use crate::tariff::{Rates, Tariff};

/// A plan and all that it refers to.
pub(super) struct Sample {
    pub(super) house: House,
    pub(super) problem: Problem,
    pub(super) schedule: Schedule,
    pub(super) published_until: Instant,
}

impl Sample {
    pub(super) fn plan(&self) -> Plan<'_> {
        let start = self.problem.horizon.start();
        Plan {
            house: &self.house,
            problem: &self.problem,
            schedule: &self.schedule,
            issued_at: start + -90,
            valid_until: start + 2 * 3_600,
            published_until: self.published_until,
        }
    }
}

pub(super) fn all() -> [Sample; 3] {
    [summer(), autumn(), plain()]
}

/// One cylinder, PV and battery, 24 h in July with prices below zero at noon.
pub(super) fn summer() -> Sample {
    let heats = [
        Heat { element: 0, from: 5.5, until: 7.0, kw: 1.5, why: |_| Reason::Sun },
        Heat { element: 0, from: 7.0, until: 9.5, kw: 3.0, why: |_| Reason::PaidToUse },
        Heat {
            element: 1,
            from: 13.5,
            until: 14.5,
            kw: 3.0,
            why: |s| Reason::NeededBy(s + 54_000),
        },
        Heat { element: 0, from: 22.0, until: 23.0, kw: 3.0, why: |_| Reason::Stock },
    ];
    Recipe {
        name: "Willow Cottage",
        zone: chrono_tz::Europe::London,
        currency: "GBP",
        start: 1_688_270_400, // 2023-07-02T05:00 in London.
        seconds: 1_800,
        count: 48,
        published: 48,
        stores: vec![cylinder("cylinder", 250.0)],
        battery: Some(battery()),
        pv_kwp: 4.0,
        sunrise: 0.0,
        prices: &[18.2, 24.6, 16.1, 3.4, -1.9, -6.3, -2.2, 4.1, 12.7, 31.4, 38.2, 22.0, 14.3, 9.8],
        export_share: 0.55,
        draws: &[(0, 2.0, 70.0), (0, 8.25, 20.0), (0, 15.0, 110.0), (0, 16.5, 35.0)],
        heats: &heats,
        origin: Origin::Optimal,
        evidence: Evidence::Simulated { rounds: 3, polish_gain: 4.12 },
        ready: &[],
        hygiene_in_hours: Some((20.0, Some(7.5))),
    }
    .cook()
}

/// Two cylinders with two elements each, 49 h of quarter-hours over the end of
/// summer time, the second day's prices forecast.
pub(super) fn autumn() -> Sample {
    let heats = [
        Heat {
            element: 0,
            from: 2.0,
            until: 5.0,
            kw: 3.0,
            why: |s| Reason::CheapestBefore(s + 28_800),
        },
        Heat {
            element: 2,
            from: 3.0,
            until: 6.0,
            kw: 2.0,
            why: |s| Reason::CheapestBefore(s + 32_400),
        },
        Heat { element: 0, from: 11.5, until: 14.0, kw: 1.5, why: |_| Reason::FreeSun },
        Heat { element: 2, from: 12.0, until: 14.5, kw: 1.0, why: |_| Reason::Sun },
        Heat { element: 1, from: 22.25, until: 23.25, kw: 3.0, why: |_| Reason::Battery },
        Heat {
            element: 0,
            from: 26.0,
            until: 29.5,
            kw: 3.0,
            why: |s| Reason::Hygiene(s + 115_200),
        },
        Heat {
            element: 2,
            from: 27.0,
            until: 29.0,
            kw: 2.0,
            why: |s| Reason::CheapestBefore(s + 115_200),
        },
        Heat {
            element: 3,
            from: 41.0,
            until: 41.75,
            kw: 2.0,
            why: |s| Reason::NeededBy(s + 151_200),
        },
    ];
    Recipe {
        name: "Haus am Wehr",
        zone: chrono_tz::Europe::Berlin,
        currency: "EUR",
        start: 1_698_526_800, // 2023-10-28T23:00 in Berlin.
        seconds: 900,
        count: 196,
        published: 100,
        stores: vec![cylinder("main cylinder", 300.0), cylinder("annexe", 150.0)],
        battery: Some(battery()),
        pv_kwp: 6.0,
        sunrise: 9.0,
        prices: &[21.0, 14.5, 9.2, 8.8, 11.9, 19.6, 27.3, 24.0, 12.2, 6.0, 10.4, 22.8, 35.9, 31.1],
        export_share: 0.3,
        draws: &[
            (0, 8.5, 90.0),
            (1, 9.0, 35.0),
            (0, 20.5, 120.0),
            (1, 21.0, 40.0),
            (0, 32.5, 90.0),
            (1, 33.0, 35.0),
            (0, 43.0, 120.0),
            (1, 42.5, 60.0),
        ],
        heats: &heats,
        origin: Origin::LimitReached,
        evidence: Evidence::Modelled,
        ready: &[(0, 31.5, 60.0), (1, 32.25, 30.0)],
        hygiene_in_hours: Some((32.0, Some(28.0))),
    }
    .cook()
}

/// A cylinder alone, a rule plan of 24 hours on a day of 23, with a cold shower.
pub(super) fn plain() -> Sample {
    let heats = [Heat {
        element: 0,
        from: 3.0,
        until: 5.0,
        kw: 3.0,
        why: |s| Reason::NeededBy(s + 25_200),
    }];
    Recipe {
        name: "Strandhuset",
        zone: chrono_tz::Europe::Copenhagen,
        currency: "DKK",
        start: 1_679_788_800, // 2023-03-26T01:00 in Copenhagen.
        seconds: 3_600,
        count: 24,
        published: 24,
        stores: vec![Store {
            use_temperature: Temperature::constant(42.0),
            ..cylinder("tank", 120.0)
        }],
        battery: None,
        pv_kwp: 0.0,
        sunrise: 0.0,
        prices: &[
            142.0, 110.0, 98.5, 131.0, 225.0, 260.0, 190.0, 155.0, 171.0, 240.0, 301.0, 280.0,
        ],
        export_share: 0.0,
        draws: &[(0, 6.0, 80.0), (0, 18.0, 90.0)],
        heats: &heats,
        origin: Origin::Rule,
        evidence: Evidence::Modelled,
        ready: &[],
        hygiene_in_hours: Some((20.0, None)),
    }
    .cook()
}

struct Heat {
    element: usize,
    from: f64,
    until: f64,
    kw: f64,
    why: fn(Instant) -> Reason,
}

struct Recipe<'a> {
    name: &'a str,
    zone: chrono_tz::Tz,
    currency: &'a str,
    start: i64,
    seconds: i64,
    count: usize,
    published: usize,
    stores: Vec<Store>,
    battery: Option<Battery>,
    pv_kwp: f64,
    /// Hours from the start to the first sunrise.
    sunrise: f64,
    /// Steps of a price pattern that repeats every day.
    prices: &'a [f64],
    export_share: f64,
    /// Store, hours from the start, litres.
    draws: &'a [(usize, f64, f64)],
    heats: &'a [Heat],
    origin: Origin,
    evidence: Evidence,
    /// Promises: store, hours from the start, litres.
    ready: &'a [(usize, f64, f64)],
    /// Due and start of a pasteurisation of the first store.
    hygiene_in_hours: Option<(f64, Option<f64>)>,
}

fn battery() -> Battery {
    Battery {
        capacity: Energy::constant(9.5),
        reserve: Energy::constant(0.5),
        charge_limit: Power::constant(3.6),
        discharge_limit: Power::constant(3.6),
        charge_efficiency: Fraction::constant(0.95),
        discharge_efficiency: Fraction::constant(0.95),
        wear: Price::constant(2.0),
        charges_from_grid: true,
        exports: false,
        feeds_heaters: true,
    }
}

fn cylinder(name: &str, litres: f64) -> Store {
    let element = |name: &str, height| Element {
        name: name.to_owned(),
        power: Power::constant(3.0),
        height: Fraction::constant(height),
        control: Control::Modulating,
        thermostat: Temperature::constant(70.0),
    };
    Store {
        name: name.to_owned(),
        volume: Volume::clamped(litres),
        height_m: 1.5,
        heat_loss: HeatLoss::constant(1.8),
        surroundings: Temperature::constant(18.0),
        mains: Temperature::constant(10.0),
        use_temperature: Temperature::constant(40.0),
        ceiling: Temperature::constant(75.0),
        cut_out: None,
        held_back: Volume::constant(20.0),
        destratification_pump: false,
        layers: 20,
        elements: vec![element("lower", 0.1), element("upper", 0.65)],
        coils: Vec::new(),
        return_loop: None,
    }
}

mod cooking;
