//! The broker of the background service.

use std::net::IpAddr;
use std::path::PathBuf;

use super::fault::Faults;
use super::service::refuse;
use super::tree::Node;
use crate::house::House;
use crate::service::link::LinkConfig;
use crate::service::settings::{BrokerSettings, SecretPlace, TlsSettings};
use crate::service::wire::topics::{Topics, level};

/// Where brokers listen for TLS.
const TLS_PORT: u16 = 8_883;

pub(super) fn broker(node: &Node, house: &House, faults: &mut Faults) -> BrokerSettings {
    let name = level(&house.name);
    let given = |key: &str, usual: String| node.maybe_text(key).map_or(usual, str::to_owned);
    let tls = tls(node, faults);
    let usual_port = tls.is_some() && !node.has("port");
    let settings = BrokerSettings {
        host: node.text("host").to_owned(),
        port: if usual_port { TLS_PORT } else { node.number("port") as u16 },
        client_id: given("client_id", format!("stowheat-{name}")),
        prefix: given("prefix", format!("stowheat/{name}")),
        login: login(node, faults),
        tls,
    };
    if let Err(error) = Topics::new(settings.prefix.clone()) {
        refuse(node, "prefix", error.to_string(), "write it like `stowheat/my-house`", faults);
    }
    let link = LinkConfig::new(&settings.host, settings.port, &settings.client_id);
    for fault in link.faults() {
        let (key, rule) = fault.split_once(": ").unwrap_or(("host", &fault));
        let (message, hint) = (format!("`{key}` cannot be used"), rule);
        refuse(node, key, message, hint, faults);
    }
    if settings.tls.is_none() && settings.login.is_some() && !is_this_machine(&settings.host) {
        faults.warning(
            node.span_of("host"),
            &node.path_of("host"),
            "the password goes over the network for everybody to read".to_owned(),
            Some("add `tls = true`, if the broker speaks it".to_owned()),
        );
    }
    settings
}

fn is_this_machine(host: &str) -> bool {
    host == "localhost" || host.parse().is_ok_and(|address: IpAddr| address.is_loopback())
}

fn login(node: &Node, faults: &mut Faults) -> Option<(String, SecretPlace)> {
    let places = ["password_file", "password_credential"];
    let Some(user) = node.maybe_text("user") else {
        node.stray(&places, "it belongs to a `user`", faults);
        return None;
    };
    Some((user.to_owned(), secret(node, places, faults)?))
}

/// A secret in the file that one key names, or the credential that the other does.
fn secret(node: &Node, keys: [&'static str; 2], faults: &mut Faults) -> Option<SecretPlace> {
    let key = node.only_one(&keys, faults)?;
    let text = node.text(key).to_owned();
    Some(if key == keys[0] {
        SecretPlace::File(PathBuf::from(text))
    } else {
        SecretPlace::Credential(text)
    })
}

fn tls(node: &Node, faults: &mut Faults) -> Option<TlsSettings> {
    let keys = ["client_key_file", "client_key_credential"];
    let own = ["ca_file", "client_certificate_file", keys[0], keys[1]];
    if !node.flag("tls") {
        node.stray(&own, "it belongs to `tls = true`", faults);
        return None;
    }
    let authority = node.maybe_text("ca_file").map(PathBuf::from);
    let Some(certificate) = node.maybe_text("client_certificate_file") else {
        node.stray(&keys, "it belongs to a `client_certificate_file`", faults);
        return Some(TlsSettings { authority, identity: None });
    };
    let key = secret(node, keys, faults)?;
    Some(TlsSettings { authority, identity: Some((PathBuf::from(certificate), key)) })
}
