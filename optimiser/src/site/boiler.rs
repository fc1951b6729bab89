//! The boiler.

use super::{Sink, SiteFault, fault};
use crate::units::{Fraction, Power, Price, Temperature};

/// A boiler for oil or gas that does one job at a time.
#[derive(Debug, Clone, PartialEq)]
pub struct Boiler {
    /// What it burns.
    pub fuel: Fuel,
    /// Price of a kWh of fuel, for the calorific value that `efficiency` is of.
    pub fuel_price: Price,
    /// Heat for each unit of fuel over the season.
    pub efficiency: Fraction,
    /// Heat output.
    pub power: Power,
    /// Lowest part of its output that it runs at; one if it is on or off.
    pub least_share: Fraction,
    /// Hottest flow that it makes.
    pub flow_limit: Temperature,
    /// Once started it runs this long [s].
    pub least_run_seconds: i64,
    /// Power of its controls and pump while it runs.
    pub auxiliary: Power,
    /// Whether it may run only where nothing else can keep what was promised.
    pub back_up_only: bool,
    /// What it may serve.
    pub serves: Vec<Sink>,
}

/// What a boiler burns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fuel {
    /// Heating oil.
    Oil,
    /// Natural or liquid gas.
    Gas,
}

/// Every contradiction in a boiler.
pub(super) fn faults(boiler: &Boiler, faults: &mut Vec<SiteFault>) {
    let mut add = |field, rule: &str| faults.push(fault("boiler", field, rule));
    if boiler.power.kw() <= 0.0 {
        add("power", "its output is zero; give the rated heat output");
    }
    if boiler.efficiency.value() < 0.3 {
        add("efficiency", "a seasonal efficiency below 0.3 is no boiler's; 0.7 to 0.95 is usual");
    }
    if boiler.fuel_price.per_kwh() < 0.0 {
        add("fuel_price", "nobody is paid to burn fuel; the price must not be negative");
    }
    if boiler.least_share.value() <= 0.0 {
        add("least_share", "its least share is zero; give one for a boiler that is on or off");
    }
    if !(0..=86_400).contains(&boiler.least_run_seconds) {
        add("least_run_seconds", "a minimum run is 0 s to a day");
    }
    if boiler.flow_limit.celsius() < 30.0 {
        add("flow_limit", "below 30 °C it heats nothing; 70 to 85 °C is usual");
    }
}
