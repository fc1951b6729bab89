//! Keys of the tariff.

use super::super::shape::Kind::{Table, Tables, Text, Time};
use super::super::shape::{Shape, assumed, number, optional, required};

pub(super) static TARIFF: Shape = Shape {
    about: "How import and export are priced.",
    keys: &[
        assumed(
            "standing_charge_minor_per_day",
            number(0.0, 100_000.0, 0.0),
            "Charge per day, whatever is used.",
        ),
        assumed(
            "published_at",
            Time("13:00"),
            "Local time at which the prices of the next local day become known, where they follow a series.",
        ),
        required("import", Table(&RATES), "Unit rate of import."),
        optional("export", Table(&RATES), "Unit rate of export; nothing is paid if left out."),
    ],
};

static RATES: Shape = Shape {
    about: "One of `rate_minor_per_kwh` (flat), `bands` (by local time of day) or `factor` (follows a price series: (price × factor + adder) × (1 + VAT), then floor and cap).",
    keys: &[
        optional(
            "rate_minor_per_kwh",
            number(-1_000.0, 10_000.0, 15.0),
            "Flat unit rate, all included.",
        ),
        optional("bands", Tables(&BAND), "Unit rates that cover the day without gap or overlap."),
        optional(
            "factor",
            number(-100.0, 100.0, 1.0),
            "Factor on the price series after its conversion to minor units per kWh.",
        ),
        optional(
            "column",
            Text("price_gbp_per_mwh"),
            "Column of the price file; needed only where it has several.",
        ),
        optional("adders", Tables(&BAND), "Added by local time of day before VAT; zero elsewhere."),
        assumed("vat_percent", number(0.0, 100.0, 0.0), "Value-added tax on the indexed rate."),
        optional(
            "cap_minor_per_kwh",
            number(-1_000.0, 100_000.0, 100.0),
            "The unit rate is never above this.",
        ),
        optional(
            "floor_minor_per_kwh",
            number(-100_000.0, 100_000.0, 0.0),
            "The unit rate is never below this.",
        ),
    ],
};

static BAND: Shape = Shape {
    about: "A rate from a local time until another; `until` at or before `from` runs past midnight.",
    keys: &[
        required("from", Time("16:00"), "Local start."),
        required("until", Time("19:00"), "Local end."),
        required(
            "rate_minor_per_kwh",
            number(-1_000.0, 10_000.0, 15.0),
            "The rate, or what is added.",
        ),
    ],
};
