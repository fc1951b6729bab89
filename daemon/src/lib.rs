//! The program around the optimiser: site file, series, command line, service.

pub mod house;
pub mod service;
pub mod tariff;
