//! The service as a Homie 5 device tree, with an optional Homie 4 mirror.
//!
//! Source: Homie convention 5.0 (homieiot.github.io, CC-BY 4.0). The root device
//! is the service; stores, heaters and the battery are its children. Everything
//! goes with QoS 1: the convention recommends 2, and asks for 1 throughout where 1
//! is used. The one last will of the connection is the root's `$state` = `lost`,
//! which the convention says holds for every child.

mod description;
mod mirror;
mod request;
mod spec;
mod tree;

pub use mirror::Mirror;
pub use request::{Request, SetError};
pub use spec::{TreeSink, TreeSource, TreeSpec, TreeStore};
pub use tree::{Alert, Device, Status, Tree, TreeError, Value};

#[cfg(test)]
mod tests;
