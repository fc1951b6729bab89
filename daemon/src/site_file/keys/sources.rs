//! Keys of heat pumps, boiler, collectors and buffer.

use super::super::shape::Kind::{Choice, Flag, Tables, Text, Texts, Whole};
use super::super::shape::{Key, Kind, Shape, assumed, number, optional, required};

/// Sinks as `serves` and `feeds` name them.
const SINKS: &[&str] = &["cylinder", "buffer"];

const fn serves(usual: &'static [&'static str]) -> Key {
    required(
        "serves",
        Texts(usual),
        "Sinks in their order of priority: a store by name (`store/coil` where it has several coils), `buffer`, `rooms`, `pool`.",
    )
}

pub(super) const PHASE: Key = optional(
    "phase",
    Kind::Whole { min: 1, max: 3, usual: 1 },
    "The phase it hangs on, 1 to 3, on a three-phase supply.",
);

pub(super) static HEAT_PUMP: Shape = Shape {
    about: "A heat pump that does one job at a time. Its COP follows a named model; `rated_kw` at two temperatures and changes per kelvin give its capacity, or rating points of the maker give both.",
    keys: &[
        required("name", Text("heat pump"), "Name in schedules and on the wire."),
        assumed("source", Choice(&["air", "ground"]), "Where it takes its heat from."),
        assumed(
            "model",
            Choice(&["staffell-2012", "ruhnau-2019", "rating-points"]),
            "COP by lift: the fits of Staffell et al. 2012 or Ruhnau et al. 2019, or the maker's `points`.",
        ),
        optional("rated_kw", number(0.1, 200.0, 8.0), "Heating capacity at the rating."),
        assumed(
            "rated_source_celsius",
            number(-30.0, 30.0, 2.0),
            "Temperature of air or brine at the rating: 2 is A2/W35 of EN 14511.",
        ),
        assumed(
            "rated_flow_celsius",
            number(20.0, 80.0, 35.0),
            "Flow temperature at the rating: 35 is A2/W35 of EN 14511.",
        ),
        assumed(
            "capacity_percent_per_source_k",
            number(-10.0, 10.0, 2.5),
            "Change of capacity for each kelvin of source (common practice, no published source).",
        ),
        assumed(
            "capacity_percent_per_flow_k",
            number(-10.0, 10.0, -0.3),
            "Change of capacity for each kelvin of flow (common practice, no published source).",
        ),
        assumed(
            "field_factor_fraction",
            number(0.3, 1.0, 0.85),
            "With `ruhnau-2019`: what field measurements fall short of data sheets, after its authors.",
        ),
        optional("points", Tables(&POINT), "With `rating-points`: rows of the data sheet."),
        assumed("flow_limit_celsius", number(25.0, 90.0, 55.0), "Hottest flow that it makes."),
        assumed(
            "least_share_fraction",
            number(0.05, 1.0, 1.0),
            "Lowest part of its capacity that it runs at; 1 if it is on or off.",
        ),
        optional(
            "defrost_loss_fraction",
            number(0.0, 0.5, 0.05),
            "Share of its heat that frost costs while the air is below 5 °C; for air 0.05 if left out, after laboratory seasons with demand defrost (ASHRAE Transactions 93, 1987).",
        ),
        assumed(
            "start_loss_kwh",
            number(0.0, 5.0, 0.1),
            "Heat that warms up the machine at every start (common practice, no published source).",
        ),
        assumed(
            "least_run_minutes",
            number(0.0, 1_440.0, 10.0),
            "Once started it runs this long (common practice, no published source).",
        ),
        assumed(
            "least_rest_minutes",
            number(0.0, 1_440.0, 20.0),
            "Once stopped it rests this long (common practice, no published source).",
        ),
        assumed(
            "auxiliary_kw",
            number(0.0, 5.0, 0.05),
            "Power of pumps and controls while it runs, beyond what the COP counts.",
        ),
        assumed("phases", Whole { min: 1, max: 3, usual: 1 }, "Phases it is wired to: 1 or 3."),
        PHASE,
        serves(SINKS),
    ],
};

static POINT: Shape = Shape {
    about: "A row of the data sheet, such as A7/W35.",
    keys: &[
        required("source_celsius", number(-30.0, 40.0, 7.0), "Temperature of air or brine."),
        required("flow_celsius", number(20.0, 90.0, 35.0), "Flow temperature."),
        required("capacity_kw", number(0.1, 200.0, 8.0), "Heating capacity."),
        required("cop", number(1.0, 12.0, 4.2), "Heat for each unit of electricity."),
    ],
};

pub(super) static BOILER: Shape = Shape {
    about: "A boiler for oil or gas that does one job at a time.",
    keys: &[
        required("fuel", Choice(&["oil", "gas"]), "What it burns."),
        required(
            "fuel_price_minor_per_kwh",
            number(0.0, 1_000.0, 8.0),
            "Price of a kWh of fuel, for the calorific value that the efficiency is of.",
        ),
        required(
            "efficiency_fraction",
            number(0.3, 1.0, 0.85),
            "Heat for each unit of fuel over the season.",
        ),
        required("power_kw", number(0.1, 500.0, 18.0), "Heat output."),
        assumed(
            "least_share_fraction",
            number(0.05, 1.0, 1.0),
            "Lowest part of its output that it runs at; 1 if it is on or off.",
        ),
        assumed("flow_limit_celsius", number(30.0, 95.0, 75.0), "Hottest flow that it makes."),
        assumed(
            "least_run_minutes",
            number(0.0, 1_440.0, 5.0),
            "Once started it runs this long (common practice, no published source).",
        ),
        assumed("auxiliary_kw", number(0.0, 5.0, 0.1), "Power of controls and pump while it runs."),
        assumed(
            "back_up_only",
            Flag(false),
            "Whether it may run only where nothing else can keep what was promised.",
        ),
        serves(SINKS),
    ],
};

pub(super) static COLLECTORS: Shape = Shape {
    about: "Solar thermal collectors of one orientation with one pump station. Efficiency after EN ISO 9806: η₀ − a₁·ΔT/G − a₂·ΔT²/G, as on the data sheet. They need `[location]`.",
    keys: &[
        required(
            "area_square_metres",
            number(0.1, 1_000.0, 6.0),
            "Area that the coefficients are of, gross or aperture.",
        ),
        required("eta0_fraction", number(0.2, 1.0, 0.78), "η₀: efficiency without difference."),
        required("a1_watts_per_m2_k", number(0.0, 50.0, 3.5), "a₁: linear loss."),
        required("a2_watts_per_m2_k2", number(0.0, 1.0, 0.015), "a₂: quadratic loss."),
        required(
            "tilt_degrees",
            number(0.0, 90.0, 45.0),
            "Angle to the horizontal: 0 lies flat, 90 stands upright.",
        ),
        required(
            "azimuth_degrees",
            number(0.0, 360.0, 180.0),
            "Direction it faces, clockwise from north: 90 is east, 180 south, 270 west.",
        ),
        optional(
            "flow_litres_per_minute",
            number(0.1, 500.0, 4.0),
            "Flow while the pump runs; 40 L/h for each m² if left out (common practice, no published source).",
        ),
        assumed("pump_watts", number(0.0, 2_000.0, 40.0), "Power of the pump station."),
        assumed(
            "start_difference_kelvin",
            number(0.0, 40.0, 8.0),
            "The pump starts when the collector is this much warmer than the sink.",
        ),
        assumed(
            "stop_difference_kelvin",
            number(0.0, 40.0, 4.0),
            "The pump stops when it is less than this much warmer.",
        ),
        optional(
            "limit_celsius",
            number(30.0, 95.0, 65.0),
            "The sun charges no sink beyond this: at most 5 K below the ceiling of each store, which is taken if left out.",
        ),
        assumed(
            "priority",
            Choice(&["absolute", "relative", "optimiser"]),
            "Who chooses the sink: the pump station by the order of `serves` (one after the other, or the first that the collector is warm enough for), or the plan.",
        ),
        assumed(
            "albedo_fraction",
            number(0.0, 1.0, 0.2),
            "Share of light that the ground throws back.",
        ),
        serves(&["cylinder/lower", "pool"]),
    ],
};

pub(super) static BUFFER: Shape = Shape {
    about: "Buffer vessel or low-loss header between sources and heating circuits, taken as mixed: it evens out runs of minutes and stores no hours.",
    keys: &[
        required("volume_litres", number(1.0, 10_000.0, 120.0), "Content with open pipes."),
        optional(
            "heat_loss_watts_per_kelvin",
            number(0.0, 100.0, 1.5),
            "Standing loss; if left out that of EU class C for its volume, the worst that may be sold (Regulation (EU) 814/2013).",
        ),
        assumed("surroundings_celsius", number(-20.0, 50.0, 18.0), "Temperature around it."),
        assumed("ceiling_celsius", number(25.0, 95.0, 75.0), "No source heats it beyond this."),
        optional("immersion_kw", number(0.1, 36.0, 6.0), "Power of an element in it, if any."),
        PHASE,
        required(
            "feeds",
            Texts(&["rooms"]),
            "Circuits: `rooms` through a mixing valve at the heating curve's flow, `pool` unmixed.",
        ),
    ],
};
