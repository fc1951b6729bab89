//! What the link is asked to do.

use optimiser::problem::HeaterId;

use super::effects::json;
use super::{documents, set_point_topic};
use crate::house::House;
use crate::service::homie::{Mirror, Status, Tree};
use crate::service::link::{Filter, LinkConfig, Message, Topic};
use crate::service::seed::Dice;
use crate::service::settings::{Place, ServiceSettings};
use crate::service::wire::topics::Topics;

/// Settings of the link, without its secrets.
pub(super) fn config(
    settings: &ServiceSettings,
    topics: &Topics,
    tree: Option<&Tree>,
    boot_id: &str,
) -> LinkConfig {
    let broker = &settings.broker;
    let mut config = LinkConfig::new(&broker.host, broker.port, &broker.client_id);
    config.seed = Dice::from_text(boot_id).roll();
    config.echo = Some(topics.health());
    config.will = Some(match tree {
        Some(tree) => tree.will(),
        None => Message {
            topic: topics.availability(),
            payload: json(&documents::availability(boot_id, None)),
            retained: true,
        },
    });
    config.subscriptions = subscriptions(settings, topics, tree);
    if let Some(tree) = tree {
        config.opening = tree.states(Status::Init);
        if settings.homie.mirror {
            config.opening.extend(Mirror::new(tree).states(Status::Init));
        }
    }
    config
}

/// Where set-points go.
pub(super) fn set_point_topics(topics: &Topics, house: &House) -> Vec<Topic> {
    let stores = house.site.stores.iter().enumerate();
    let heaters = stores.flat_map(|(store, s)| {
        (0..s.elements.len()).map(move |element| HeaterId { store, element })
    });
    let sources = super::rules::feeders(house).into_iter();
    let sources = sources.map(|own| topics.source_set_point(&own.name));
    heaters
        .map(|heater| set_point_topic(topics, house, heater))
        .chain(sources)
        .chain([topics.battery()])
        .collect()
}

fn subscriptions(settings: &ServiceSettings, topics: &Topics, tree: Option<&Tree>) -> Vec<Filter> {
    let places = settings.forecasts.iter().map(|source| &source.place);
    let places = places.chain(settings.prices.iter().map(|source| &source.place));
    let sources = places.filter_map(|place| match place {
        Place::Topic(topic) => Some(topic.clone()),
        Place::File(_) | Place::Url(..) => None,
    });
    let inputs = settings.inputs.iter().map(|input| input.topic.clone());
    let mut filters: Vec<Filter> = inputs.chain(sources).map(Filter::from).collect();
    filters.push(topics.command());
    if let Some(tree) = tree {
        filters.extend(tree.filters());
        if settings.homie.mirror {
            filters.extend(Mirror::new(tree).filters());
        }
    }
    filters.sort();
    filters.dedup();
    filters
}
