//! Keys of the background service.

use super::super::shape::Kind::{Choice, Flag, Table, Tables, Text, Whole};
use super::super::shape::{Shape, assumed, number, optional, required};

/// What an input can measure, in the words of the file.
pub(in crate::site_file) const MEASURES: [&str; 17] = [
    "store-temperature",
    "battery-level",
    "battery-power",
    "pv-power",
    "pv-energy",
    "load-power",
    "load-energy",
    "import-power",
    "heater-power",
    "heater-energy",
    "outdoor-temperature",
    "buffer-temperature",
    "room-temperature",
    "pool-temperature",
    "collector-temperature",
    "source-power",
    "source-energy",
];

pub(super) static SERVICE: Shape = Shape {
    about: "The background service, for `stowheat run`.",
    keys: &[
        assumed("broker", Table(&BROKER), "The MQTT broker."),
        optional("input", Tables(&INPUT), "What is measured, and where it arrives."),
        optional("prices", Table(&PRICES), "Where the prices come from that the tariff follows."),
        optional("forecast", Table(&FORECASTS), "Where forecasts come from."),
        assumed("homie", Flag(true), "Show everything as a Homie 5 device tree as well."),
        assumed("homie_4_mirror", Flag(false), "And as Homie 4, for controllers that know no 5."),
        assumed("homie_domain", Text("homie"), "First level of the topics of the tree."),
        assumed(
            "start_offset",
            Flag(true),
            "Switch on up to ten minutes after the edge of a slot, always the same for this site, so that not all houses start at once.",
        ),
        assumed(
            "change_saves_percent",
            number(0.0, 20.0, 0.5),
            "A schedule that still serves is replaced only by one that costs less by this share of its import, and by at least one minor unit.",
        ),
        optional(
            "http_address",
            Text("127.0.0.1:8460"),
            "Address and port of `/livez`, `/readyz` and `/metrics`; none of them if left out.",
        ),
        optional(
            "state_folder",
            Text("/var/lib/stowheat"),
            "Folder of what is remembered; `$STATE_DIRECTORY`, or the user's state folder, if left out.",
        ),
        assumed("log_format", Choice(&["text", "json"]), "Form of the log."),
    ],
};

static BROKER: Shape = Shape {
    about: "The MQTT broker.",
    keys: &[
        assumed("host", Text("127.0.0.1"), "Name or address."),
        assumed(
            "port",
            Whole { min: 1, max: 65_535, usual: 1_883 },
            "Port; 8883 with `tls = true`, if left out.",
        ),
        optional(
            "client_id",
            Text("stowheat-mill-cottage"),
            "Name at the broker, its own for each service; made from the name of the site if left out.",
        ),
        optional(
            "prefix",
            Text("stowheat/mill-cottage"),
            "First levels of the own topics; `stowheat/` and the name of the site if left out.",
        ),
        optional("user", Text("stowheat"), "Name of the user; nobody if left out."),
        optional("password_file", Text("/etc/stowheat/password"), "File that holds the password."),
        optional(
            "password_credential",
            Text("broker-password"),
            "Name of the password among the credentials of the systemd unit.",
        ),
        assumed("tls", Flag(false), "Speak TLS, and nothing else."),
        optional(
            "ca_file",
            Text("/etc/stowheat/broker-ca.pem"),
            "Authorities that the broker's certificate must lead to; the system's if left out.",
        ),
        optional(
            "client_certificate_file",
            Text("/etc/stowheat/client.pem"),
            "Certificate that is shown to the broker.",
        ),
        optional("client_key_file", Text("/etc/stowheat/client-key.pem"), "Its key, PKCS #8."),
        optional(
            "client_key_credential",
            Text("broker-client-key"),
            "Name of the key among the credentials of the systemd unit.",
        ),
    ],
};

static INPUT: Shape = Shape {
    about: "An input: a number from any topic.",
    keys: &[
        required("name", Text("cylinder top"), "Name in messages."),
        required(
            "measures",
            Choice(&MEASURES),
            "What it measures; `energy` is a counter, load is the house without its heaters, import is negative while exporting, and battery power while discharging.",
        ),
        optional(
            "store",
            Text("cylinder"),
            "Store of the probe or heater; may be left out where there is one.",
        ),
        optional("heater", Text("immersion"), "The heater that is measured."),
        optional(
            "source",
            Text("ground"),
            "The source whose electricity is measured: a heat pump, `boiler`, `collectors` or `buffer element`; may be left out where there is one.",
        ),
        optional(
            "height_fraction",
            number(0.0, 1.0, 0.9),
            "Height of the probe as a share of the store's.",
        ),
        required("topic", Text("house/cylinder/top"), "Topic it arrives on."),
        assumed(
            "form",
            Choice(&["number", "json", "senml", "homie"]),
            "A bare number, a number in JSON, a SenML pack (RFC 8428), or a Homie property.",
        ),
        optional("value_pointer", Text("/temperature"), "To the number in JSON (RFC 6901)."),
        optional("time_pointer", Text("/time"), "To the time of the measurement in JSON."),
        optional(
            "record",
            Text("urn:dev:ow:10e2:temp"),
            "Name of the SenML record, with its base.",
        ),
        required("unit", Text("°C"), "Unit of the number; never guessed."),
        optional(
            "maximum_age_minutes",
            number(0.5, 1_440.0, 15.0),
            "Older readings are not acted on.",
        ),
    ],
};

static PRICES: Shape = Shape {
    about: "Where prices come from: one of `file`, `topic` or `url`.",
    keys: &[
        optional(
            "file",
            Text("/var/lib/stowheat/prices.csv"),
            "File that is read when it changes.",
        ),
        optional("topic", Text("prices/day-ahead"), "Topic they arrive on."),
        optional("url", Text("https://prices.example/day-ahead"), "Address that is asked."),
        assumed(
            "form",
            Choice(&["csv", "json", "openadr"]),
            "A series as for `plan --prices`, a list in JSON, or OpenADR 3 events.",
        ),
        assumed("poll_minutes", number(1.0, 1_440.0, 15.0), "How often the address is asked."),
        optional("unit", Text("EUR/MWh"), "Unit of the values in JSON."),
        optional(
            "list_pointer",
            Text("/data"),
            "To the list in JSON (RFC 6901); the document itself if left out.",
        ),
        optional("start_pointer", Text("/start"), "From an entry to its start."),
        optional("end_pointer", Text("/end"), "From an entry to its end."),
        optional("value_pointer", Text("/price"), "From an entry to its value."),
        optional("issued_pointer", Text("/issued"), "To the time of issue."),
        assumed(
            "local_times",
            Flag(false),
            "Times without an offset are local times of the site; refused otherwise.",
        ),
    ],
};

static FORECASTS: Shape = Shape {
    about: "Forecasts, each a file as for `plan`, or a topic or address with the same content.",
    keys: &[
        optional("weather", Table(&FORECAST), "Sun, temperature and wind."),
        optional("pv", Table(&FORECAST), "Energy or power of the PV system."),
        optional("load", Table(&FORECAST), "What the rest of the house takes."),
        optional("draws", Table(&FORECAST), "Litres of hot water."),
        optional(
            "outdoor",
            Table(&FORECAST),
            "Temperature of the air outside; goes before that of `weather`.",
        ),
    ],
};

static FORECAST: Shape = Shape {
    about: "A forecast: one of `file`, `topic` or `url`.",
    keys: &[
        optional(
            "file",
            Text("/var/lib/stowheat/weather.csv"),
            "File that is read when it changes.",
        ),
        optional("topic", Text("forecast/weather"), "Topic it arrives on."),
        optional("url", Text("https://weather.example/here.csv"), "Address that is asked."),
        assumed("poll_minutes", number(1.0, 1_440.0, 60.0), "How often the address is asked."),
        assumed(
            "maximum_age_hours",
            number(1.0, 100_000.0, 24.0),
            "An older one is not planned with.",
        ),
    ],
};
