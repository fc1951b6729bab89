//! Keys of hot-water habits, promises, hygiene and the present state.

use super::super::shape::Kind::{Choice, Days, Instant, Numbers, Table, Tables, Text, Time};
use super::super::shape::{Shape, assumed, number, optional, required};

pub(super) static DRAWS: Shape = Shape {
    about: "Draws from one store: one of `pattern`, `list` or `column`.",
    keys: &[
        optional(
            "store",
            Text("cylinder"),
            "Name of the store; may be left out where there is one.",
        ),
        optional(
            "pattern",
            Choice(&["S", "M", "L", "XL", "XXL"]),
            "Daily pattern of Commission Delegated Regulation (EU) 812/2013, Annex VII, Table 3.",
        ),
        optional(
            "litres_per_day",
            number(0.0, 10_000.0, 200.0),
            "Scales the pattern to these litres at the tap, each at its own temperature.",
        ),
        optional("kwh_per_day", number(0.0, 1_000.0, 7.0), "Scales the pattern to this heat."),
        optional("list", Tables(&DRAW), "The draws of a day."),
        optional("column", Text("draw_l_200lpd"), "Column of a draw series in litres at the tap."),
        assumed(
            "at_celsius",
            number(25.0, 65.0, 40.0),
            "Temperature the litres of the series are mixed at.",
        ),
        assumed(
            "flow_litres_per_minute",
            number(0.1, 100.0, 7.0),
            "Flow at the tap, for the series.",
        ),
        assumed("scale", number(0.0, 1_000.0, 1.0), "Factor on the series."),
    ],
};

static DRAW: Shape = Shape {
    about: "A draw: `mixed_litres` at the tap, or `stored_litres` that leave the store. They are different things.",
    keys: &[
        required("at", Time("07:00"), "Local time the tap opens."),
        assumed("days", Days, "Days it happens."),
        optional(
            "mixed_litres",
            number(0.0, 2_000.0, 40.0),
            "Litres at the tap, mixed at `at_celsius`.",
        ),
        optional(
            "stored_litres",
            number(0.0, 2_000.0, 24.0),
            "Litres that leave the store at `at_celsius`.",
        ),
        required(
            "at_celsius",
            number(20.0, 95.0, 40.0),
            "Temperature at the tap, or of the stored water.",
        ),
        assumed("flow_litres_per_minute", number(0.1, 100.0, 7.0), "Flow of these litres."),
    ],
};

pub(super) static READY: Shape = Shape {
    about: "Litres that stand ready by a local time.",
    keys: &[
        optional(
            "store",
            Text("cylinder"),
            "Name of the store; may be left out where there is one.",
        ),
        required("by", Time("06:30"), "Local time."),
        assumed("days", Days, "Days it is promised."),
        required(
            "mixed_litres",
            number(0.0, 10_000.0, 100.0),
            "Litres at the tap, mixed at `at_celsius`.",
        ),
        optional(
            "at_celsius",
            number(25.0, 65.0, 40.0),
            "Temperature at the tap; the store's use temperature if left out.",
        ),
    ],
};

pub(super) static HYGIENE: Shape = Shape {
    about: "Pasteurisation: the coldest water of the store reaches a temperature and holds it.",
    keys: &[
        optional(
            "store",
            Text("cylinder"),
            "Name of the store; may be left out where there is one.",
        ),
        assumed(
            "temperature_celsius",
            number(50.0, 80.0, 60.0),
            "Temperature of the coldest water.",
        ),
        assumed("hold_minutes", number(1.0, 1_440.0, 60.0), "How long it holds."),
        assumed("every_days", number(0.5, 60.0, 7.0), "Longest time between two holds."),
        optional("last_proven", Instant("2026-03-01T04:30:00Z"), "When a hold was last proven."),
    ],
};

pub(super) static STATE: Shape = Shape {
    about: "State of the plant, for plans without readings.",
    keys: &[
        optional("battery_kwh", number(0.0, 1_000.0, 4.0), "Energy in the battery above empty."),
        optional(
            "battery_percent",
            number(0.0, 100.0, 50.0),
            "The same as a share of its capacity.",
        ),
        optional("store", Tables(&STORE_STATE), "Temperatures of the stores."),
        optional("buffer_celsius", number(0.0, 100.0, 35.0), "Water in the buffer."),
        optional("pool_celsius", number(0.0, 45.0, 22.0), "Water in the pool."),
        optional("rooms", Table(&super::sinks::STATE_ROOMS), "Temperatures in the rooms."),
    ],
};

static STORE_STATE: Shape = Shape {
    about: "Temperatures of one store.",
    keys: &[
        optional(
            "store",
            Text("cylinder"),
            "Name of the store; may be left out where there is one.",
        ),
        required(
            "bottom_to_top_celsius",
            Numbers { min: 0.0, max: 100.0, usual: &[20.0, 50.0, 55.0] },
            "Temperatures of equal layers from bottom to top.",
        ),
    ],
};
