//! The background service: what it hears, what it may do, and what it says.
//!
//! Everything that decides is pure and takes the time as an argument. Only
//! [`link`] names the MQTT client, only [`clock`] reads the time of day, only
//! [`archive`] touches the disk, and only [`http`] opens a socket of its own.

pub mod app;
pub mod archive;
pub mod clock;
pub mod commands;
pub mod homie;
pub mod http;
pub mod learning;
pub mod link;
pub mod planning;
pub mod prices;
pub mod readings;
pub mod seed;
pub mod setpoints;
pub mod settings;
pub mod sources;
pub mod state;
pub mod supervision;
pub mod wire;
