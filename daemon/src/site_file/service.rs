//! The background service.

use std::net::SocketAddr;
use std::ops::Range;
use std::path::PathBuf;

use super::broker::broker;
use super::fault::Faults;
use super::inputs::inputs;
use super::tree::Node;
use crate::house::House;
use crate::service::homie::Tree;
use crate::service::link::{Topic, TopicError};
use crate::service::prices::{ListMap, Quantity as PriceOf};
use crate::service::settings::{
    ForecastOf, ForecastSource, HomieSettings, LogFormat, Place, PriceForm, PriceSource,
    ServiceSettings, price_unit,
};
use crate::tariff::Rates;

/// What the service works with; `None` after a fault that leaves nothing to say.
pub(super) fn service(
    node: &Node,
    root: &Node,
    house: &House,
    faults: &mut Faults,
) -> Option<ServiceSettings> {
    let broker = broker(node.part("broker"), house, faults);
    let inputs = inputs(node, house, faults);
    let prices = prices(node, house, faults);
    let forecasts = forecasts(node, faults);
    let homie = HomieSettings {
        on: node.flag("homie"),
        mirror: node.flag("homie_4_mirror"),
        domain: node.text("homie_domain").to_owned(),
    };
    tree_fault(node, house, &homie, faults);
    if homie.mirror && !homie.on {
        let why = "without `homie = true` there is nothing to mirror";
        node.stray(&["homie_4_mirror"], why, faults);
    }
    Some(ServiceSettings {
        broker,
        inputs: inputs?,
        prices,
        forecasts,
        homie,
        commands_battery: root.table("battery").is_some_and(|b| b.flag("takes_commands")),
        start_offset: node.flag("start_offset"),
        change_share: node.number("change_saves_percent") / 100.0,
        http: http(node, faults),
        state_folder: node.maybe_text("state_folder").map(PathBuf::from),
        log_format: match node.text("log_format") {
            "json" => LogFormat::Json,
            _ => LogFormat::Text,
        },
    })
}

pub(super) fn refuse(node: &Node, key: &str, message: String, hint: &str, faults: &mut Faults) {
    faults.error(node.span_of(key), &node.path_of(key), message, Some(hint.to_owned()));
}

pub(super) fn topic(node: &Node, faults: &mut Faults) -> Option<Topic> {
    let text = node.maybe_text("topic")?;
    let refused = |error: TopicError, faults: &mut Faults| {
        refuse(node, "topic", error.to_string(), "name one topic, as `house/cylinder/top`", faults);
    };
    Topic::new(text).map_err(|error| refused(error, faults)).ok()
}

/// A JSON pointer (RFC 6901): empty, or each part after a slash.
pub(super) fn pointer(
    node: &Node,
    key: &str,
    is_needed: bool,
    faults: &mut Faults,
) -> Option<String> {
    match node.maybe_text(key) {
        Some(text) if text.starts_with('/') => Some(text.to_owned()),
        Some(text) => {
            let hint = format!("write `{key} = \"/{}\"`", text.replace('.', "/"));
            refuse(node, key, format!("\"{text}\" is no JSON pointer"), &hint, faults);
            None
        }
        None if is_needed && !node.blamed(key) => {
            let message = format!("`form = \"json\"` needs `{key}`");
            refuse(node, "form", message, &format!("add `{key} = \"/…\"`"), faults);
            None
        }
        None => None,
    }
}

fn place(node: &Node, keys: &[&'static str], faults: &mut Faults) -> Option<Place> {
    Some(match node.only_one(keys, faults)? {
        "file" => Place::File(PathBuf::from(node.text("file"))),
        "topic" => Place::Topic(topic(node, faults)?),
        _ => {
            let url = node.text("url").to_owned();
            if !url.starts_with("http://") && !url.starts_with("https://") {
                let message = format!("\"{url}\" is no address of the web");
                refuse(node, "url", message, "write it with `https://`", faults);
            }
            Place::Url(url, (node.number("poll_minutes") * 60.0) as u64)
        }
    })
}

fn prices(node: &Node, house: &House, faults: &mut Faults) -> Option<PriceSource> {
    let follows = [&house.tariff.import, &house.tariff.export]
        .into_iter()
        .any(|rates| matches!(rates, Rates::Indexed(_)));
    let Some(prices) = node.table("prices") else {
        if follows && !node.blamed("prices") {
            let message = "the tariff follows a price series, and `[service.prices]` is missing";
            let hint = "say where prices come from: a file, a topic or an address";
            refuse(node, "prices", message.to_owned(), hint, faults);
        }
        return None;
    };
    let place = place(prices, &["file", "topic", "url"], faults);
    let form = price_form(prices, house, faults);
    Some(PriceSource { place: place?, form: form? })
}

fn price_form(node: &Node, house: &House, faults: &mut Faults) -> Option<PriceForm> {
    const JSON: [&str; 6] =
        ["unit", "list_pointer", "start_pointer", "end_pointer", "value_pointer", "issued_pointer"];
    let form = node.text("form");
    if form != "json" {
        node.stray(&JSON, "it belongs to a list in JSON (`form = \"json\"`)", faults);
        return Some(if form == "openadr" { PriceForm::OpenAdr } else { PriceForm::Series });
    }
    let currency = &house.tariff.currency;
    let unit_text = node.maybe_text("unit").unwrap_or_default();
    let unit = price_unit(unit_text, currency);
    if unit.is_none() && !node.blamed("unit") {
        let key = if node.has("unit") { "unit" } else { "form" };
        let message = format!("\"{unit_text}\" is no unit of prices in {currency}");
        let hint = format!("write `unit = \"{currency}/MWh\"`, or what the source says");
        refuse(node, key, message, &hint, faults);
    }
    let start = pointer(node, "start_pointer", true, faults);
    let value = pointer(node, "value_pointer", true, faults);
    let map = ListMap {
        quantity: PriceOf::Price,
        unit: unit_text.to_owned(),
        list: pointer(node, "list_pointer", false, faults).unwrap_or_default(),
        start: start?,
        end: pointer(node, "end_pointer", false, faults),
        value: value?,
        issued: pointer(node, "issued_pointer", false, faults),
        zone: node.flag("local_times").then_some(house.time_zone),
    };
    Some(PriceForm::Json(Box::new(map), unit?))
}

fn forecasts(node: &Node, faults: &mut Faults) -> Vec<ForecastSource> {
    let Some(node) = node.table("forecast") else { return Vec::new() };
    let of = |of: ForecastOf| Some((of, node.table(of.name())?));
    ForecastOf::ALL
        .into_iter()
        .filter_map(of)
        .filter_map(|(of, node)| {
            let place = place(node, &["file", "topic", "url"], faults)?;
            let max_age_s = (node.number("maximum_age_hours") * 3_600.0) as i64;
            Some(ForecastSource { of, place, max_age_s })
        })
        .collect()
}

fn http(node: &Node, faults: &mut Faults) -> Option<SocketAddr> {
    let text = node.maybe_text("http_address")?;
    let Ok(address) = text.parse::<SocketAddr>() else {
        let message = format!("\"{text}\" is no address with a port");
        refuse(node, "http_address", message, "write it as `127.0.0.1:8460`", faults);
        return None;
    };
    if !address.ip().is_loopback() {
        let span: Range<usize> = node.span_of("http_address");
        let message = "everybody who reaches this address can read the state of the house";
        let hint = "use 127.0.0.1, and put something that asks for a password before it";
        let path = node.path_of("http_address");
        faults.warning(span, &path, message.to_owned(), Some(hint.to_owned()));
    }
    Some(address)
}

/// The names of stores and elements must make a Homie tree.
fn tree_fault(node: &Node, house: &House, homie: &HomieSettings, faults: &mut Faults) {
    if let Err(error) = Tree::new(&homie.spec(house)) {
        let hint = "or write `homie = false`";
        refuse(node, "homie_domain", error.to_string(), hint, faults);
    }
}
