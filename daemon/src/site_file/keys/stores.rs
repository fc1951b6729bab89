//! Keys of stores and their elements.

use super::super::shape::Kind::{Choice, Flag, Numbers, Table, Tables, Text, Whole};
use super::super::shape::{Shape, assumed, number, optional, required};

pub(super) static STORE: Shape = Shape {
    about: "A vertical hot-water store. Its loss is given as `heat_loss_watts_per_kelvin` or as the label's `standing_loss_kwh_per_24h`.",
    keys: &[
        required("name", Text("cylinder"), "Name in schedules and on the wire."),
        required("volume_litres", number(0.0, 10_000.0, 250.0), "Water content."),
        required("height_metres", number(0.1, 10.0, 1.6), "Height of the water column."),
        optional(
            "heat_loss_watts_per_kelvin",
            number(0.0, 100.0, 1.6),
            "Loss of the whole store as installed.",
        ),
        optional(
            "standing_loss_kwh_per_24h",
            number(0.0, 50.0, 1.7),
            "Standing loss by the label or test.",
        ),
        assumed(
            "standing_loss_difference_kelvin",
            number(5.0, 100.0, 45.0),
            "Temperature difference of that test; EN 12897 takes 45 K.",
        ),
        assumed(
            "site_factor",
            number(0.5, 10.0, 1.0),
            "Loss as installed over loss by the label: bare pipes, caps and draughts.",
        ),
        optional(
            "insulation",
            Choice(&["factory", "jacket"]),
            "Kind of insulation, for comparison with SAP.",
        ),
        optional(
            "insulation_millimetres",
            number(0.0, 500.0, 50.0),
            "Thickness of the insulation, for comparison with SAP.",
        ),
        assumed("surroundings_celsius", number(-20.0, 50.0, 18.0), "Temperature around the store."),
        assumed("mains_celsius", number(0.0, 35.0, 10.0), "Temperature of the cold water."),
        optional(
            "mains_celsius_by_month",
            Numbers { min: 0.0, max: 35.0, usual: &[8.0] },
            "Instead, in the middle of each month from January to December.",
        ),
        assumed(
            "use_temperature_celsius",
            number(25.0, 70.0, 40.0),
            "Temperature from which water is of use at the tap.",
        ),
        required(
            "ceiling_celsius",
            number(20.0, 100.0, 70.0),
            "No water is planned hotter; at most 80 and 5 K below the cut-out.",
        ),
        optional("cut_out_celsius", number(40.0, 100.0, 85.0), "Non-self-resetting cut-out."),
        optional(
            "held_back_litres",
            number(0.0, 10_000.0, 30.0),
            "Litres kept at the use temperature for draws nobody foresaw; 12 % of the volume if left out.",
        ),
        assumed(
            "layers",
            Whole { min: 5, max: 200, usual: 20 },
            "Equal layers of the simulated tank.",
        ),
        assumed(
            "destratification_pump",
            Flag(false),
            "Whether a pump can move top water to the base.",
        ),
        optional("element", Tables(&ELEMENT), "Immersion elements."),
        optional("coil", Tables(&super::sinks::COIL), "Heating coils."),
        optional(
            "return_loop",
            Table(&super::sinks::RETURN_LOOP),
            "Secondary circulation that starts and ends here.",
        ),
    ],
};

static ELEMENT: Shape = Shape {
    about: "An immersion element.",
    keys: &[
        required("name", Text("bottom"), "Name in schedules and on the wire."),
        required("power_kw", number(0.0, 36.0, 3.0), "Electrical power when fully on."),
        required(
            "height_fraction",
            number(0.0, 1.0, 0.05),
            "Height as a share of the store's height, from the bottom.",
        ),
        assumed("control", Choice(&["on-off", "staged", "modulating"]), "How its power is set."),
        optional(
            "stages_kw",
            Numbers { min: 0.0, max: 36.0, usual: &[1.0, 2.0, 3.0] },
            "Powers of a staged element, rising to full power.",
        ),
        required("thermostat_celsius", number(20.0, 95.0, 65.0), "Its own thermostat opens here."),
        assumed("phases", Whole { min: 1, max: 3, usual: 1 }, "Phases it is wired to: 1 or 3."),
        super::sources::PHASE,
        optional("circuit_amperes", number(1.0, 1_000.0, 16.0), "Rating of its own circuit."),
        optional("circuit", Text("plant room"), "Name of a shared circuit, instead of its own."),
    ],
};
