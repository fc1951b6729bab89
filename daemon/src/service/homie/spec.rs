//! What a tree is made of.

/// What the tree shows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TreeSpec {
    /// First level of every topic, usually `homie`.
    pub domain: String,
    /// Id of the root device, such as `mill-house`.
    pub instance: String,
    /// Name of the site, for people.
    pub name: String,
    /// ISO 4217 code of the currency.
    pub currency: String,
    /// The stores.
    pub stores: Vec<TreeStore>,
    /// Sources and circuits.
    pub sources: Vec<TreeSource>,
    /// Buffer, rooms and pool, as far as they are there.
    pub sinks: Vec<TreeSink>,
    /// Whether there is a battery.
    pub battery: bool,
}

/// A store in the tree.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TreeStore {
    /// Its name.
    pub name: String,
    /// Names of its heaters.
    pub heaters: Vec<String>,
}

/// A source or circuit in the tree.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TreeSource {
    /// Its name.
    pub name: String,
    /// Whether it is a heat pump, which has two contacts.
    pub pump: bool,
}

/// Buffer, rooms or pool in the tree.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TreeSink {
    /// Its name.
    pub name: String,
    /// Whether these are the rooms, whose lowest temperature can be set.
    pub rooms: bool,
}
