//! A small language for planning problems that can be solved on paper.

use optimiser::problem::{
    Ambient, Comfort, Draw, EndValue, HeaterId, PlantRoomState, Problem, State, Weights,
};
use optimiser::site::{Battery, Control, Element, Grid, PlantRoom, Site, Store};
use optimiser::time::{Horizon, Instant, Series};
use optimiser::units::{Energy, Flow, Fraction, HeatLoss, Power, Price, Temperature, Volume};

/// First instant of every made-up day: 2024-03-04T00:00Z, a Monday.
pub const MONDAY: Instant = Instant::from_unix(1_709_510_400);

/// A Celsius temperature known to be valid.
pub fn celsius(value: f64) -> Temperature {
    Temperature::new(value).expect("a temperature of a test")
}

/// An amount of energy known to be valid.
pub fn kwh(value: f64) -> Energy {
    Energy::new(value).expect("an energy of a test")
}

/// A power known to be valid.
pub fn kw(value: f64) -> Power {
    Power::new(value).expect("a power of a test")
}

/// A price known to be valid.
pub fn price(value: f64) -> Price {
    Price::new(value).expect("a price of a test")
}

/// An element of a power at a height, on/off, with its thermostat at 80 °C.
pub fn element(name: &str, power: f64, height: f64) -> Element {
    Element {
        name: name.to_owned(),
        power: kw(power),
        height: Fraction::new(height).expect("a height of a test"),
        control: Control::OnOff,
        thermostat: celsius(80.0),
    }
}

/// A store without losses, filled at 10 °C, used at 40 °C, up to 65 °C.
pub fn store(litres: f64, elements: Vec<Element>) -> Store {
    Store {
        name: "cylinder".to_owned(),
        volume: Volume::new(litres).expect("a volume of a test"),
        height_m: 1.5,
        heat_loss: HeatLoss::constant(0.0),
        surroundings: celsius(20.0),
        mains: celsius(10.0),
        use_temperature: celsius(40.0),
        ceiling: celsius(65.0),
        cut_out: None,
        held_back: Volume::constant(0.0),
        destratification_pump: false,
        layers: 20,
        elements,
        coils: Vec::new(),
        return_loop: None,
    }
}

/// A battery of 10 kWh and 5 kW that may do everything.
pub fn battery() -> Battery {
    Battery {
        capacity: kwh(10.0),
        reserve: kwh(0.0),
        charge_limit: kw(5.0),
        discharge_limit: kw(5.0),
        charge_efficiency: Fraction::constant(0.95),
        discharge_efficiency: Fraction::constant(0.95),
        wear: price(4.0),
        charges_from_grid: true,
        exports: true,
        feeds_heaters: true,
    }
}

/// Half-hours of a day with one import price each, nothing else going on.
pub fn day(stores: Vec<Store>, import: &[f64]) -> Problem {
    let horizon = Horizon::regular(MONDAY, 1_800, import.len()).expect("slots of a test");
    let prices: Vec<Price> = import.iter().map(|&p| price(p)).collect();
    let import_price = Series::new("import", &horizon, prices).expect("as many prices as slots");
    let start = stores.iter().map(|s| vec![s.mains; s.layers]).collect();
    Problem {
        weights: Weights::for_prices(&import_price),
        export_price: Series::constant(&horizon, price(0.0)),
        pv: Series::constant(&horizon, kwh(0.0)),
        base_load: Series::constant(&horizon, kwh(0.0)),
        site: Site {
            grid: Grid { import_limit: kw(18.4), export_limit: kw(3.68) },
            battery: None,
            stores,
            plant_room: PlantRoom::default(),
        },
        horizon,
        import_price,
        draws: Vec::new(),
        ready: Vec::new(),
        hygiene: Vec::new(),
        ambient: Ambient::default(),
        comfort: Comfort::default(),
        state: State { battery: kwh(0.0), stores: start, plant_room: PlantRoomState::default() },
        end_value: EndValue::default(),
        by_hand: Vec::new(),
        published: None,
    }
}

/// A draw of mixed litres at 40 °C from the first store, an hour of the day
/// after [`MONDAY`].
pub fn draw(hour: f64, litres: f64) -> Draw {
    Draw {
        store: 0,
        start: MONDAY + (hour * 3_600.0) as i64,
        volume: Volume::new(litres).expect("litres of a test"),
        temperature: celsius(40.0),
        flow: Flow::constant(8.0),
    }
}

/// The first element of the first store.
pub const FIRST: HeaterId = HeaterId { store: 0, element: 0 };
