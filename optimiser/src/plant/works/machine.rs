//! Machines with a compressor or burner: what they give, and when they may
//! start and stop.

use super::port::Port;
use crate::problem::RunState;
use crate::site::{Boiler, HeatPump, Sink};

/// A heat pump or boiler between steps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Machine {
    pub(super) serves: Option<Sink>,
    /// Since it went on or off [s].
    pub(super) seconds: f64,
    /// Heat that its start still owes to its own mass [kWh].
    pub(super) owed_kwh: f64,
}

/// Times that protect a machine [s], and what a start costs [kWh].
#[derive(Clone, Copy)]
pub(super) struct Rules {
    pub(super) least_run: f64,
    pub(super) least_rest: f64,
    pub(super) start_loss: f64,
}

/// What a machine gives at the temperatures of a step [kW].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Output {
    pub(super) heat: f64,
    pub(super) electricity: f64,
    pub(super) fuel: f64,
}

impl From<RunState> for Machine {
    fn from(state: RunState) -> Self {
        Self { serves: state.serves, seconds: state.seconds, owed_kwh: 0.0 }
    }
}

impl Machine {
    pub(super) fn state(&self) -> RunState {
        RunState { serves: self.serves, seconds: self.seconds }
    }

    /// What it serves next, if it is told to serve something: a run lasts its
    /// least time, and a rest too. The second value says whether it starts.
    pub(super) fn choose(&self, told: Option<Sink>, rules: &Rules) -> (Option<Sink>, bool) {
        match (self.serves, told) {
            (None, Some(sink)) if self.seconds >= rules.least_rest => (Some(sink), true),
            (Some(_), Some(sink)) => (Some(sink), false),
            (Some(sink), None) if self.seconds < rules.least_run => (Some(sink), false),
            (None, _) | (Some(_), None) => (None, false),
        }
    }

    /// Lets a step pass [s] with what it serves.
    pub(super) fn pass(&mut self, serves: Option<Sink>, seconds: f64) {
        let same = self.serves.is_some() == serves.is_some();
        self.seconds = if same { self.seconds + seconds } else { seconds };
        self.serves = serves;
        if serves.is_none() {
            self.owed_kwh = 0.0;
        }
    }
}

/// A flow that differs by less has settled [K].
const SETTLED_K: f64 = 1e-4;

/// What a heat pump gives to a sink when so much is wished for [kW], with its
/// source at a temperature [°C]; `None` where the sink takes less than the least.
pub(super) fn heat_pump(pump: &HeatPump, source: f64, port: &Port, wish: f64) -> Option<Output> {
    let hottest = pump.flow_limit.celsius().min(port.hottest);
    let most = port.heat_at(hottest);
    let mut heat = most;
    let mut flow = hottest;
    // Capacity falls gently with the flow: a few rounds settle both.
    for _ in 0..4 {
        let capacity = pump.at(source, flow).capacity_kw;
        heat = wish.max(pump.least_share.value() * capacity).min(capacity).min(most);
        let before = std::mem::replace(&mut flow, port.flow_for(heat).min(hottest));
        if (before - flow).abs() < SETTLED_K {
            break;
        }
    }
    let operation = pump.at(source, flow);
    let least = pump.least_share.value() * operation.capacity_kw;
    let runs = heat > 0.0 && heat >= least * (1.0 - 1e-6);
    runs.then(|| Output {
        heat,
        electricity: heat / operation.cop + pump.auxiliary.kw(),
        fuel: 0.0,
    })
}

/// The same of a boiler.
pub(super) fn boiler(boiler: &Boiler, port: &Port, wish: f64) -> Option<Output> {
    let most = port.heat_at(boiler.flow_limit.celsius().min(port.hottest));
    let full = boiler.power.kw();
    let least = boiler.least_share.value() * full;
    let heat = wish.clamp(least, full).min(most);
    // A burner cycles where the sink takes less than its least.
    (heat > 0.0).then(|| Output {
        heat,
        electricity: boiler.auxiliary.kw(),
        fuel: boiler.fuel_kwh(heat),
    })
}
