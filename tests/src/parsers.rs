//! Every reader of bytes from outside, each with documents that it takes, for trying
//! them with documents that it should not.

use optimiser::time::Instant;
use optimiser::units::{Power, Volume};
use stowheat::series::{self, Marks};
use stowheat::service::homie::{Tree, TreeSink, TreeSource, TreeSpec, TreeStore};
use stowheat::service::link::{Filter, Topic};
use stowheat::service::prices::{ListMap, Quantity, read_openadr};
use stowheat::service::readings::{Arrival, Gate, Limits, Shape};
use stowheat::service::{commands, settings};
use stowheat::{local_time, site_file, weather};

/// A reader of bytes from outside.
pub struct Parser {
    /// Its name.
    pub name: &'static str,
    /// Documents that it takes.
    pub seeds: &'static [&'static str],
    /// Has it read; it must come back, whatever the bytes.
    pub read: fn(&[u8]),
}

/// All of them.
pub const PARSERS: [Parser; 12] = [
    Parser { name: "reading-number", seeds: &["44.5", "-3e1", "nan", "85.0"], read: number },
    Parser {
        name: "reading-json",
        seeds: &[r#"{"probes":[{"temperature":48.25}],"time":"2026-01-15T10:00:00Z"}"#],
        read: json,
    },
    Parser {
        name: "reading-senml",
        seeds: &[
            r#"[{"bn":"urn:dev:ow:10e2:","bt":1768471200,"bu":"Cel"},{"n":"temp","v":51.5,"t":-5}]"#,
        ],
        read: senml,
    },
    Parser { name: "command", seeds: &COMMANDS, read: command },
    Parser {
        name: "price-list",
        seeds: &[
            r#"{"data":[{"start":"2026-01-15T10:00:00Z","end":"2026-01-15T10:30:00Z","price":91.5},{"start":"2026-01-15T10:30:00Z","price":-4}],"issued":"2026-01-14T13:00:00Z"}"#,
        ],
        read: price_list,
    },
    Parser { name: "openadr", seeds: &[OPENADR], read: openadr },
    Parser {
        name: "series",
        seeds: &[include_str!("../../fixtures/weather/harbour-row.csv"), SERIES],
        read: a_series,
    },
    Parser {
        name: "weather",
        seeds: &[
            include_str!("../../fixtures/weather/quillhaven.epw"),
            include_str!("../../fixtures/weather/pvgis_flat.csv"),
            include_str!("../../fixtures/weather/pvgis_tilted.json"),
            SERIES,
        ],
        read: a_weather,
    },
    Parser {
        name: "site-file",
        seeds: &[
            include_str!("../../fixtures/sites/mill-cottage.toml"),
            include_str!("../../deploy/site.example.toml"),
        ],
        read: a_site_file,
    },
    Parser {
        name: "homie-request",
        seeds: &["PT20M", "off", "away", "55.5", "true"],
        read: request,
    },
    Parser {
        name: "instant",
        seeds: &["2026-03-29T01:30:00+01:00", "2026-10-25T01:30:00Z"],
        read: instant,
    },
    Parser {
        name: "topic",
        seeds: &["house/+/top", "homie/5/mill/$state", "EUR/MWh"],
        read: topic,
    },
];

const COMMANDS: [&str; 6] = [
    r#"{"schema":"stowheat/command/1","id":"1","action":{"kind":"boost","store":"cylinder","minutes":20}}"#,
    r#"{"schema":"stowheat/command/1","id":"2","valid_until":"2026-01-15T10:05:00Z","action":{"kind":"off","until":"2026-01-15T13:00:00Z"}}"#,
    r#"{"schema":"stowheat/command/1","id":"3","action":{"kind":"away","from":"2026-01-15T10:00:00Z","to":"2026-01-20T10:00:00Z"}}"#,
    r#"{"schema":"stowheat/command/1","id":"4","action":{"kind":"guests","count":2,"until":"2026-01-16T10:00:00Z"}}"#,
    r#"{"schema":"stowheat/command/1","id":"5","action":{"kind":"target","store":"cylinder","celsius":55}}"#,
    r#"{"schema":"stowheat/command/1","id":"6","action":{"kind":"replan"}}"#,
];

const OPENADR: &str = r#"{"objectType":"EVENT","programID":"44","eventName":"day ahead","createdDateTime":"2026-01-14T13:00:00Z","payloadDescriptors":[{"objectType":"EVENT_PAYLOAD_DESCRIPTOR","payloadType":"PRICE","units":"KWH","currency":"EUR"}],"intervalPeriod":{"start":"2026-01-15T00:00:00Z","duration":"PT1H"},"intervals":[{"id":0,"payloads":[{"type":"PRICE","values":[0.17]}]},{"id":1,"intervalPeriod":{"start":"2026-01-15T03:00:00+01:00","duration":"PT2H"},"payloads":[{"type":"PRICE","values":[0.30,0.40]}]}]}"#;

const SERIES: &str = "\u{feff}start;air temperature [°C];ghi [W/m2]\r\n2026-01-15T00:00:00Z;3,5;0\r\n2026-01-15T00:30:00Z;;0\r\n2026-01-15T01:00:00Z;3,1;0\r\n";

/// 2026-01-15T10:00:00Z.
const NOW: Instant = Instant::from_unix(1_768_471_200);

/// How far ahead prices are taken [s].
const AHEAD_S: i64 = 10 * 86_400;

fn arrival(shape: Shape, payload: &[u8]) {
    let limits =
        Limits::of_probe(Power::clamped(3.0), Volume::clamped(10.0), Volume::clamped(200.0));
    let mut gate = Gate::new(shape, "°C".parse().expect("a unit"), limits);
    for retained in [false, true] {
        let _verdict = gate.accept(NOW, Arrival { payload, retained });
    }
    let _age = gate.freshness(NOW + 60);
}

fn number(bytes: &[u8]) {
    arrival(Shape::Plain, bytes);
}

fn json(bytes: &[u8]) {
    let time = Some("/time".to_owned());
    arrival(Shape::Json { value: "/probes/0/temperature".to_owned(), time }, bytes);
}

fn senml(bytes: &[u8]) {
    arrival(Shape::SenMl { name: "urn:dev:ow:10e2:temp".to_owned() }, bytes);
}

fn command(bytes: &[u8]) {
    for retained in [false, true] {
        let _outcome = commands::read(bytes, retained, NOW);
    }
}

fn price_list(bytes: &[u8]) {
    let map = ListMap {
        quantity: Quantity::Price,
        unit: "EUR/MWh".to_owned(),
        list: "/data".to_owned(),
        start: "/start".to_owned(),
        end: Some("/end".to_owned()),
        value: "/price".to_owned(),
        issued: Some("/issued".to_owned()),
        zone: None,
    };
    let _outcome = map.read(bytes, NOW);
}

fn openadr(bytes: &[u8]) {
    let _outcome = read_openadr(bytes, NOW, NOW + AHEAD_S);
}

fn a_series(bytes: &[u8]) {
    let _outcome = series::read("a file", bytes, Marks::AsNamed);
}

fn a_weather(bytes: &[u8]) {
    let _outcome = weather::read(&String::from_utf8_lossy(bytes), "a file");
}

fn a_site_file(bytes: &[u8]) {
    if let Err(report) = site_file::read(&String::from_utf8_lossy(bytes), "a file") {
        let _text = report.rendered(false);
    }
}

fn request(bytes: &[u8]) {
    let spec = TreeSpec {
        domain: "homie".to_owned(),
        instance: "mill".to_owned(),
        name: "Mill".to_owned(),
        currency: "EUR".to_owned(),
        stores: vec![TreeStore {
            name: "cylinder".to_owned(),
            heaters: vec!["immersion".to_owned()],
        }],
        sources: vec![TreeSource { name: "ground".to_owned(), pump: true }],
        sinks: vec![TreeSink { name: "rooms".to_owned(), rooms: true }],
        battery: true,
    };
    let tree = Tree::new(&spec).expect("a tree");
    for filter in tree.filters() {
        let topic = filter.as_str().replace('+', "mode");
        for retained in [false, true] {
            let _outcome = tree.request(&topic, bytes, retained);
        }
    }
}

fn instant(bytes: &[u8]) {
    let _outcome = local_time::parse_instant(&String::from_utf8_lossy(bytes));
}

fn topic(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes).into_owned();
    let _outcome = (Topic::new(text.clone()), settings::price_unit(&text, "EUR"));
    if let Ok(filter) = Filter::new(text.clone()) {
        let _matches = filter.matches(&text);
    }
}
