//! Sinks by the names that `serves` and `feeds` give.

use optimiser::site::{Sink, Store};

use super::super::fault::{Faults, nearest};
use super::super::tree::Node;

/// What sinks there are.
pub(super) struct Sinks<'s> {
    pub(super) stores: &'s [Store],
    /// Names of the coils, `[store][coil]`.
    pub(super) coils: &'s [Vec<String>],
}

impl Sinks<'_> {
    /// The sinks of a key; names that mean nothing are faults.
    pub(super) fn of(&self, node: &Node, key: &'static str, faults: &mut Faults) -> Vec<Sink> {
        let mut sinks = Vec::new();
        for name in node.texts(key) {
            match self.find(name) {
                Ok(sink) => sinks.push(sink),
                Err((message, hint)) => {
                    faults.error(node.span_of(key), &node.path_of(key), message, Some(hint));
                }
            }
        }
        sinks
    }

    fn find(&self, name: &str) -> Result<Sink, (String, String)> {
        match name {
            "buffer" => return Ok(Sink::Buffer),
            "rooms" => return Ok(Sink::Rooms),
            "pool" => return Ok(Sink::Pool),
            _ => {}
        }
        let (store_name, coil_name) = match name.split_once('/') {
            Some((store, coil)) => (store.trim(), Some(coil.trim())),
            None => (name, None),
        };
        let Some(store) = self.stores.iter().position(|store| store.name == store_name) else {
            let known = self.known();
            let hint = nearest(name, known.iter().map(String::as_str)).map_or_else(
                || format!("known: {}", known.join(", ")),
                |meant| format!("did you mean \"{meant}\"?"),
            );
            return Err((format!("nothing that takes heat has the name \"{name}\""), hint));
        };
        let coils = &self.coils[store];
        let coil = match (coil_name, coils.as_slice()) {
            (_, []) => {
                return Err((
                    format!("store `{store_name}` has no coil that a source could heat"),
                    "describe it in a table `[[store.coil]]`".to_owned(),
                ));
            }
            (None, [_]) => Some(0),
            (None, several) => {
                let names: Vec<String> =
                    several.iter().map(|coil| format!("\"{store_name}/{coil}\"")).collect();
                return Err((
                    format!("store `{store_name}` has {} coils", several.len()),
                    format!("write {}", names.join(" or ")),
                ));
            }
            (Some(name), coils) => coils.iter().position(|coil| coil == name),
        };
        coil.map(|coil| Sink::Coil { store, coil }).ok_or_else(|| {
            let name = coil_name.unwrap_or_default();
            let hint = nearest(name, coils.iter().map(String::as_str)).map_or_else(
                || format!("known: {}", coils.join(", ")),
                |meant| format!("did you mean \"{store_name}/{meant}\"?"),
            );
            (format!("store `{store_name}` has no coil \"{name}\""), hint)
        })
    }

    /// Every name that can be given.
    fn known(&self) -> Vec<String> {
        let coils = self.stores.iter().zip(self.coils).flat_map(|(store, coils)| {
            let single = coils.len() == 1;
            coils.iter().map(move |coil| {
                if single { store.name.clone() } else { format!("{}/{coil}", store.name) }
            })
        });
        coils.chain(["buffer", "rooms", "pool"].map(str::to_owned)).collect()
    }
}
