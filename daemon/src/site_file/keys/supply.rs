//! Keys of the house: place, grid, PV, battery, base load, circuits.

use super::super::shape::Kind::{Choice, Flag, Table, Tables, Text, Time, Whole};
use super::super::shape::{Shape, assumed, number, optional, required};

pub(super) static SITE: Shape = Shape {
    about: "Name, zone and currency.",
    keys: &[
        required("name", Text("Harbour Row"), "Name of the site."),
        required(
            "time_zone",
            Text("Europe/London"),
            "Zone of every local time in the file, as in the IANA time zone database.",
        ),
        required("currency", Text("GBP"), "Currency, ISO 4217."),
        assumed(
            "series_mark",
            Choice(&["start", "end"]),
            "Whether the rows of series files given to commands mark the start or the end of their interval, where the column is named `start`.",
        ),
    ],
};

pub(super) static LOCATION: Shape = Shape {
    about: "Place on Earth.",
    keys: &[
        required("latitude_degrees", number(-90.0, 90.0, 52.0), "Latitude, north positive."),
        required("longitude_degrees", number(-180.0, 180.0, -1.0), "Longitude, east positive."),
        assumed("altitude_metres", number(-430.0, 5_500.0, 0.0), "Height above sea level."),
    ],
};

pub(super) static GRID: Shape = Shape {
    about: "The connection to the grid.",
    keys: &[
        required("fuse_amperes", number(1.0, 1_000.0, 80.0), "Main fuse per phase."),
        assumed("phases", Whole { min: 1, max: 3, usual: 1 }, "Phases of the supply: 1 or 3."),
        assumed(
            "voltage_volts",
            number(90.0, 480.0, 230.0),
            "Voltage of one phase against neutral.",
        ),
        optional(
            "metering",
            Choice(&["net", "per-phase"]),
            "On three phases: whether import on one is netted against export on another, or each is counted by itself.",
        ),
        optional(
            "import_limit_kw",
            number(0.0, 500.0, 18.4),
            "Agreed import limit; the main fuse if left out.",
        ),
        assumed(
            "export_limit_kw",
            number(0.0, 500.0, 0.0),
            "Most that may be fed in; none if left out.",
        ),
    ],
};

pub(super) static PV: Shape = Shape {
    about: "PV, in one of three ways: a forecast series (`forecast_scale`), peak power times an irradiance series (`peak_kw`), or arrays by orientation (`arrays` and `inverter`).",
    keys: &[
        optional(
            "forecast_scale",
            number(0.0, 1_000.0, 1.0),
            "Factor on a PV series that is given.",
        ),
        optional("peak_kw", number(0.0, 500.0, 4.2), "Power at 1 kW/m²."),
        assumed(
            "performance_ratio_fraction",
            number(0.0, 1.0, 0.85),
            "With `peak_kw`: share of the nominal energy that reaches the meter.",
        ),
        optional(
            "inverter_limit_kw",
            number(0.0, 500.0, 3.68),
            "With `peak_kw`: most AC power of the inverter.",
        ),
        optional("arrays", Tables(&ARRAY), "Modules by orientation, all on one inverter."),
        optional("inverter", Table(&INVERTER), "With `arrays`: the inverter that they feed."),
        super::sources::PHASE,
        assumed(
            "losses_fraction",
            number(0.0, 0.9, 0.140_757),
            "With `arrays`: share of the DC energy lost to soiling, shade, wiring and age.",
        ),
        assumed(
            "albedo_fraction",
            number(0.0, 1.0, 0.2),
            "With `arrays`: share of light that the ground throws back.",
        ),
        assumed(
            "sky_model",
            Choice(&["hay-davies", "isotropic", "perez"]),
            "With `arrays`: how diffuse light is spread over the sky.",
        ),
    ],
};

static ARRAY: Shape = Shape {
    about: "Modules that share one orientation.",
    keys: &[
        required("peak_kw", number(0.01, 500.0, 4.2), "DC power at 1 kW/m² and 25 °C."),
        required(
            "tilt_degrees",
            number(0.0, 90.0, 35.0),
            "Angle to the horizontal: 0 lies flat, 90 stands upright.",
        ),
        required(
            "azimuth_degrees",
            number(0.0, 360.0, 180.0),
            "Direction it faces, clockwise from north: 90 is east, 180 south, 270 west.",
        ),
        assumed(
            "temperature_coefficient_percent_per_k",
            number(-2.0, 0.0, -0.35),
            "Change of power per kelvin of cell temperature, as on the data sheet; negative.",
        ),
    ],
};

static INVERTER: Shape = Shape {
    about: "The inverter of the arrays.",
    keys: &[
        required("limit_kw", number(0.01, 500.0, 3.68), "Most AC power."),
        assumed("efficiency_fraction", number(0.5, 1.0, 0.96), "Efficiency at the limit."),
    ],
};

pub(super) static BATTERY: Shape = Shape {
    about: "A battery. Its wear is given per kWh, or by its price with rated cycles and their depth.",
    keys: &[
        required(
            "capacity_kwh",
            number(0.0, 1_000.0, 8.0),
            "Usable energy between empty and full.",
        ),
        assumed("reserve_kwh", number(0.0, 1_000.0, 0.0), "Level that is never drawn below."),
        required("charge_limit_kw", number(0.0, 500.0, 3.6), "Most AC power into the battery."),
        required(
            "discharge_limit_kw",
            number(0.0, 500.0, 3.6),
            "Most AC power out of the battery.",
        ),
        assumed(
            "charge_efficiency_fraction",
            number(0.0, 1.0, 0.95),
            "Stored for each unit of AC taken in, one way.",
        ),
        assumed(
            "discharge_efficiency_fraction",
            number(0.0, 1.0, 0.95),
            "AC given out for each stored unit, one way.",
        ),
        optional(
            "wear_minor_per_kwh",
            number(-1_000.0, 1_000.0, 2.0),
            "Cost of wear for each kWh given out.",
        ),
        optional(
            "replacement_price_major",
            number(0.0, 1e6, 3_000.0),
            "Price of the battery in whole currency units, for its wear.",
        ),
        optional("rated_cycles", number(1.0, 100_000.0, 6_000.0), "Cycles it is rated for."),
        assumed("cycle_depth_fraction", number(0.01, 1.0, 0.9), "Depth of the rated cycles."),
        assumed("charges_from_grid", Flag(true), "Whether it may charge from the grid."),
        assumed("exports", Flag(false), "Whether it may discharge into the grid."),
        assumed("feeds_heaters", Flag(true), "Whether it may feed immersion elements."),
        assumed(
            "takes_commands",
            Flag(false),
            "Whether it obeys the service's set-points, and regulates itself when they run out; otherwise it always regulates itself.",
        ),
        super::sources::PHASE,
    ],
};

pub(super) static BASE_LOAD: Shape = Shape {
    about: "Base load: one of `constant_kw`, `daily` or `series_scale`.",
    keys: &[
        optional("constant_kw", number(0.0, 100.0, 0.3), "The same power all day."),
        optional(
            "daily",
            Tables(&BASE_STEP),
            "Power by local time of day, the first step at 00:00.",
        ),
        optional(
            "series_scale",
            number(0.0, 1_000.0, 1.0),
            "Factor on a load series that is given.",
        ),
        super::sources::PHASE,
    ],
};

static BASE_STEP: Shape = Shape {
    about: "A step of the base load, until the next one.",
    keys: &[
        required("from", Time("00:00"), "Local time the step begins."),
        required("power_kw", number(0.0, 100.0, 0.3), "Power from then on."),
    ],
};

pub(super) static CIRCUIT: Shape = Shape {
    about: "A circuit that several elements share.",
    keys: &[
        required("name", Text("plant room"), "Name that elements refer to."),
        required("rating_amperes", number(1.0, 1_000.0, 32.0), "Rating of its protective device."),
    ],
};
