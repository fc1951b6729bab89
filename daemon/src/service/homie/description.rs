//! What the devices are, property by property.

use homie5::device_description::{
    DeviceDescriptionBuilder, FloatRange, HomieDeviceDescription, HomieNodeDescription,
    HomiePropertyDescription, NodeDescriptionBuilder, PropertyDescriptionBuilder,
};
use homie5::{HOMIE_UNIT_DEGREE_CELSIUS, HOMIE_UNIT_PERCENT, HomieID};

use super::spec::{TreeSink, TreeSource, TreeSpec};

/// Where a schedule can come from, or why there is none.
pub(super) const PLAN_STATUS: [&str; 5] = ["ok", "stale", "infeasible", "fallback", "starting"];

/// Ways to run the house.
pub(super) const MODES: [&str; 4] = ["auto", "boost", "away", "off"];

/// Ways in which a battery works.
const BATTERY_MODES: [&str; 6] = ["hold", "follow", "charge", "discharge", "absorb", "supply"];

/// Temperatures a store may be set to aim at [°C], and the step [K].
pub(super) const TARGET: FloatRange =
    FloatRange { min: Some(40.0), max: Some(65.0), step: Some(0.5) };

type Property = (&'static str, HomiePropertyDescription);

/// Schedules are JSON arrays; the full schema is that of the plan document.
const SCHEDULE_SCHEMA: &str = r#"{"type":"array","items":{"type":"object"}}"#;

pub(super) fn root(spec: &TreeSpec, children: &[HomieID]) -> HomieDeviceDescription {
    let price = format!("{}/kWh", spec.currency);
    let plan = node(
        "Plan",
        [
            ("status", enumeration("Status", &PLAN_STATUS, false)),
            ("computed-at", datetime("Computed at", false)),
            ("valid-until", datetime("Valid until", false)),
            ("horizon", PropertyDescriptionBuilder::duration().name("Horizon").build()),
            ("cost-today", float("Cost today", &spec.currency)),
            (
                "schedule",
                PropertyDescriptionBuilder::json()
                    .name("Schedule")
                    .json_schema(SCHEDULE_SCHEMA)
                    .build(),
            ),
            (
                "replan",
                PropertyDescriptionBuilder::boolean()
                    .name("Make a new plan")
                    .settable(true)
                    .retained(false)
                    .build(),
            ),
        ],
    );
    let prices = node(
        "Prices",
        [
            ("import-now", float("Import price now", &price)),
            ("export-now", float("Export price now", &price)),
            ("import-next-cheapest", datetime("Next cheapest import", false)),
        ],
    );
    let control = node("Control", [("mode", enumeration("Mode", &MODES, true))]);
    children
        .iter()
        .fold(DeviceDescriptionBuilder::new(), |builder, child| builder.add_child(child.clone()))
        .name(spec.name.as_str())
        .r#type("org.stowheat.service")
        .add_node(HomieID::new_const("plan"), plan)
        .add_node(HomieID::new_const("prices"), prices)
        .add_node(HomieID::new_const("control"), control)
        .build()
}

pub(super) fn store(name: &str, root: &HomieID) -> HomieDeviceDescription {
    let share = PropertyDescriptionBuilder::float()
        .name("Fill level")
        .unit(HOMIE_UNIT_PERCENT)
        .range(0.0..=100.0)
        .build();
    let target = PropertyDescriptionBuilder::float()
        .name("Target temperature")
        .unit(HOMIE_UNIT_DEGREE_CELSIUS)
        .float_range(TARGET)
        .settable(true)
        .build();
    child(
        name,
        "org.stowheat.store",
        root,
        "store",
        [
            ("temperature", float("Temperature at the top", HOMIE_UNIT_DEGREE_CELSIUS)),
            ("fill-level", share),
            ("stored-energy", float("Stored energy", "kWh")),
            ("target", target),
            ("ready-by", datetime("Ready by", true)),
        ],
    )
}

pub(super) fn heater(name: &str, root: &HomieID, parent: &HomieID) -> HomieDeviceDescription {
    let boost =
        PropertyDescriptionBuilder::duration().name("Boost").settable(true).retained(false).build();
    let on = PropertyDescriptionBuilder::boolean().name("On").build();
    let mut description = child(
        name,
        "org.stowheat.heater",
        root,
        "heater",
        [
            ("power-now", float("Power now", "kW")),
            ("power-plan", float("Planned power", "kW")),
            ("on", on),
            ("slot-end", datetime("End of the slot", false)),
            ("boost", boost),
        ],
    );
    description.parent = Some(parent.clone());
    description.update_version();
    description
}

/// States of the two-contact interface of heat pumps.
pub(super) const REQUESTS: [&str; 4] = ["blocked", "normal", "encouraged", "forced"];

/// Lowest temperatures that may be asked of rooms [°C], and the step [K].
pub(super) const ROOMS_LOW: FloatRange =
    FloatRange { min: Some(7.0), max: Some(25.0), step: Some(0.5) };

pub(super) fn source(source: &TreeSource, root: &HomieID) -> HomieDeviceDescription {
    let name = source.name.as_str();
    let on = PropertyDescriptionBuilder::boolean().name("On").build();
    let serves = PropertyDescriptionBuilder::string().name("Serves").build();
    let off = PropertyDescriptionBuilder::duration()
        .name("Off for")
        .settable(true)
        .retained(false)
        .build();
    let properties = [
        ("on", on),
        ("serves", serves),
        ("heat-now", float("Heat wanted now", "kW")),
        ("flow-temperature", float("Flow temperature wanted", HOMIE_UNIT_DEGREE_CELSIUS)),
        ("off", off),
    ];
    let request = source.pump.then(|| ("request", enumeration("Asked for", &REQUESTS, false)));
    child(name, "org.stowheat.source", root, "source", properties.into_iter().chain(request))
}

pub(super) fn sink(sink: &TreeSink, root: &HomieID) -> HomieDeviceDescription {
    let low = PropertyDescriptionBuilder::float()
        .name("Lowest temperature")
        .unit(HOMIE_UNIT_DEGREE_CELSIUS);
    let low = if sink.rooms { low.float_range(ROOMS_LOW).settable(true) } else { low };
    let properties = [
        ("temperature", float("Temperature", HOMIE_UNIT_DEGREE_CELSIUS)),
        ("low", low.build()),
        ("high", float("Highest temperature", HOMIE_UNIT_DEGREE_CELSIUS)),
    ];
    child(&sink.name, "org.stowheat.sink", root, "sink", properties)
}

pub(super) fn battery(root: &HomieID) -> HomieDeviceDescription {
    child(
        "Battery",
        "org.stowheat.battery",
        root,
        "battery",
        [
            ("mode", enumeration("What it is to do", &BATTERY_MODES, false)),
            ("charge-now", float("Charge asked for, negative for discharge", "kW")),
            ("charge-plan", float("Planned charge, negative while discharging", "kW")),
            ("state-of-charge", float("State of charge", HOMIE_UNIT_PERCENT)),
        ],
    )
}

fn child(
    name: &str,
    kind: &str,
    root: &HomieID,
    node_id: &'static str,
    properties: impl IntoIterator<Item = Property>,
) -> HomieDeviceDescription {
    DeviceDescriptionBuilder::new()
        .name(name)
        .r#type(kind)
        .root(root.clone())
        .add_node(HomieID::new_const(node_id), node(name, properties))
        .build()
}

fn node(name: &str, properties: impl IntoIterator<Item = Property>) -> HomieNodeDescription {
    properties
        .into_iter()
        .fold(NodeDescriptionBuilder::new(), |builder, (id, property)| {
            builder.add_property(HomieID::new_const(id), property)
        })
        .name(name)
        .build()
}

fn float(name: &str, unit: &str) -> HomiePropertyDescription {
    PropertyDescriptionBuilder::float().name(name).unit(unit).build()
}

fn datetime(name: &str, settable: bool) -> HomiePropertyDescription {
    PropertyDescriptionBuilder::datetime().name(name).settable(settable).build()
}

fn enumeration(name: &str, values: &[&str], settable: bool) -> HomiePropertyDescription {
    PropertyDescriptionBuilder::enumeration(values.iter().map(|value| (*value).to_owned()))
        .map(|builder| builder.name(name).settable(settable).build())
        .expect("the values are distinct and not empty")
}
