//! The whole plant: stores with their elements and taps, the house, and
//! properties that every run has.

mod commands;
mod electricity;
mod heat;
mod plant_room;
mod properties;

use super::*;
use crate::problem::{Ambient, Draw, PlantRoomState, State, Watch};
use crate::site::{Battery, Control, Element, Grid, PlantRoom, Store};
use crate::time::{Horizon, Instant, Series};
use crate::units::{Energy, Flow, Fraction, HeatLoss, Power, Price, Volume};

fn close(actual: f64, expected: f64, tolerance: f64) {
    assert!((actual - expected).abs() <= tolerance, "{actual} is not {expected} ± {tolerance}");
}

fn element(kw: f64, height: f64, control: Control) -> Element {
    Element {
        name: format!("element at {height}"),
        power: Power::constant(kw),
        height: Fraction::constant(height),
        control,
        thermostat: Temperature::constant(60.0),
    }
}

/// 200 L without loss, mains 10 °C, used at 40 °C, 3 kW at the base.
fn store() -> Store {
    Store {
        name: "cylinder".to_owned(),
        volume: Volume::constant(200.0),
        height_m: 1.5,
        heat_loss: HeatLoss::constant(0.0),
        surroundings: Temperature::constant(20.0),
        mains: Temperature::constant(10.0),
        use_temperature: Temperature::constant(40.0),
        ceiling: Temperature::constant(75.0),
        cut_out: Some(Temperature::constant(85.0)),
        held_back: Volume::constant(0.0),
        destratification_pump: false,
        layers: 20,
        elements: vec![element(3.0, 0.0, Control::OnOff)],
        coils: Vec::new(),
        return_loop: None,
    }
}

fn site(store: Store, battery: Option<Battery>) -> Site {
    Site {
        grid: Grid { import_limit: Power::constant(18.4), export_limit: Power::constant(5.0) },
        battery,
        stores: vec![store],
        plant_room: PlantRoom::default(),
    }
}

/// Conditions that own what they refer to, the same in every slot.
struct Weather {
    horizon: Horizon,
    import_price: Series<Price>,
    export_price: Series<Price>,
    pv: Series<Energy>,
    base_load: Series<Energy>,
    draws: Vec<Draw>,
    ambient: Ambient,
    state: State,
}

impl Weather {
    fn still(slots: usize, celsius: f64) -> Self {
        Self::with(slots, celsius, 0.0, 0.0)
    }

    /// PV and base load are powers [kW].
    fn with(slots: usize, celsius: f64, pv: f64, base: f64) -> Self {
        let horizon = Horizon::regular(Instant::from_unix(0), 1_800, slots).expect("slots");
        Self {
            import_price: Series::constant(&horizon, Price::constant(25.0)),
            export_price: Series::constant(&horizon, Price::constant(15.0)),
            pv: Series::constant(&horizon, Energy::constant(0.5 * pv)),
            base_load: Series::constant(&horizon, Energy::constant(0.5 * base)),
            draws: vec![],
            ambient: Ambient::default(),
            state: State {
                battery: Energy::constant(0.0),
                stores: vec![vec![Temperature::constant(celsius)]],
                plant_room: PlantRoomState::default(),
            },
            horizon,
        }
    }

    fn conditions(&self) -> Conditions<'_> {
        Conditions {
            horizon: &self.horizon,
            import_price: &self.import_price,
            export_price: &self.export_price,
            pv: &self.pv,
            base_load: &self.base_load,
            draws: &self.draws,
            mains: &[],
            ambient: &self.ambient,
            state: &self.state,
        }
    }
}

fn draw(minute: i64, litres: f64, celsius: f64, flow: f64) -> Draw {
    Draw {
        store: 0,
        start: Instant::from_unix(minute * 60),
        volume: Volume::constant(litres),
        temperature: Temperature::constant(celsius),
        flow: Flow::constant(flow),
    }
}

/// Full power in some slots.
fn heating(site: &Site, slots: usize, on: Range<usize>) -> Commands {
    let mut commands = Commands::idle(site, slots);
    for slot in on {
        commands.heaters[0][slot] = HeaterCommand {
            power: site.stores[0].elements[0].power,
            minutes: 30.0,
            delay_minutes: 0.0,
        };
    }
    commands
}

fn run(site: &Site, weather: &Weather, commands: &Commands, physics: Physics) -> Outcome {
    let mut plant = Plant::with_physics(site, physics);
    let scene = plant.scene(&weather.conditions()).expect("conditions that fit");
    plant.simulate(&scene, commands)
}

fn used(outcome: &Outcome) -> f64 {
    outcome.stores[0].slots().iter().map(|slot| slot.heat_kwh).sum()
}
